"""Kind "sample": wine is drawn for a test and does not go back."""

from __future__ import annotations

__all__ = ["SAMPLE", "SampleBody"]

from typing import Final

from ingest.cellar import Dimension
from ingest.journal.answers import Measure, WrittenWords
from ingest.journal.body import Body, Positive, Words
from ingest.journal.entry import Entry
from ingest.journal.equipment import Equipment
from ingest.journal.kinds.kind import EntryKind, LedgerStep, StateOf, place_of
from ingest.journal.question import REMARK, VESSEL, Question, always
from ingest.journal.vessel_state import drawing_objections, left


class SampleBody(Body):
    """Wine drawn for a test. It does not go back."""

    volume_l: Positive | None = None
    purpose: Words | None = None
    remark: Words | None = None


_QUESTIONS: Final = (
    VESSEL,
    Question(
        "volume",
        "How much?",
        "How much.",
        Measure(Dimension.VOLUME, "L", "60 mL"),
        "volume_l",
        asked=always,
        remembered=True,
    ),
    Question("purpose", "What for?", "What for.", WrittenWords(), "purpose", asked=always, remembered=True),
    REMARK,
)


def _words(body: SampleBody, _: str | None) -> str:
    volume = "a little" if body.volume_l is None else f"{1000.0 * body.volume_l:g} mL"
    return f"{volume} drawn" + (f" for {body.purpose}" if body.purpose else "")


def _ledger_step(entry: Entry, body: SampleBody, state_of: StateOf, _: Equipment) -> LedgerStep:
    place = place_of(entry)
    before = state_of(place)
    objections = drawing_objections(place, before, body.volume_l, "drawn as a sample")
    # A sample without a volume is small: nothing that could be given in numbers changes.
    after = before if body.volume_l is None else left(before, body.volume_l, entry.at_ms)
    return LedgerStep({place: after}, objections, [place])


SAMPLE: Final = EntryKind(
    name="sample",
    body=SampleBody,
    says="Wine is drawn for a test and does not go back.",
    example="--vessel K1 --volume '60 mL' --purpose titration",
    questions=_QUESTIONS,
    words=_words,
    ledger_step=_ledger_step,
)
