"""Whether the gas supply is open at a vessel, by the journal: a line for people, an object for programs."""

from __future__ import annotations

__all__ = ["supply_json", "supply_line"]

from datetime import tzinfo

from alerts.view.format import local_time
from ingest.journal.supply import Supply
from ingest.times import iso_utc_known


def supply_line(supply: Supply, zone: tzinfo, now_ms: int) -> str:
    """Say it, such as "gas supply of N2: open since 14:05:00 CET"; "" where no entry says anything."""
    if supply.since_ms is None:
        return ""
    of = f" of {supply.cylinder}" if supply.cylinder else ""
    state = "open" if supply.is_open else "shut"
    return f"gas supply{of}: {state} since {local_time(supply.since_ms, zone, now_ms)}"


def supply_json(supply: Supply) -> dict[str, object]:
    """Give the same as an object. known: by which entries; since: null where no entry says anything."""
    return {
        "open": supply.is_open,
        "since": iso_utc_known(supply.since_ms),
        "known": supply.known,
        "gas_line": supply.line or None,
        "cylinder": supply.cylinder or None,
    }
