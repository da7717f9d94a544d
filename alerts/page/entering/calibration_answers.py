"""What is asked of a calibration, and what the answers make: for the form and for programs."""

from __future__ import annotations

__all__ = ["ANY_PROBE_QUESTIONS", "calibration_kind", "prepared_calibration", "probe_answer"]

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from alerts.view.format import value_text
from ingest.calibrating import BufferSet, JudgedCalibration, drafted_calibration, judged_calibration
from ingest.cellar import QUANTITIES, Cellar, Dimension, Probe, nearest, split_amount
from ingest.entering import Prepared, moment
from ingest.errors import EntryRefused, IngestError, Problem
from ingest.journal.answers import AnswersWrong, Choice, Clock, Measure, WrittenWords, Wrong
from ingest.journal.drafting import read_answers
from ingest.journal.entry import Draft
from ingest.journal.kinds import body_words
from ingest.journal.kinds.calibration import CALIBRATION, CalibrationPoint
from ingest.journal.kinds.kind import EntryKind
from ingest.journal.ph_buffers import BUFFER_SETS, PRINTED, buffer_ph
from ingest.journal.question import REMARK, Given, Likely, Question, always
from ingest.store import Store
from ingest.store.journal.entries import add_entry

_MV: Final = "mV"
# Beyond this what was shown is a slip (a choice of this project).
_SHOWN_PH: Final = (-1.0, 15.0)
_SETS: Final[tuple[BufferSet, ...]] = ("technical", "nist", "printed")
_USUAL_SET: Final = "technical"
_ASKED_BY_KEY: Final = {"points": "reads", "temperature_c": "temperature"}


def calibration_kind(probe: Probe) -> EntryKind[Any]:
    """Make the kind with what is asked of a probe: zero and span, or of a pH probe its buffers."""
    return replace(CALIBRATION, questions=_PH_QUESTIONS if probe.quantity == "pH" else _questions(probe))


def probe_answer(cellar: Cellar, texts: Mapping[str, Sequence[str]]) -> tuple[Probe, dict[str, list[str]]]:
    """Give the probe that answers to ``ANY_PROBE_QUESTIONS`` name, and the answers to its own questions.

    Raises AnswersWrong for a probe that is missing, or not in the cellar file.
    """
    others = {name: list(answers) for name, answers in texts.items() if name != "probe"}
    named = list(texts.get("probe", ()))
    if len(named) != 1:
        raise AnswersWrong([Wrong("probe", "is missing: which probe was calibrated, by its id")])
    for probe in cellar.probe:
        if probe.id == named[0]:
            if probe.quantity == "pH":
                others.setdefault("set", [_USUAL_SET])
            return probe, others
    known = [probe.id for probe in cellar.probe]
    near = nearest(named[0], known)
    there = f"did you mean {near}?" if near else f"there are: {', '.join(known) or 'none'}"
    raise AnswersWrong([Wrong("probe", f"there is no probe '{named[0]}'; {there}")])


def prepared_calibration(
    store: Store,
    cellar: Cellar,
    probe: Probe,
    texts: Mapping[str, Sequence[str]],
    *,
    who: str,
    at: str | None,
    now_ms: int,
) -> Prepared:
    """Make the entry that answers give, checked against the store as it is now; nothing is kept.

    texts: by the names of the questions of ``calibration_kind``; at: from when on it holds, as a person writes it, None
    for now. Raises AnswersWrong, EntryRefused, Ambiguous, IngestError for a probe that is new.
    """
    from_ms = moment(at, cellar, now_ms)
    if from_ms > now_ms:
        raise AnswersWrong([Wrong("at", "is in the future; a calibration holds from now or from earlier")])
    given = read_answers(calibration_kind(probe), texts, Clock(cellar.site.zone, now_ms))
    return _prepared(store, cellar, probe, given, who, from_ms, now_ms)


