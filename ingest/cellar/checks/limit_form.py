"""The keys of a limit: which ones belong together, whatever else is in the file."""

from __future__ import annotations

__all__ = ["form_problems"]

from collections.abc import Iterator
from typing import Final

from ingest.cellar.limits import LimitSettings
from ingest.cellar.quantities import JUDGED_QUANTITIES, LIMIT_QUANTITIES, QUANTITIES
from ingest.cellar.table_entry import TableEntry
from ingest.errors import Problem

_SIDES: Final = ("low", "high", "rate", "no_data")
# What goes with the wine from vessel to vessel. Pressure is the vessel's.
_OF_WINE: Final = ("temperature", "pH", *(name for name, row in JUDGED_QUANTITIES.items() if row.of == "wine"))


def form_problems(entry: TableEntry[LimitSettings]) -> Iterator[Problem]:
    """Find keys of one limit that are missing or do not go together."""
    limit, raw = entry.model, entry.raw
    sides = [side for side in _SIDES if side in raw]
    if not sides:
        yield entry.problem("low", 'is missing: give one of low, high, rate or no_data, such as low = "5 kPa"')
    elif len(sides) > 1:
        yield entry.problem(
            sides[1], f"give one of low, high, rate or no_data; write a second [[limit]] for {sides[1]}"
        )
    elif limit.lot is not None:
        yield from _on_wine(entry)
    elif sides == ["no_data"]:
        yield from _on_silence(entry)
    else:
        yield from _on_value(entry)
    if not limit.lot:
        yield from _on_judged(entry)
    if limit.hours == "any" and (limit.quantity or "").endswith("_so2"):
        yield entry.problem(
            "hours",
            'sulfur dioxide changes over weeks, so nobody is woken for it: write "waking" or "digest", or leave it out',
        )


def _on_value(entry: TableEntry[LimitSettings]) -> Iterator[Problem]:
    limit = entry.model
    if limit.quantity is None:
        yield entry.problem("quantity", f"is missing: one of {', '.join(LIMIT_QUANTITIES)}")
    if limit.at is None and limit.probe is None:
        wine = ", or the lot of the wine" if limit.quantity in _OF_WINE else ""
        yield entry.problem("at", f"is missing: the id of a vessel, cylinder or room{wine}")


def _on_silence(entry: TableEntry[LimitSettings]) -> Iterator[Problem]:
    limit = entry.model
    for key in ("deadband", "on_delay"):
        if key in entry.raw:
            yield entry.problem(key, "a no_data limit is a time by itself; leave it out")
    if limit.at is None and limit.probe is None:
        yield entry.problem("probe", "is missing: the id of the probe that must report")


def _on_wine(entry: TableEntry[LimitSettings]) -> Iterator[Problem]:
    limit = entry.model
    for key in ("at", "probe"):
        if key in entry.raw:
            yield entry.problem(key, "a limit on wine applies wherever the wine lies; give lot or this, not both")
    if "no_data" in entry.raw:
        yield entry.problem("no_data", "a probe reports or not, whatever wine it stands in; write probe, not lot")
    elif limit.quantity is None:
        yield entry.problem("quantity", f"is missing: one of {', '.join(_OF_WINE)}")
    elif limit.quantity not in _OF_WINE:
        yield entry.problem(
            "quantity",
            f"belongs to a place and not to wine; write at with a place, or one of {', '.join(_OF_WINE)}",
        )
    elif "rate" in entry.raw and limit.quantity not in QUANTITIES:
        yield _no_rate(entry)


def _on_judged(entry: TableEntry[LimitSettings]) -> Iterator[Problem]:
    """Check that a limit on what no probe measures names no probe, no silence and no rate."""
    limit = entry.model
    if limit.quantity not in JUDGED_QUANTITIES:
        return
    if "probe" in entry.raw:
        yield entry.problem("probe", f"no probe measures {limit.quantity}; write at with a place")
    if "no_data" in entry.raw:
        yield entry.problem("no_data", f"no probe reports {limit.quantity}; give low or high")
    elif "rate" in entry.raw:
        yield _no_rate(entry)


def _no_rate(entry: TableEntry[LimitSettings]) -> Problem:
    return entry.problem("rate", f"{entry.model.quantity} is worked out and not measured; give low or high")
