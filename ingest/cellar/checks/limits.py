"""Limits: each judges one probe, lies where the quantity and the vessel allow, and can clear again."""

from __future__ import annotations

__all__ = ["limit_problems"]

from collections.abc import Iterable, Iterator
from typing import Final

from ingest.cellar.checks.due import due_problems, is_on_due_work
from ingest.cellar.checks.ids import unknown_name
from ingest.cellar.default_limits import effective_limits
from ingest.cellar.draft import CellarDraft
from ingest.cellar.equipment import Probe, Vessel
from ingest.cellar.limits import EffectiveLimit, LimitSettings, file_limit, judged_probes
from ingest.cellar.quantities import QUANTITIES, plausible_range, value_in_unit
from ingest.cellar.table_entry import TableEntry
from ingest.errors import Problem

_SIDES: Final = ("low", "high", "no_data")


def limit_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find everything that is wrong with limits."""
    probes = draft.models(Probe)
    vessels = {vessel.id: vessel for vessel in draft.models(Vessel)}
    kinds = draft.place_kinds()
    sound: list[tuple[TableEntry[LimitSettings], EffectiveLimit]] = []
    yield from due_problems(draft)
    for entry in draft.entries(LimitSettings):
        if is_on_due_work(entry):
            continue
        problems = [*_form(entry)] or [*_target(entry, draft, probes)]
        if not problems and len(judged_probes(entry.model, probes)) == 1:
            limit = file_limit(entry.model, probes)
            problems = [*_range(entry, limit, vessels.get(limit.at), kinds.get(limit.at))]
            if not problems:
                sound.append((entry, limit))
        yield from problems
    yield from _same_key(sound)
    limits = [limit for _, limit in sound]
    on_values = [written for written in draft.written(LimitSettings) if not is_on_due_work(written)]
    if len(sound) == len(on_values) and draft.complete(Probe, Vessel):
        settings = [entry.model for entry, _ in sound]
        limits = [*effective_limits(vessels.values(), probes, settings, units="metric")]
    for entry, limit in sound:
        if limit.kind != "no data":
            others = [other for other in limits if other.probe == limit.probe]
            yield from _neighbours(entry, limit, others, vessels.get(limit.at), kinds.get(limit.at))


def _form(entry: TableEntry[LimitSettings]) -> Iterator[Problem]:
    limit, raw = entry.model, entry.raw
    if "lot" in raw:
        yield entry.problem("lot", "limits on a lot are not yet judged by this version; write at with a place")
        return
    sides = [side for side in _SIDES if side in raw]
    if not sides:
        yield entry.problem("low", 'is missing: give one of low, high or no_data, such as low = "5 kPa"')
    elif len(sides) > 1:
        yield entry.problem(sides[1], f"give one of low, high or no_data; write a second [[limit]] for {sides[1]}")
    elif sides == ["no_data"]:
        for key in ("deadband", "on_delay"):
            if key in raw:
                yield entry.problem(key, "a no_data limit is a time by itself; leave it out")
        if limit.at is None and limit.probe is None:
            yield entry.problem("probe", "is missing: the id of the probe that must report")
    else:
        if limit.quantity is None:
            yield entry.problem("quantity", f"is missing: one of {', '.join(QUANTITIES)}")
        if limit.at is None and limit.probe is None:
            yield entry.problem("at", "is missing: the id of a vessel, cylinder or room")


def _target(entry: TableEntry[LimitSettings], draft: CellarDraft, probes: list[Probe]) -> Iterator[Problem]:
    """Check that exactly one probe is meant."""
    limit = entry.model
    places, known = draft.ids("places"), draft.ids("probes")
    if limit.at is not None and limit.at not in places:
        yield entry.problem("at", unknown_name("vessel, cylinder or room", limit.at, places))
    if limit.probe is not None and limit.probe not in known:
        yield entry.problem("probe", unknown_name("probe", limit.probe, known))
        return
    if limit.at is not None and limit.at not in places:
        return
    meant = judged_probes(limit, probes)
    if len(meant) > 1:
        yield entry.problem(
            "probe", f"is missing: several probes could be meant; name one of {', '.join(probe.id for probe in meant)}"
        )
    elif not meant and draft.complete(Probe):
        named = next((probe for probe in probes if probe.id == limit.probe), None)
        if named is None:
            yield entry.problem("at", f"no probe measures {limit.quantity or 'anything'} there; a limit needs a probe")
        else:
            yield entry.problem("probe", f"measures {named.quantity} at {named.at}, not what this limit says")


def _range(
    entry: TableEntry[LimitSettings], limit: EffectiveLimit, vessel: Vessel | None, kind: str | None
) -> Iterator[Problem]:
    """Check that the setpoint lies where the quantity and the vessel allow."""
    if limit.kind == "no data":
        return
    key = limit.kind
    if vessel is not None and vessel.material == "glass" and limit.quantity == "pressure" and limit.kind == "low":
        yield entry.problem(
            key, "glass bursts under pressure: never keep a blanket pressure in glass; leave this limit out"
        )
        return
    if kind is None:
        return
    bottom, top = plausible_range(limit.quantity, kind)
    if not bottom < limit.setpoint < top:
        yield entry.problem(
            key,
            f"lies outside what can be measured at a {kind}: {_text(bottom, limit)} to {_text(top, limit)}",
        )
    elif (
        vessel is not None
        and vessel.max_pressure_kpa is not None
        and limit.quantity == "pressure"
        and limit.setpoint > vessel.max_pressure_kpa
    ):
        yield entry.problem(
            key,
            f"lies above the max_pressure of {vessel.id}, {_text(vessel.max_pressure_kpa, limit)}; stay below it",
        )


def _same_key(limits: Iterable[tuple[TableEntry[LimitSettings], EffectiveLimit]]) -> Iterator[Problem]:
    keys: set[str] = set()
    for entry, limit in limits:
        if limit.key in keys and "id" not in entry.raw:
            yield entry.problem("id", f"is missing: another limit has the key {limit.key}; give this one an id")
        keys.add(limit.key)


def _neighbours(
    entry: TableEntry[LimitSettings],
    limit: EffectiveLimit,
    others: list[EffectiveLimit],
    vessel: Vessel | None,
    kind: str | None,
) -> Iterator[Problem]:
    """Check that low lies under high, and that the alarm can clear before the next one comes."""
    low = limit.kind == "low"
    opposite = [other for other in others if other.kind == ("high" if low else "low")]
    crossed = [
        other for other in opposite if (limit.setpoint >= other.setpoint) == low or limit.setpoint == other.setpoint
    ]
    for other in crossed:
        if low or other.origin == "default":
            where = "at or above the high limit" if low else "at or below the low limit"
            more = "" if other.origin == "file" else f", a default one; write your own {other.kind} limit as well"
            yield entry.problem(limit.kind, f"lies {where} {other.key}, {_text(other.setpoint, limit)}{more}")
    if crossed or kind is None:
        return
    ends = [(other.setpoint, f"the {other.kind} limit {other.key}") for other in opposite]
    bottom, top = plausible_range(limit.quantity, kind)
    ends.append((top if low else bottom, "the end of what can be measured"))
    if low and vessel is not None and vessel.max_pressure_kpa is not None and limit.quantity == "pressure":
        ends.append((vessel.max_pressure_kpa, f"the max_pressure of {vessel.id}"))
    clears = limit.setpoint + limit.deadband if low else limit.setpoint - limit.deadband
    reached = [end for end in ends if (clears >= end[0] if low else clears <= end[0])]
    if reached:
        end, name = min(reached) if low else max(reached)
        usual = "" if "deadband" in entry.raw else "the usual one is too wide: "
        yield entry.problem(
            "deadband",
            f"{usual}the alarm would clear only at {_text(clears, limit)}, and {name} is {_text(end, limit)}; "
            "make the deadband smaller",
        )


def _text(value: float, limit: EffectiveLimit) -> str:
    """Write a value in the unit that the limit was written in."""
    return f"{value_in_unit(limit.quantity, value, limit.unit_text):.6g} {limit.unit_text}".rstrip()
