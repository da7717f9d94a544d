"""What ``/api/entries`` and ``/api/kinds`` take and give, as the OpenAPI document describes it.

Entries are as `leeside export --journal` writes them. Times are RFC 3339 text in UTC; a key that ends in a unit is in
that unit.
"""

from __future__ import annotations

__all__ = [
    "AmendmentGiven",
    "EntriesAnswer",
    "EntryAnswer",
    "EntryGiven",
    "KindsAnswer",
    "PreparedAnswer",
    "RefusedAnswer",
    "StrikeGiven",
    "WrongAnswer",
    "entry_answer",
    "kinds_answer",
    "prepared_answer",
]

from collections.abc import Sequence
from typing import Annotated, Any, Final

from pydantic import BaseModel, ConfigDict, Field, StrictBool, StringConstraints

from alerts.page.cellar.place_answers import ContentsAnswer
from alerts.page.entering.calibration_answers import ANY_PROBE_QUESTIONS
from alerts.page.entering.form_controls import Control, control_of
from alerts.view.entries.entry_form import FormField
from alerts.view.entries.journal_lines import entry_json
from alerts.view.vessel_contents import contents_json
from ingest.cellar import Cellar
from ingest.entering import Prepared
from ingest.exchange.entry_lines import entry_object
from ingest.journal.entry import Entry
from ingest.journal.kinds import KINDS, spread_words
from ingest.journal.kinds.calibration import CALIBRATION
from ingest.journal.question import Question

_LONGEST: Final = 20_000
_Text = Annotated[str, StringConstraints(max_length=_LONGEST)]
Answer = _Text | StrictBool | Annotated[list[_Text], Field(max_length=100)]
Answers = Annotated[
    dict[Annotated[str, StringConstraints(max_length=100)], Answer],
    Field(
        max_length=100,
        description='by the names of the kind\'s questions, as texts: {"vessel": "K1", "volume": "60 mL"}',
        examples=[{"vessel": "K1", "volume": "60 mL"}],
    ),
]
_At = Annotated[
    _Text | None,
    Field(description="when it happened: RFC 3339, or as a person writes it in cellar time; null: now, or as it was"),
]


class _JournalModel(BaseModel):
    model_config = ConfigDict(extra="forbid")


# ---- what is given -------------------------------------------------------------------------------------------------


class EntryGiven(_JournalModel):
    """An entry to be looked at or written."""

    kind: _Text = Field(examples=["sample"])
    answers: Answers
    at: _At = None
    who: _Text = Field(description="who did it", examples=["Ana"])
    with_later: bool = Field(False, description="also strike later entries that could then no longer be")
    despite_warnings: bool = Field(False, description="write it although there are warnings; they stay with it")


class AmendmentGiven(_JournalModel):
    """What changes in an entry. Who did it stays."""

    answers: Answers = {}
    without: Annotated[list[_Text], Field(max_length=100)] = Field([], description="answers that are taken away")
    at: _At = None
    who: _Text = Field(description="who amends it", examples=["Ana"])
    reason: _Text = ""
    with_later: bool = False
    despite_warnings: bool = False


class StrikeGiven(_JournalModel):
    """Who strikes an entry, and why."""

    who: _Text = Field(examples=["Ana"])
    reason: _Text = Field(examples=["read the burette from the wrong end"])
    with_later: bool = False


# ---- what is answered ----------------------------------------------------------------------------------------------


class StrikeAnswer(_JournalModel):
    """Who crossed an entry out, when, and why; together_with: the entry that took it along."""

    at: str
    who: str
    reason: str
    together_with: int | None


class EntryAnswer(_JournalModel):
    """An entry. said: its body in words; struck: null while it holds."""

    id: int
    kind: str
    at: str
    written: str
    who: str
    place: str | None
    lot: str | None
    body: dict[str, Any]
    struck: StrikeAnswer | None
    in_place_of: int | None
    said: str


class EntriesAnswer(_JournalModel):
    """Entries, oldest first."""

    entries: list[EntryAnswer]


class VesselThen(ContentsAnswer):
    """What a vessel holds after an entry."""

    vessel: str


class PreparedAnswer(_JournalModel):
    """What would be written. after: what the vessels that it names hold then; later: entries struck along with it."""

    kind: str
    at: str
    who: str
    place: str | None
    lot: str | None
    body: dict[str, Any]
    said: str
    uncertainty: str = Field(description="the standard uncertainty of the result in words")
    caution: str
    warnings: list[str]
    notes: list[str]
    after: list[VesselThen]
    later: list[int]


class QuestionAnswer(_JournalModel):
    """A question of a kind. form: how it is answered; many: may be answered several times."""

    name: str
    ask: str
    help: str
    example: str
    form: str
    options: list[str]
    units: list[str]
    many: bool


class KindAnswer(_JournalModel):
    """A kind of entry with its questions. A calibration has those of all probes; which are answered depends on it."""

    name: str
    says: str
    questions: list[QuestionAnswer]


class KindsAnswer(_JournalModel):
    """Every kind of entry."""

    kinds: list[KindAnswer]


class WrongAnswer(_JournalModel):
    """An answer that will not do. field: the question, or at, who, without; "" for the entry as a whole."""

    field: str
    why: str


class RefusedAnswer(_JournalModel):
    """Why nothing was written.

    wrong: answers that will not do; ways: the two moments that ``at`` can mean; later: entries that would have to be
    struck; warnings: what must be accepted; entries: those that were written under the same key before.
    """

    error: str
    wrong: list[WrongAnswer] = []
    ways: list[str] = []
    later: list[int] = []
    warnings: list[str] = []
    entries: list[int] = []


def entry_answer(entry: Entry) -> EntryAnswer:
    """Make the answer of an entry."""
    return EntryAnswer.model_validate(entry_json(entry))


def prepared_answer(prepared: Prepared, later: Sequence[int], now_ms: int) -> PreparedAnswer:
    """Make the answer of an entry that could be written."""
    draft = prepared.draft
    there = Entry(0, draft.kind, draft.at_ms, now_ms, draft.who, draft.place, draft.lot, draft.body)
    said = {key: value for key, value in entry_object(there).items() if key in PreparedAnswer.model_fields}
    return PreparedAnswer.model_validate(
        said
        | {
            "said": prepared.words,
            "uncertainty": spread_words(draft.body),
            "caution": prepared.caution,
            "warnings": prepared.warnings,
            "notes": prepared.notes,
            "after": [{"vessel": held.vessel, **contents_json(held)} for held in prepared.after],
            "later": list(later),
        }
    )


def kinds_answer(cellar: Cellar) -> KindsAnswer:
    """Describe every kind."""
    return KindsAnswer(
        kinds=[
            KindAnswer(
                name=kind.name,
                says=kind.says,
                questions=[
                    _question(control_of(FormField(question), cellar.site.zone))
                    for question in (ANY_PROBE_QUESTIONS if kind.name == CALIBRATION.name else kind.questions)
                ],
            )
            for kind in KINDS.values()
        ]
    )


_FORMS: Final = {"radios": "choice", "check": "yes or no", "usual": "words", "long": "words"}


def _question(control: Control) -> QuestionAnswer:
    question: Question = control.field.question
    units: tuple[str, ...] = getattr(question.answer, "units", ())
    return QuestionAnswer(
        name=question.name,
        ask=question.ask,
        help=question.help,
        example=question.answer.example,
        form=_FORMS.get(control.sort, control.sort),
        options=list(control.options),
        units=[unit for unit in units if unit],
        many=question.many,
    )
