"""Racking: how much left each source and came into each target, and of what wine. Pure."""

from __future__ import annotations

__all__ = ["Racked", "racked"]

import math
from collections.abc import Callable
from typing import NamedTuple

from ingest.journal.movements import RackingBody
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
    too_full,
    usual_u_l,
)
from ingest.journal.wine import STRANGE, Wine, mix, root, sum_known


class Racked(NamedTuple):
    """changes: what sources and targets hold after it; objections: what cannot be."""

    changes: dict[str, VesselState]
    objections: list[Objection]


def racked(
    body: RackingBody, at_ms: int, held: Callable[[str], VesselState], capacity_l: Callable[[str], float | None]
) -> Racked:
    """What a racking does. held: what a vessel holds before it; capacity_l: what it takes brimful [L].

    Drawn = come in + lees. A volume that nobody told follows from the others where that is possible, else it stays
    unknown. Lees told as one sum are taken off the sources in proportion to what was drawn.
    """
    before = {drawn.vessel: held(drawn.vessel) for drawn in body.sources}
    out = _drawn(body, before)
    arrived, lees, objections = _arrived(body, out)
    changes: dict[str, VesselState] = {}
    streams: list[tuple[float | None, Wine]] = []
    spreads: list[float | None] = []
    for drawn, volume in zip(body.sources, out, strict=True):
        source = before[drawn.vessel]
        objections += drawing_objections(drawn.vessel, source, volume, "racked")
        clear = volume if volume is None else max(volume - (drawn.lees_l or 0.0), 0.0)
        streams.append((clear, source.wine if source.wine.parts else STRANGE))
        spreads.append(source.u_l if drawn.volume_l is None and volume == source.volume_l else usual_u_l(volume))
        whole = drawn.volume_l is None if drawn.emptied is None else drawn.emptied
        changes[drawn.vessel] = emptied(source, at_ms) if whole else left(source, volume, at_ms)
    poured, short = _poured(body, arrived, lees)
    wine = mix(streams)
    for target, volume in zip(body.targets, poured, strict=True):
        vessel, there = target.vessel, held(target.vessel)
        rest_of_all = target.volume_l is None and len(body.targets) == 1
        u_l = root(*spreads) if rest_of_all else usual_u_l(volume)
        after = received(there, volume, u_l, wine, blend=target.blend, at_ms=at_ms)
        objections += occupied(vessel, there, blend=target.blend)
        objections += too_full(vessel, after.volume_l, capacity_l(vessel))
        changes[vessel] = after if after is there else after._replace(racked_ms=at_ms)
    return Racked(changes, objections + short)


def _drawn(body: RackingBody, before: dict[str, VesselState]) -> list[float | None]:
    """What was drawn from each source [L], lees included."""
    out = []
    for drawn in body.sources:
        all_of_it = drawn.volume_l is None and drawn.emptied is not False
        out.append(before[drawn.vessel].volume_l if all_of_it else drawn.volume_l)
    told = sum_known(target.volume_l for target in body.targets)
    if told is not None and out.count(None) == 1:
        rest = told + _lees(body) - math.fsum(volume for volume in out if volume is not None)
        out[out.index(None)] = rest if rest > 0.0 else None
    return out


def _lees(body: RackingBody) -> float:
    return math.fsum(drawn.lees_l or 0.0 for drawn in body.sources) if body.lees_l is None else body.lees_l


def _arrived(body: RackingBody, out: list[float | None]) -> tuple[float | None, float, list[Objection]]:
    """What came to the targets together [L, None if unknown], the lees [L], and whether those are too much."""
    lees, drawn = _lees(body), sum_known(out)
    if drawn is None:
        return None, lees, []
    if lees > drawn + ROUNDING_L:
        names = _sources(body)
        why = f"{liters(lees)} of lees are more than the {liters(drawn)} drawn from {names}"
        return 0.0, lees, [Objection(names, why)]
    return max(drawn - lees, 0.0), lees, []


def _poured(body: RackingBody, arrived_l: float | None, lees_l: float) -> tuple[list[float | None], list[Objection]]:
    """How much came into each target [L], one without a volume gets the rest; and whether that is too much."""
    volumes = [target.volume_l for target in body.targets]
    if arrived_l is None:
        return volumes, []
    told = math.fsum(volume for volume in volumes if volume is not None)
    if volumes.count(None) == 1:
        volumes[volumes.index(None)] = max(arrived_l - told, 0.0)
    if told <= arrived_l + ROUNDING_L:
        return volumes, []
    into, names = ", ".join(target.vessel for target in body.targets), _sources(body)
    less = f" after {liters(lees_l)} of lees" if lees_l > 0 else ""
    why = (
        f"{liters(told)} into {into}, but {liters(arrived_l)} came from {names}{less}: "
        f"{liters(told - arrived_l)} too much"
    )
    return volumes, [Objection(names, why)]


def _sources(body: RackingBody) -> str:
    return ", ".join(drawn.vessel for drawn in body.sources)
