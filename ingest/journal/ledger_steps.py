"""What one entry does to what vessels hold, and what speaks against it: the mass balance of a single step. Pure."""

from __future__ import annotations

__all__ = ["MOVING", "HeldOf", "LedgerStep", "ledger_step"]

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, NamedTuple

from ingest.journal.analyses import MeasurementBody, TitrationBody
from ingest.journal.entry import Entry
from ingest.journal.equipment import Equipment
from ingest.journal.movements import BottlingBody, FillBody, RackingBody, SampleBody, StateBody, ToppingBody
from ingest.journal.racking import racked
from ingest.journal.treatments import AdditionBody
from ingest.journal.vessel_state import (
    ROUNDING_L,
    Objection,
    VesselState,
    drawing_objections,
    emptied,
    left,
    liters,
    occupied,
    received,
    state_text,
    too_full,
    usual_u_l,
)
from ingest.journal.wine import STRANGE, So2Value, Wine

HeldOf = Callable[[str], VesselState]


class LedgerStep(NamedTuple):
    """changes: what the vessels that the entry touches hold after it; objections: what cannot be, with numbers; drawn:
    the vessels that wine was taken from.
    """

    changes: Mapping[str, VesselState] = {}
    objections: Sequence[Objection] = ()
    drawn: Sequence[str] = ()


_NOTHING: Final = LedgerStep()


def ledger_step(entry: Entry, held: HeldOf, equipment: Equipment) -> LedgerStep:
    """What an entry does. held: what a vessel holds before it. An entry with objections still says what it would do."""
    does = _DOES.get(entry.kind)
    return _NOTHING if does is None else does(entry, entry.body, held, equipment)


def _fill(entry: Entry, body: FillBody, held: HeldOf, equipment: Equipment) -> LedgerStep:
    place = _place(entry)
    before = held(place)
    u_l = usual_u_l(body.volume_l) if body.u_volume_l is None else body.u_volume_l
    after = received(before, body.volume_l, u_l, Wine(((entry.lot, 1.0),)), blend=body.blend, at_ms=entry.at_ms)
    objections = occupied(place, before, blend=body.blend)
    return LedgerStep(
        {place: after}, objections + too_full(place, after.volume_l, equipment.capacity_l(place, entry.at_ms))
    )


def _racking(entry: Entry, body: RackingBody, held: HeldOf, equipment: Equipment) -> LedgerStep:
    if body.stage == "begun":
        beginnings = [drawing_objections(drawn.vessel, held(drawn.vessel), None, "racked") for drawn in body.sources]
        return LedgerStep({}, [objection for objections in beginnings for objection in objections])
    changes, objections = racked(body, entry.at_ms, held, lambda vessel: equipment.capacity_l(vessel, entry.at_ms))
    return LedgerStep(changes, objections, [drawn.vessel for drawn in body.sources])


def _topping(entry: Entry, body: ToppingBody, held: HeldOf, equipment: Equipment) -> LedgerStep:
    place = _place(entry)
    before, at_ms = held(place), entry.at_ms
    volume, wine = _topping_wine(entry, body, held)
    changes: dict[str, VesselState] = {}
    objections: list[Objection] = []
    drawn = [place]
    if body.source is not None:
        source = held(body.source)
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


def _topping_wine(entry: Entry, body: ToppingBody, held: HeldOf) -> tuple[float | None, Wine]:
    """How much wine was topped up with [L, None if unknown], and which."""
    if body.source is not None:
        wine = held(body.source).wine
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
    return volume, Wine(((None, 1.0),), free, total, alcohol, alcohol)


def _sample(entry: Entry, body: SampleBody, held: HeldOf, _: Equipment) -> LedgerStep:
    place = _place(entry)
    before = held(place)
    objections = drawing_objections(place, before, body.volume_l, "drawn as a sample")
    # A sample of an untold size is small: nothing that could be told in numbers changes.
    after = before if body.volume_l is None else left(before, body.volume_l, entry.at_ms)
    return LedgerStep({place: after}, objections, [place])


def _bottling(entry: Entry, body: BottlingBody, held: HeldOf, _: Equipment) -> LedgerStep:
    place = _place(entry)
    before, remainder = held(place), body.remainder_l
    out = math.fsum(bottles.number * bottles.size_l for bottles in body.bottles) + body.waste_l
    objections = drawing_objections(place, before, out + (remainder or 0.0), "bottled, wasted or left over")
    if remainder is None:
        after = left(before, out, entry.at_ms)
    elif remainder <= ROUNDING_L:
        after = emptied(before, entry.at_ms)
    elif before.empty or not before.known:
        after = before
    else:
        after = before._replace(volume_l=remainder, u_l=usual_u_l(remainder))
    return LedgerStep({place: after}, objections, [place])


