"""Limits: each judges one probe, a judged quantity or wine, lies where these allow, and can clear again."""

from __future__ import annotations

__all__ = ["limit_problems"]

from collections.abc import Iterable, Iterator
from typing import Final

from ingest.cellar.checks.due import due_problems, is_on_due_work
from ingest.cellar.checks.ids import unknown_name
from ingest.cellar.checks.limit_form import form_problems
from ingest.cellar.default_limits import effective_limits
from ingest.cellar.draft import CellarDraft
from ingest.cellar.equipment import Cylinder, Probe, Vessel
from ingest.cellar.file_limits import file_limit, meant_probes, probes_by_place, wine_limit
from ingest.cellar.limits import EffectiveLimit, LimitSettings
from ingest.cellar.quantities import JUDGED_QUANTITIES, difference_in_unit, plausible_range, value_in_unit
from ingest.cellar.signal_reach import end_of_signal, is_out_of_reach
from ingest.cellar.table_entry import TableEntry
from ingest.errors import Problem

# Wine is in vessels only, and all kinds of those have the same plausible ranges.
_ANY_VESSEL: Final = "keg"


def limit_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find everything that is wrong with limits."""
    probes = draft.models(Probe)
    by_place = probes_by_place(probes)
    vessels = {vessel.id: vessel for vessel in draft.models(Vessel)}
    kinds = draft.place_kinds()
    sound: list[tuple[TableEntry[LimitSettings], EffectiveLimit]] = []
    on_wine: list[tuple[TableEntry[LimitSettings], EffectiveLimit]] = []
    yield from due_problems(draft)
    for entry in draft.entries(LimitSettings):
        if is_on_due_work(entry):
            continue
        problems = [*form_problems(entry)] or [*_target(entry, draft, probes)]
        setting = entry.model
        if not problems and setting.lot is not None:
            limit = wine_limit(setting)
            problems = [*_range(entry, limit, None, _ANY_VESSEL)]
            if not problems:
                on_wine.append((entry, limit))
        elif not problems and (setting.quantity in JUDGED_QUANTITIES or len(meant_probes(setting, probes)) == 1):
            limit = file_limit(setting, probes, by_place)
            problems = [*_range(entry, limit, vessels.get(limit.at), kinds.get(limit.at))]
            if not problems:
                problems = [*_signal(entry, limit, probes)]
            if not problems:
                sound.append((entry, limit))
        yield from problems
    yield from _same_key([*sound, *on_wine])
    limits = [limit for _, limit in sound]
    on_values = [written for written in draft.written(LimitSettings) if not is_on_due_work(written)]
    if len(sound) + len(on_wine) == len(on_values) and draft.complete(Probe, Vessel):
        settings = [entry.model for entry, _ in sound]
        cylinders = draft.models(Cylinder)
        limits = [*effective_limits(vessels.values(), probes, settings, units="metric", cylinders=cylinders)]
    for entry, limit in sound:
        others = [other for other in limits if other.probe == limit.probe]
        yield from _neighbours(entry, limit, others, vessels.get(limit.at), kinds.get(limit.at))
    for entry, limit in on_wine:
        others = [other for _, other in on_wine if (other.lot, other.quantity) == (limit.lot, limit.quantity)]
        yield from _neighbours(entry, limit, others, None, _ANY_VESSEL)


def _target(entry: TableEntry[LimitSettings], draft: CellarDraft, probes: list[Probe]) -> Iterator[Problem]:
    """Check that wine, a place of a judged quantity, or exactly one probe is meant."""
    limit = entry.model
    places, known = draft.ids("places"), draft.ids("probes")
    if limit.lot is not None:
        return
    if limit.at is not None and limit.at not in places:
        yield entry.problem("at", unknown_name("vessel, cylinder or room", limit.at, places))
    if limit.probe is not None and limit.probe not in known:
        yield entry.problem("probe", unknown_name("probe", limit.probe, known))
        return
    if limit.at is not None and limit.at not in places:
        return
    row = JUDGED_QUANTITIES.get(limit.quantity or "")
    if row is not None:
        kind = draft.place_kinds().get(limit.at or "")
        if kind is not None and kind not in row.places:
            yield entry.problem("at", f"a {kind} has no {row.name}: {row.elsewhere}")
        return
    meant = meant_probes(limit, probes)
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
    if limit.kind == "rate":
        if kind is not None:
            yield from _widest_change(entry, limit, kind)
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


def _widest_change(entry: TableEntry[LimitSettings], limit: EffectiveLimit, kind: str) -> Iterator[Problem]:
    """Check that a change is one that can be measured, and that the deadband leaves something of it."""
    bottom, top = plausible_range(limit.quantity, kind)
    if limit.setpoint >= top - bottom:
        yield entry.problem(
            "rate", f"is more than the whole of what can be measured at a {kind}, {_difference(top - bottom, limit)}"
        )
    elif limit.deadband >= limit.setpoint:
        usual = "" if "deadband" in entry.raw else "the usual one is too wide: "
        yield entry.problem(
            "deadband",
            f"{usual}the alarm would never clear, since no change is smaller than none; make it smaller than "
            f"{_difference(limit.setpoint, limit)}",
        )


def _signal(entry: TableEntry[LimitSettings], limit: EffectiveLimit, probes: list[Probe]) -> Iterator[Problem]:
    """Check that the probe's signal can say what would raise the alarm."""
    if is_out_of_reach(limit, probes):
        probe = next(probe for probe in probes if probe.id == limit.probe)
        end = end_of_signal(probe, limit.kind)
        assert end is not None
        more = "more" if limit.kind == "high" else "less"
        yield entry.problem(
            limit.kind, f"can never be reached: the signal of {probe.id} says no {more} than {_text(end, limit)}"
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
    if limit.kind not in ("low", "high"):
        return
    low = limit.kind == "low"
    opposite = [other for other in others if other.kind == ("high" if low else "low")]
    crossed = [
        other for other in opposite if (limit.setpoint >= other.setpoint) == low or limit.setpoint == other.setpoint
    ]
    # Of several default ones only the one that is farthest in the way.
    defaults = [other for other in crossed if other.origin == "default"]
    for other in [each for each in crossed if each.origin == "file"] + _farthest(defaults, low=low):
        if low or other.origin == "default":
            where = "at or above the high limit" if low else "at or below the low limit"
            more = "" if other.origin == "file" else f", a default one; {_way_out(other)}"
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


def _farthest(limits: list[EffectiveLimit], *, low: bool) -> list[EffectiveLimit]:
    """Give the one limit, if any, whose setpoint is the highest (low) or lowest."""
    ordered = sorted(limits, key=lambda limit: limit.setpoint, reverse=low)
    return ordered[:1]


def _text(value: float, limit: EffectiveLimit) -> str:
    """Write a value in the unit that the limit was written in."""
    return f"{value_in_unit(limit.quantity, value, limit.unit_text):.6g} {limit.unit_text}".rstrip()


def _difference(value: float, limit: EffectiveLimit) -> str:
    """Write a difference in the unit that the limit was written in."""
    return f"{difference_in_unit(limit.quantity, value, limit.unit_text):.6g} {limit.unit_text}".rstrip()


def _way_out(default: EffectiveLimit) -> str:
    if default.role == "working":
        return f"say by working_pressure of {default.at} what is usual in it"
    return f"write your own {default.kind} limit as well"
