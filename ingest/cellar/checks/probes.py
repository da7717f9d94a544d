"""Probes: where each stands, what it measures in which unit, and what its label says of its signal."""

from __future__ import annotations

__all__ = ["probe_problems"]

from collections.abc import Iterator, Mapping

from ingest.cellar.checks.ids import unknown_name
from ingest.cellar.checks.wiring import shared_value_problems, wiring_problems
from ingest.cellar.draft import CellarDraft
from ingest.cellar.equipment import Probe, Site
from ingest.cellar.quantities import QUANTITIES, PlaceKind, series_unit_conversion
from ingest.cellar.signal import Counts, Signal
from ingest.cellar.table_entry import TableEntry
from ingest.cellar.units import UnitError, find_unit
from ingest.errors import Problem


def probe_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find everything that is wrong with where probes stand, what they measure and how their numbers arrive."""
    kinds = draft.place_kinds()
    for entry in draft.entries(Probe):
        yield from _place(entry, draft, kinds)
        yield from _unit(entry, draft)
        yield from _signal(entry)
        yield from wiring_problems(entry, draft)
    yield from shared_value_problems(draft)


def _place(entry: TableEntry[Probe], draft: CellarDraft, kinds: Mapping[str, PlaceKind]) -> Iterator[Problem]:
    probe = entry.model
    known = draft.ids("places")
    if probe.at not in known:
        yield entry.problem("at", unknown_name("vessel, cylinder or room", probe.at, known))
        return
    kind = kinds.get(probe.at)
    if kind is None:
        return  # that table could not be read, which is reported there
    row = QUANTITIES[probe.quantity]
    if kind not in row.places:
        yield entry.problem("quantity", f"is not measured at a {kind}; {row.elsewhere}")
    if probe.mounted is not None:
        if probe.quantity != "temperature":
            yield entry.problem(
                "mounted", "only a temperature probe is mounted in wine, at a wall or in air; leave it out"
            )
        elif probe.mounted != "air" and kind == "room":
            yield entry.problem("mounted", 'a room has no wine and no vessel wall; write "air" or leave it out')


def _unit(entry: TableEntry[Probe], draft: CellarDraft) -> Iterator[Problem]:
    probe = entry.model
    row = QUANTITIES[probe.quantity]
    key = "unit" if probe.signal is None else "signal"  # a signal's label says the unit
    if "reference" in entry.raw and probe.quantity != "pressure":
        yield entry.problem("reference", 'only quantity = "pressure" has a reference; leave it out')
    elif probe.reference != "gauge" and any(site.altitude_m is None for site in draft.models(Site)):
        yield entry.problem("reference", 'needs altitude in [site], such as "340 m", to work out the air pressure')
    try:
        series_unit_conversion(probe.quantity, probe.unit)
    except UnitError as error:
        yield entry.problem(key, str(error))
        return
    counted_from = find_unit(row.dimension, probe.unit).reference
    if counted_from is None:
        return
    if probe.quantity == "barometric_pressure":
        if counted_from == "gauge":
            yield entry.problem(key, 'the pressure of the air is absolute; write a unit such as "hPa"')
    elif counted_from != ("absolute" if probe.reference == "absolute" else "gauge"):
        yield entry.problem(
            key,
            f'is {counted_from} pressure, but this probe has reference = "{probe.reference}"; change one of the two',
        )


def _signal(entry: TableEntry[Probe]) -> Iterator[Problem]:
    """Check that signal, counts, supply and the way in fit each other."""
    probe = entry.model
    if probe.signal is not None and "unit" in entry.raw:
        yield entry.problem("unit", f'the signal says it already: "{probe.signal.unit}"; leave unit out')
    if probe.counts is not None:
        yield from _counts(entry, probe.counts, probe.signal)
    yield from _supply(entry)


def _counts(entry: TableEntry[Probe], counts: Counts, signal: Signal | None) -> Iterator[Problem]:
    if signal is None:
        yield entry.problem("counts", 'needs a signal that says what the volts mean, such as "0-10 V = 0-60 °C"')
        return
    try:
        counts.check(signal)
    except ValueError as error:
        yield entry.problem("counts", str(error))


def _supply(entry: TableEntry[Probe]) -> Iterator[Problem]:
    probe = entry.model
    ratiometric = probe.signal is not None and probe.signal.kind == "ratiometric"
    only = 'only a signal of a supply, such as "0.5-4.5 V of 5 V = 0-30 psi", has one; leave this out'
    if probe.supply_pointer is not None and not ratiometric:
        yield entry.problem("supply_pointer", only)
    if probe.pattern is not None and not ratiometric and "(?P<supply>" in probe.pattern:
        yield entry.problem("pattern", f"has a group named supply, but {only}")
