"""Kind "topping": a vessel is topped up, from a vessel, with bought bottles, or with wine of a lot."""

from __future__ import annotations

__all__ = ["TOPPING", "BoughtWine", "ToppingBody"]

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Annotated, Any, Final, Self

from pydantic import Field, model_validator

from ingest.cellar import Dimension
from ingest.errors import Problem
from ingest.journal.answers import AnswersWrong, BottleCount, Measure, Number, WrittenWords, Wrong
from ingest.journal.body import Amount, Body, BodyPart, Count, Id, Percent, Positive, Words, shown
from ingest.journal.contents import Contents
from ingest.journal.entry import Draft, Entry
from ingest.journal.entry_context import EntryContext
from ingest.journal.equipment import Equipment
from ingest.journal.kinds.kind import BodyData, EntryKind, LedgerStep, LotRule, StateOf, opening_caution, place_of
from ingest.journal.phrases import joined, phrase
from ingest.journal.question import LOT, REMARK, VESSEL, Given, Likely, Question
from ingest.journal.vessel_state import (
    ROUNDING_L,
    Objection,
    VesselState,
    drawing_objections,
    left,
    liters,
    received,
    too_full,
    usual_u_l,
)
from ingest.journal.wine import STRANGE, So2Value, Wine


class BoughtWine(BodyPart):
    """Bottles that were bought: number x size_l, and of the wine what its label or an analysis says."""

    number: Count
    size_l: Positive
    name: Words | None = None
    alcohol_percent_vol: Percent | None = None
    ph: Annotated[float, Field(ge=2.0, le=5.0)] | None = None
    free_so2_mg_l: Amount | None = None
    total_so2_mg_l: Amount | None = None
    sugar_g_l: Amount | None = None


class ToppingBody(Body):
    """The entry's vessel is topped up: from a vessel, with bought bottles, or else with wine of the entry's lot.

    volume_l: what went in; with bottles it is by default all of them.
    """

    volume_l: Positive | None = None
    source: Id | None = None
    bought: BoughtWine | None = None
    remark: Words | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if self.source is not None and self.bought is not None:
            raise ValueError("topping is from a vessel or from bought bottles; write two entries for both")
        bottles = None if self.bought is None else self.bought.number * self.bought.size_l
        if bottles is not None and self.volume_l is not None and self.volume_l > bottles + 1e-9:
            raise ValueError(f"{self.volume_l:g} L is more than the {bottles:g} L in the bottles")
        return self

    @property
    def places(self) -> tuple[str, ...]:
        """The vessel that the wine came from."""
        return () if self.source is None else (self.source,)

    @property
    def place_keys(self) -> tuple[str, ...]:
        """Where it is named."""
        return ("source",) * len(self.places)

    def renamed(self, name_now: Callable[[str], str]) -> Self:
        """Give the body with that vessel called as it is now."""
        return self if self.source is None else self.model_copy(update={"source": name_now(self.source)})


# ---- what it must name ----------------------------------------------------------------------------------------------


def _lot(body: ToppingBody) -> LotRule:
    if body.source is None and body.bought is None:
        return LotRule(missing="is missing: say a vessel it came from, bought bottles, or its lot")
    return LotRule(refused="must be left out: the vessels say which wine it is")


def _problems(draft: Draft) -> list[Problem]:
    if draft.place is not None and draft.place in draft.body.places:
        return [Problem("topping", "source", shown(draft.place), "a vessel cannot be topped up from itself")]
    return []


# ---- questions ------------------------------------------------------------------------------------------------------

# What is asked about bought bottles, and its key in ``BoughtWine``.
_ABOUT_BOTTLES: Final = {
    "name": "name",
    "alcohol": "alcohol_percent_vol",
    "ph": "ph",
    "free": "free_so2_mg_l",
    "total": "total_so2_mg_l",
    "sugar": "sugar_g_l",
}


def _no_other_source(given: Given) -> bool:
    return not any(given.get(name) for name in ("from", "bottles", "lot"))


def _bought(given: Given) -> bool:
    return bool(given.get("bottles"))


def _to_the_brim(given: Given, contents: Mapping[str, Contents]) -> Likely | None:
    """What fills the vessel to the brim, by its headspace."""
    held = contents.get(given.get("vessel", ""))
    if held is None or not held.headspace_l or held.headspace_l < ROUNDING_L:
        return None
    volume = liters(held.headspace_l)
    return Likely(volume, f"To the brim it is {volume} by the headspace of {held.vessel}.")


def _about(name: str) -> Callable[[ToppingBody], Any]:
    """What was answered about bought bottles."""
    return lambda body: None if body.bought is None else getattr(body.bought, _ABOUT_BOTTLES[name])


_SO2: Final = Measure(Dimension.CONCENTRATION, "mg/L", "30 mg/L", bare="mg/L")
_SUGAR: Final = Number(("g/L", "g/l"), "2 g/L", "AMOUNT")

