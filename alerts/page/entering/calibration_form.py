"""The form of a calibration: what is asked of a probe, and what its answers make."""

from __future__ import annotations

__all__ = ["calibration_kind", "calibration_writing"]

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from alerts.page.context import PageContext
from alerts.page.entering.buffer_reading import BufferReading, buffer_reading, with_reading
from alerts.page.entering.entry_pages import Writing
from alerts.page.entering.entry_post import EntryPost
from alerts.view.format import age, value_text, with_capital
from ingest.calibrating import BufferSet, JudgedCalibration, drafted_calibration, judged_calibration, series_now
from ingest.cellar import QUANTITIES, Cellar, Dimension, Probe, split_amount
from ingest.entering import Prepared, moment
from ingest.errors import EntryRefused, IngestError, Problem
from ingest.journal.answers import AnswersWrong, Choice, Clock, Measure, WrittenWords, Wrong
from ingest.journal.drafting import read_answers
from ingest.journal.entry import Draft, Entry
from ingest.journal.kinds import body_words
from ingest.journal.kinds.calibration import CALIBRATION, CalibrationPoint
from ingest.journal.kinds.kind import EntryKind
from ingest.journal.ph_buffers import BUFFER_SETS, PRINTED, buffer_ph
from ingest.journal.question import REMARK, Given, Likely, Question, always
from ingest.store import Store
from ingest.store.journal.entries import add_entry
from ingest.store.journal.idempotency_keys import Once, write_once
from ingest.store.readings.series_history import newest

_MV: Final = "mV"
# Beyond this what was shown is a slip (a choice of this project).
_SHOWN_PH: Final = (-1.0, 15.0)
_SETS: Final[tuple[BufferSet, ...]] = ("technical", "nist", "printed")
_ASKED_BY_KEY: Final = {"points": "reads", "temperature_c": "temperature"}


def calibration_kind(probe: Probe) -> EntryKind[Any]:
    """Make the kind with what is asked of a probe: zero and span, or of a pH probe its buffers."""
    return replace(CALIBRATION, questions=_PH_QUESTIONS if probe.quantity == "pH" else _questions(probe))


def calibration_writing(context: PageContext, probe: Probe, store: Store) -> Writing:
    """Make what the form of a probe's calibration writes, with what the probe shows now."""
    cellar, is_ph = context.cellar, probe.quantity == "pH"
    # Of a pH probe the form shows it live.
    shown = "" if is_ph else _shown_now(store, probe, cellar, context.clock())

    def prepared(store: Store, post: EntryPost, _: bool) -> Prepared:
        at = post.at or (post.now if post.step == "save" else None) or None
        now_ms = context.clock()
        from_ms = moment(at, cellar, now_ms)
        if from_ms > now_ms:
            raise AnswersWrong([Wrong("at", "is in the future; a calibration holds from now or from earlier")])
        given = read_answers(calibration_kind(probe), post.texts, Clock(cellar.site.zone, now_ms))
        return _prepared(store, cellar, probe, given, post.who, from_ms, now_ms)

    def written(store: Store, _: EntryPost, prepared: Prepared, __: bool, once: Once | None) -> Entry:
        now_ms = context.clock()
        with store.write() as connection:
            return write_once(
                connection, once, now_ms, lambda: [add_entry(connection, prepared.draft, cellar, now_ms)]
            )[0]

    action = f"/enter/calibration/{probe.id}"
    kind = replace(calibration_kind(probe), says=f"{CALIBRATION.says} {shown}".rstrip())
    writing = Writing(kind, f"Calibration of {probe.id}", action, prepared, written)
    if not is_ph:
        return writing

    def shows(store: Store, post: EntryPost) -> BufferReading | None:
        texts = post.texts
        return buffer_reading(context, probe, store, texts.get("buffer", ()), texts.get("reads", ()), post.taken_ms)

    return replace(writing, shows=shows, take=lambda store, post: with_reading(context, probe, store, post))


def _shown_now(store: Store, probe: Probe, cellar: Cellar, now_ms: int) -> str:
    """What leeside shows of a probe now, in a sentence."""
    try:
        series = series_now(store, probe).id
    except IngestError as error:
        return f"{with_capital(str(error))}."
    rows = newest(store, series, 1)
    if not rows:
        return "It has shown nothing yet."
    return (
        f"It shows {value_text(probe.quantity, rows[0].value, cellar.site.units)}, {age(now_ms - rows[0].at_ms)} old."
    )


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
        likely=lambda _, __: Likely("technical", "the usual ones"),
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