def _prepared(
    store: Store, cellar: Cellar, probe: Probe, given: Given, who: str, from_ms: int, now_ms: int
) -> Prepared:
    """Make the entry that answers give. Raises AnswersWrong, EntryRefused, IngestError."""
    missing = [
        Wrong(question.name, f"is missing: {question.help}")
        for question in calibration_kind(probe).questions
        if question.needed(given) and question.name not in given
    ]
    if missing:
        raise AnswersWrong(missing)
    is_ph = probe.quantity == "pH"
    points = _buffer_points(given) if is_ph else _points(given)
    try:
        draft = drafted_calibration(
            store,
            probe,
            points,
            who=who,
            from_ms=from_ms,
            temperature_c=given.get("temperature"),
            buffer_set=given.get("set") if is_ph else None,
            remark=given.get("remark"),
        )
    except EntryRefused as error:
        raise _as_answers(error.problems) from None
    draft, insisted = _despite_grade(draft)
    judged = judged_calibration(store, probe, draft)
    _refuse_what_cannot_be(store, cellar, judged.draft, now_ms)
    body = judged.body
    return Prepared(
        judged.draft,
        body_words(body),
        (),
        (*insisted, *body.warnings),
        (*_effects(judged, probe, cellar), *body.notes),
        judged.caution,
    )


def _despite_grade(draft: Draft) -> tuple[Draft, tuple[str, ...]]:
    """The draft of a pH probe that is not to be used as one that a person insists on, and what to warn of."""
    problems = CALIBRATION.problems(draft)
    if any(problem.key != "despite_grade" for problem in problems):
        raise _as_answers(problems)
    if not problems:
        return draft, ()
    body = draft.body.model_copy(update={"despite_grade": True})
    return replace(draft, body=body), tuple(problem.allowed for problem in problems)


def _as_answers(problems: Sequence[Problem]) -> AnswersWrong:
    """Problems of a body as those of the questions that they are about."""
    keys = [problem.key.split(".")[0] for problem in problems]
    return AnswersWrong(
        [Wrong(_ASKED_BY_KEY.get(key, key), problem.allowed) for key, problem in zip(keys, problems, strict=True)]
    )


def _refuse_what_cannot_be(store: Store, cellar: Cellar, draft: Draft, now_ms: int) -> None:
    """Find what the journal would refuse, by adding the entry and taking that back."""
    with store.trial() as connection:
        try:
            add_entry(connection, draft, cellar, now_ms)
        except EntryRefused as error:
            about = [(problem.key, problem.allowed) for problem in error.problems if problem.key in ("who", "at")]
            if not about:
                raise
            raise AnswersWrong([Wrong(key, why) for key, why in about]) from None


def _effects(judged: JudgedCalibration, probe: Probe, cellar: Cellar) -> list[str]:
    """What the points count as from then on, and how a pH probe has drifted."""
    units = cellar.site.units
    effects = [
        f"{value_text(probe.quantity, measured, units)} then counts as {value_text(probe.quantity, counts_as, units)}"
        for measured, counts_as in judged.moves
    ]
    if judged.correction is None:
        effects.append("what leeside shows stays as it is: mV say how good the probe is, not what to correct")
    return effects + ([] if judged.drift is None else [judged.drift.text])


# ---- what is asked --------------------------------------------------------------------------------------------------


def _questions(probe: Probe) -> tuple[Question, ...]:
    row = QUANTITIES[probe.quantity]
    amount = Measure(row.dimension, row.unit, row.example, row.pressure)
    return (
        Question(
            "truth",
            "What was true?",
            "At one point to move the zero, or at two that lie far apart to correct the span as well.",
            amount,
            many=True,
            needed=always,
        ),
        Question(
            "reads", "What did leeside show there?", "At each of these points, in their order.", amount, many=True,
            needed=always,
        ),
        REMARK,
    )  # fmt: skip