_QUESTIONS: Final = (
    VESSEL,
    Question(
        "from",
        "From which vessel?",
        "The vessel that the wine came from.",
        WrittenWords("ID", "C1"),
        "source",
        asked=_no_other_source,
    ),
    Question(
        "bottles",
        "Which bottles?",
        "Bought bottles, number and size.",
        BottleCount(),
        asked=_no_other_source,
        recall=lambda body: body.bought and {"number": body.bought.number, "size_l": body.bought.size_l},
    ),
    replace(
        LOT,
        help="Wine of this lot that stood in no vessel.",
        needed=lambda given: not given.get("from") and not given.get("bottles"),
        remembered=True,
    ),
    Question(
        "volume",
        "How much?",
        "What went in; of bottles by default all.",
        Measure(Dimension.VOLUME, "L", "0.3 L"),
        "volume_l",
        asked=lambda given: not _bought(given),
        likely=_to_the_brim,
    ),
    Question(
        "name",
        "What is it?",
        "What stands on the bottles.",
        WrittenWords(),
        asked=_bought,
        remembered=True,
        recall=_about("name"),
    ),
    Question(
        "alcohol",
        "Alcohol?",
        "Their alcohol.",
        Measure(Dimension.ALCOHOL, "% vol", "12.5 % vol", bare="% vol"),
        asked=_bought,
        recall=_about("alcohol"),
    ),
    Question("ph", "pH?", "Their pH.", Measure(Dimension.PH, "", "3.4"), recall=_about("ph")),
    Question("free", "Free SO2?", "Their free SO2.", _SO2, recall=_about("free")),
    Question("total", "Total SO2?", "Their total SO2.", replace(_SO2, example="90 mg/L"), recall=_about("total")),
    Question("sugar", "Sugar?", "Their residual sugar.", _SUGAR, recall=_about("sugar")),
    REMARK,
)


def _complete(given: Given, data: BodyData, context: EntryContext, _: int) -> tuple[str, ...]:
    about = [name for name in _ABOUT_BOTTLES if name in given]
    if _bought(given):
        data["bought"] = {**given["bottles"], **{_ABOUT_BOTTLES[name]: given[name] for name in about}}
    elif about:
        raise AnswersWrong([Wrong(name, "is about bought bottles; give bottles, too") for name in about])
    if given.get("lot") and (given.get("from") or _bought(given)):
        raise AnswersWrong([Wrong("lot", "leave it out: the vessel or the bottles say which wine it is")])
    brim = None if _bought(given) or "volume" in given else _to_the_brim(given, context.contents)
    if brim is not None:
        data["notes"] = [f"how much went in is not said; to the brim it would be {brim.answer} by the headspace"]
    return ()


# ---- words -------------------------------------------------------------------------------------------------


def _words(body: ToppingBody, lot: str | None) -> str:
    volume = "" if body.volume_l is None else liters(body.volume_l)
    if body.bought is not None:
        bought = body.bought
        bottles = f"{bought.number} x {bought.size_l:g} L bought"
        return joined(
            [
                f"{volume} of {bottles}" if volume else bottles,
                bought.name,
                phrase(bought.alcohol_percent_vol, "{:g} % vol"),
                phrase(bought.ph, "pH {:g}"),
                phrase(bought.free_so2_mg_l, "{:g} mg/L free SO2"),
                phrase(bought.total_so2_mg_l, "{:g} mg/L total SO2"),
                phrase(bought.sugar_g_l, "{:g} g/L sugar"),
            ]
        )
    source = f"from {body.source}" if body.source is not None else f"of {lot}"
    return f"{volume or 'an unknown amount'} {source}"


# ---- the ledger -----------------------------------------------------------------------------------------------------


def _ledger_step(entry: Entry, body: ToppingBody, state_of: StateOf, equipment: Equipment) -> LedgerStep:
    place = place_of(entry)
    before, at_ms = state_of(place), entry.at_ms
    volume, wine = _wine(entry, body, state_of)
    changes: dict[str, VesselState] = {}
    objections: list[Objection] = []
    drawn = [place]
    if body.source is not None:
        source = state_of(body.source)
        objections += drawing_objections(body.source, source, volume, "taken for topping")
        changes[body.source] = left(source, volume, at_ms)
        drawn.append(body.source)
    if before.empty:
        objections.append(Objection(place, f"{place} is empty: it can be filled, but not topped up"))
        return LedgerStep(changes, objections, drawn)
    after = before
    if before.known:
        after = received(before, volume, usual_u_l(volume), wine, blend=True, at_ms=at_ms)
        objections += too_full(place, after.volume_l, equipment.capacity_l(place, at_ms))
    changes[place] = after._replace(since_ms=before.since_ms, topped_ms=at_ms)
    return LedgerStep(changes, objections, drawn)


def _wine(entry: Entry, body: ToppingBody, state_of: StateOf) -> tuple[float | None, Wine]:
    """How much wine it was topped up with [L, None if unknown], and which."""
    if body.source is not None:
        wine = state_of(body.source).wine
        return body.volume_l, wine if wine.parts else STRANGE
    if body.bought is None:
        return body.volume_l, Wine(((entry.lot, 1.0),))
    bought = body.bought
    free, total = (
        None if value is None else So2Value(value, None, entry.at_ms)
        for value in (bought.free_so2_mg_l, bought.total_so2_mg_l)
    )
    alcohol = bought.alcohol_percent_vol
    volume = bought.number * bought.size_l if body.volume_l is None else body.volume_l
    return volume, Wine(((None, 1.0),), free, total, alcohol, alcohol, foreign_is_bought=True)


TOPPING: Final = EntryKind(
    name="topping",
    body=ToppingBody,
    says="A vessel is topped up: from a vessel, with bought bottles, or with wine of a lot.",
    example="--vessel K1 --bottles '2 x 0.75 L' --alcohol '12.5 % vol'",
    questions=_QUESTIONS,
    complete=_complete,
    instead_of={
        "from": ("bottles", "lot", *_ABOUT_BOTTLES),
        "bottles": ("from", "lot", "volume"),
        "lot": ("from", "bottles", *_ABOUT_BOTTLES),
    },
    answered_by={"bought": "bottles", "": "volume"},
    lot=_lot,
    problems=_problems,
    words=_words,
    caution=opening_caution,
    ledger_step=_ledger_step,
)
