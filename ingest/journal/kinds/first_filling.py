"""Kind "first-filling": a lot comes into a vessel."""

from __future__ import annotations

__all__ = ["FIRST_FILLING", "FirstFillingBody"]

from dataclasses import replace
from typing import Final

from ingest.cellar import Dimension
from ingest.journal.answers import Measure, YesNo
from ingest.journal.body import Amount, Body, Positive, Words
from ingest.journal.entry import Entry
from ingest.journal.equipment import Equipment
from ingest.journal.kinds.kind import LOT_NEEDED, EntryKind, LedgerStep, StateOf, opening_caution, place_of
from ingest.journal.question import LOT, REMARK, VESSEL, Question, always
from ingest.journal.vessel_state import liters, occupied, received, too_full, usual_u_l
from ingest.journal.wine import Wine


class FirstFillingBody(Body):
    """Wine of the entry's lot comes into the entry's vessel.

    volume_l: None where nobody measured it; u_volume_l: standard uncertainty; blend: the vessel held wine before.
    """

    volume_l: Positive | None = None
    u_volume_l: Amount | None = None
    blend: bool = False
    remark: Words | None = None


_QUESTIONS: Final = (
    VESSEL,
    replace(LOT, needed=always, remembered=True),
    Question(
        "volume",
        "How much?",
        "How much; without it the volume is unknown.",
        Measure(Dimension.VOLUME, "L", "16 L"),
        "volume_l",
        asked=always,
    ),
    Question(
        "uncertainty",
        "How well is it known?",
        "Standard uncertainty of the volume.",
        Measure(Dimension.VOLUME, "L", "0.2 L"),
        "u_volume_l",
    ),
    Question("blend", "A blend?", "The vessel held wine before.", YesNo(), "blend", flag=True),
    REMARK,
)


def _words(body: FirstFillingBody, lot: str | None) -> str:
    volume = "an unknown amount" if body.volume_l is None else liters(body.volume_l)
    return f"{volume} of {lot}" + (" to the wine in it" if body.blend else "")


def _ledger_step(entry: Entry, body: FirstFillingBody, state_of: StateOf, equipment: Equipment) -> LedgerStep:
    place = place_of(entry)
    before = state_of(place)
    u_l = usual_u_l(body.volume_l) if body.u_volume_l is None else body.u_volume_l
    after = received(before, body.volume_l, u_l, Wine(((entry.lot, 1.0),)), blend=body.blend, at_ms=entry.at_ms)
    objections = occupied(place, before, blend=body.blend)
    objections += too_full(place, after.volume_l, equipment.capacity_l(place, entry.at_ms))
    return LedgerStep({place: after}, objections)


FIRST_FILLING: Final = EntryKind(
    name="first-filling",
    body=FirstFillingBody,
    says="A lot comes into a vessel that was empty.",
    example="--vessel K1 --lot riesling-26 --volume '19 L'",
    questions=_QUESTIONS,
    lot=lambda _: LOT_NEEDED,
    words=_words,
    caution=opening_caution,
    ledger_step=_ledger_step,
)