_BUFFERS: Final = "; ".join(
    f"{name}: {', '.join(each.name for each in buffers)}" for name, buffers in BUFFER_SETS.items()
)
_PH_QUESTIONS: Final = (
    Question(
        "temperature",
        "How warm are the buffers?",
        "The pH of a buffer depends on it.",
        Measure(Dimension.TEMPERATURE, "°C", "20 °C"),
        needed=always,
    ),
    Question(
        "set",
        "Which set of buffers?",
        "technical; nist for standard buffers; printed for the pH on the bottle at that temperature.",
        Choice(_SETS),
        needed=always,
        likely=lambda _, __: Likely(_USUAL_SET, "the usual ones"),
    ),
    Question(
        "buffer",
        "Which buffers did it stand in?",
        f"Two to five; {_BUFFERS}.",
        WrittenWords("BUFFER", "7.00"),
        many=True,
        needed=always,
    ),
    Question(
        "reads",
        "What was read in each?",
        "In their order: what leeside showed, or what the probe gave in mV.",
        WrittenWords("READING", "7.05"),
        many=True,
        needed=always,
        units=lambda _: ("pH", _MV),
    ),
    REMARK,
)

ANY_PROBE_QUESTIONS: Final = (
    Question("probe", "Which probe?", "Its id.", WrittenWords("ID", "k1-pressure"), needed=always),
    Question(
        "truth",
        "What was true?",
        "Not of a pH probe: at one point, or at two that lie far apart.",
        WrittenWords("AMOUNT", "0 kPa"),
        many=True,
    ),
    *(
        question if question.name == "reads" else replace(question, help=f"Of a pH probe: {question.help}")
        for question in _PH_QUESTIONS
        if question is not REMARK
    ),
    REMARK,
)
"""What is asked of a calibration while it is not known of which probe, for programs."""


# ---- points ---------------------------------------------------------------------------------------------------------


def _points(given: Given) -> list[CalibrationPoint]:
    truth, reads = given["truth"], given["reads"]
    _refuse_uneven(len(truth), len(reads), "points")
    return [CalibrationPoint(truth=true, shown=shown) for true, shown in zip(truth, reads, strict=True)]


def _buffer_points(given: Given) -> list[CalibrationPoint]:
    names, reads = given["buffer"], [_reading(text) for text in given["reads"]]
    _refuse_uneven(len(names), len(reads), "buffers")
    if len({unit for _, unit in reads}) > 1:
        raise AnswersWrong([Wrong("reads", "read all buffers in mV, or all in pH")])
    points = []
    for text, (number, unit) in zip(names, reads, strict=True):
        try:
            name, ph = buffer_ph(text, given["set"], given["temperature"])
        except IngestError as error:
            other = "" if given["set"] == PRINTED else f"; for another bottle choose {PRINTED}"
            raise AnswersWrong([Wrong("buffer", f"{error}{other}")]) from None
        shown, mv = (None, number) if unit == _MV else (number, None)
        points.append(CalibrationPoint(truth=ph, shown=shown, mv=mv, buffer=name))
    return points


def _reading(text: str) -> tuple[float, str]:
    """A number with its unit, pH or mV."""
    low, high = _SHOWN_PH
    try:
        number, unit = split_amount(text)
    except ValueError as error:
        raise AnswersWrong([Wrong("reads", f"'{text}': {error}")]) from None
    if unit not in ("", "pH", _MV):
        raise AnswersWrong([Wrong("reads", f"'{text}': the unit of a reading is pH or {_MV}")])
    if unit != _MV and not low <= number <= high:
        raise AnswersWrong([Wrong("reads", f"'{text}': no pH meter shows that; allowed are {low:g} to {high:g}")])
    return number, _MV if unit == _MV else "pH"


def _refuse_uneven(wanted: int, given: int, of_what: str) -> None:
    if wanted != given:
        why = f"{given} for {wanted} {of_what}; give one reading for each, in their order"
        raise AnswersWrong([Wrong("reads", why)])
