"""Signals: what a probe's label says must fit the way in which its numbers arrive."""

from __future__ import annotations

__all__ = ["signal_problems"]

import re
from collections.abc import Iterator

from ingest.cellar.draft import TableEntry
from ingest.cellar.equipment import Probe
from ingest.cellar.signal import Counts, Signal
from ingest.errors import Problem


def signal_problems(entry: TableEntry[Probe]) -> Iterator[Problem]:
    """Everything that is wrong between a probe's signal, counts, supply and way in; its unit is checked elsewhere."""
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
    wanted = 'only a signal of a supply, such as "0.5-4.5 V of 5 V = 0-30 psi", has one; leave this out'
    if probe.supply_pointer is not None and not ratiometric:
        yield entry.problem("supply_pointer", wanted)
    if probe.pattern is not None and not ratiometric and _has_supply_group(probe.pattern):
        yield entry.problem("pattern", f"has a group named supply, but {wanted}")


def _has_supply_group(pattern: str) -> bool:
    return re.search(r"\(\?P<supply>", pattern) is not None