def _state(entry: Entry, body: StateBody, held: HeldOf, _: Equipment) -> LedgerStep:
    if body.state is None:
        return _NOTHING
    place = _place(entry)
    before = held(place)
    if body.state == "in use":
        return LedgerStep({place: before._replace(out_of_use=False)})
    objections = []
    if body.state != "emptied" and before.known and not before.empty:
        why = (
            f"{state_text(place, before)}, so it cannot be {body.state}: "
            "say first that it was emptied, or rack its wine"
        )
        objections.append(Objection(place, why))
    after = emptied(before, entry.at_ms)
    return LedgerStep({place: after._replace(out_of_use=body.state == "out of use")}, objections)


def _measurement(entry: Entry, body: MeasurementBody, held: HeldOf, equipment: Equipment) -> LedgerStep:
    if entry.place is None:
        return _NOTHING
    place, before, volume = entry.place, held(entry.place), body.found_volume_l
    if volume is None:
        if body.quantity == "alcohol" and before.known and not before.empty:
            return LedgerStep({place: before._replace(wine=before.wine._replace(alcohol=body.value))})
        return _NOTHING
    if volume <= ROUNDING_L:
        return LedgerStep({place: emptied(before, entry.at_ms)})
    if before.empty:
        return LedgerStep(
            {}, [Objection(place, f"{place} is empty, so it cannot hold {liters(volume)}: write its filling first")]
        )
    # How much is in a vessel of unknown contents is known from now on; what it is, is not.
    wine = before.wine if before.known else STRANGE
    u_l = usual_u_l(volume) if body.u_found_volume_l is None else body.u_found_volume_l
    objections = too_full(place, volume, equipment.capacity_l(place, entry.at_ms))
    return LedgerStep({place: before._replace(known=True, volume_l=volume, u_l=u_l, wine=wine)}, objections)


def _titration(entry: Entry, body: TitrationBody, held: HeldOf, _: Equipment) -> LedgerStep:
    if entry.place is None:
        return _NOTHING
    before = held(entry.place)
    if before.empty:
        return LedgerStep({}, [Objection(entry.place, f"{entry.place} is empty: there is no wine in it to titrate")])
    if not before.known:
        return _NOTHING
    unknown = body.so2_mg_l is None and body.u_so2_mg_l is None
    # Below the blank it is 0, as well as that could be told.
    found = None if unknown else So2Value(body.so2_mg_l or 0.0, body.u_so2_mg_l, entry.at_ms)
    wine = before.wine._replace(free=found) if body.quantity == "free" else before.wine._replace(total=found)
    return LedgerStep({entry.place: before._replace(wine=wine)})


def _addition(entry: Entry, body: AdditionBody, held: HeldOf, _: Equipment) -> LedgerStep:
    place = _place(entry)
    before = held(place)
    if before.empty:
        return LedgerStep({}, [Objection(place, f"{place} is empty: there is no wine in it to add to")])
    if not before.known or (body.form == "other" and not body.so2_g):
        return _NOTHING
    # How much of it stays free is not a matter of mass, so free is not known again before the next titration; the
    # total rises by what was added.
    total = before.wine.total
    if total is not None:
        if body.so2_g is None or before.volume_l is None:
            total = None
        else:
            total = total._replace(mg_l=total.mg_l + 1000.0 * body.so2_g / before.volume_l, mixed=True)
    return LedgerStep({place: before._replace(wine=before.wine._replace(free=None, total=total))})


def _place(entry: Entry) -> str:
    if entry.place is None:
        raise ValueError(f"{entry} has no place, and its kind needs one")
    return entry.place


_DOES: Final[Mapping[str, Callable[[Entry, Any, HeldOf, Equipment], LedgerStep]]] = {
    "fill": _fill,
    "racking": _racking,
    "topping": _topping,
    "sample": _sample,
    "bottling": _bottling,
    "state": _state,
    "measurement": _measurement,
    "titration": _titration,
    "addition": _addition,
}

# The kinds of entries that can change what a vessel holds, or what is known of it.
MOVING: Final = frozenset(_DOES)
