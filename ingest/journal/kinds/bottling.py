"""Kind "bottling": a vessel is bottled."""

from __future__ import annotations

__all__ = ["BOTTLING", "BottlesFilled", "BottlingBody"]

import math
from typing import Annotated, Final

from pydantic import Field

from ingest.cellar import Dimension
from ingest.journal.answers import BottleCount, Measure, WrittenWords
from ingest.journal.body import Amount, Body, BodyPart, Count, Positive, Words
from ingest.journal.entry import Entry
from ingest.journal.equipment import Equipment
from ingest.journal.kinds.kind import EntryKind, LedgerStep, NamedVessels, StateOf, large_caution, place_of
from ingest.journal.phrases import joined, listed
from ingest.journal.question import REMARK, VESSEL, Question, always
from ingest.journal.vessel_state import ROUNDING_L, drawing_objections, emptied, left, liters, usual_u_l

# A bottling rarely loses more than this part of what was there without anybody writing it down as waste (common
# practice, no source).
_UNACCOUNTED: Final = 0.05


class BottlesFilled(BodyPart):
    """number of bottles of size_l."""

    number: Count
    size_l: Positive


class BottlingBody(Body):
    """The entry's vessel is bottled. waste_l: what was lost; remainder_l: what stays in the vessel, 0 for none."""

    bottles: Annotated[tuple[BottlesFilled, ...], Field(min_length=1)]
    closure: Words | None = None
    waste_l: Amount = 0.0
    remainder_l: Amount | None = None
    remark: Words | None = None

    @property
    def out_l(self) -> float:
        """What left the vessel [L], waste included."""
        return math.fsum(bottles.number * bottles.size_l for bottles in self.bottles) + self.waste_l


_QUESTIONS: Final = (
    VESSEL,
    Question(
        "bottles",
        "Which bottles?",
        "Number and size; once for each size.",
        BottleCount(example="24 x 0.75 L"),
        "bottles",
        many=True,
        needed=always,
        recall=lambda body: [{"number": each.number, "size_l": each.size_l} for each in body.bottles],
    ),
    Question("closure", "Closed with what?", "The closure.", WrittenWords(), "closure", asked=always, remembered=True),
    Question(
        "waste",
        "How much was lost?",
        "What was lost.",
        Measure(Dimension.VOLUME, "L", "0.2 L"),
        "waste_l",
        asked=always,
    ),
    Question(
        "remainder",
        "How much stays in the vessel?",
        "What stays in the vessel; 0 L for nothing.",
        Measure(Dimension.VOLUME, "L", "1 L"),
        "remainder_l",
        asked=always,
    ),
    REMARK,
)


def _words(body: BottlingBody, _: str | None) -> str:
    return joined(
        [
            listed([f"{bottles.number} x {bottles.size_l:g} L" for bottles in body.bottles]),
            body.closure,
            f"{liters(body.waste_l)} lost" if body.waste_l else None,
            None if body.remainder_l is None else f"{liters(body.remainder_l)} stay",
        ]
    )


_BOTTLES: Final = "glass bottles: look for chips before filling, gloves at the corker"
_UNDER_GAS: Final = (
    "let the pressure off to the little that pushes the wine, and never close a bottle that is connected to gas: "
    "bottles for still wine are not made for pressure"
)


def _caution(body: BottlingBody, vessels: NamedVessels) -> str:
    cautions = (large_caution(body, vessels), _BOTTLES, _UNDER_GAS if vessels.under_gas else "")
    return "; ".join(caution for caution in cautions if caution)


def _warnings(body: BottlingBody, vessels: NamedVessels) -> tuple[str, ...]:
    """That more wine is gone than bottles, waste and remainder account for."""
    before = vessels.before
    if before is None or not before.volume_l or body.remainder_l is None:
        return ()
    accounted = body.out_l + body.remainder_l
    gone = before.volume_l - accounted
    if gone <= max(_UNACCOUNTED * before.volume_l, 2.0 * (before.u_volume_l or 0.0)):
        return ()
    return (
        f"{before.vessel} held {liters(before.volume_l)}, and {liters(accounted)} are accounted for: {liters(gone)} "
        "are missing; count again, or write them as waste",
    )


def _ledger_step(entry: Entry, body: BottlingBody, state_of: StateOf, _: Equipment) -> LedgerStep:
    place = place_of(entry)
    before, remainder = state_of(place), body.remainder_l
    objections = drawing_objections(place, before, body.out_l + (remainder or 0.0), "bottled, wasted or left over")
    if remainder is None:
        after = left(before, body.out_l, entry.at_ms)
    elif remainder <= ROUNDING_L:
        after = emptied(before, entry.at_ms)
    elif before.empty or not before.known:
        after = before
    else:
        after = before._replace(volume_l=remainder, u_l=usual_u_l(remainder))
    return LedgerStep({place: after}, objections, [place])


BOTTLING: Final = EntryKind(
    name="bottling",
    body=BottlingBody,
    says="A vessel is bottled.",
    example="--vessel K1 --bottles '24 x 0.75 L' --closure cork --waste '0.2 L' --remainder '0 L'",
    questions=_QUESTIONS,
    words=_words,
    caution=_caution,
    warnings=_warnings,
    ledger_step=_ledger_step,
)
