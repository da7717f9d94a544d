"""Which entries of the journal are asked for: the same choice for the page and for programs."""

from __future__ import annotations

__all__ = ["MOST_ENTRIES", "JournalFilter", "KnownNames", "chosen_entries", "known_names"]

from typing import Final, NamedTuple

from ingest.cellar import Cellar, nearest
from ingest.errors import IngestError
from ingest.journal.entry import Entry
from ingest.journal.kinds import KINDS
from ingest.store import Store
from ingest.store.journal.entries import entries
from ingest.store.journal.stored_ledger import contents, ledger_at
from ingest.times import bound_of

MOST_ENTRIES: Final = 5000
"""So many are given at most."""


class JournalFilter(NamedTuple):
    """Which entries are asked for, as texts; "" for all. since, until: as a person writes the bounds of a span."""

    vessel: str = ""
    lot: str = ""
    kind: str = ""
    since: str = ""
    until: str = ""


class KnownNames(NamedTuple):
    """What there is to choose from: vessels, cylinders and rooms; lots."""

    places: list[str]
    lots: list[str]


def known_names(store: Store, cellar: Cellar, now_ms: int) -> KnownNames:
    """Find what entries can be asked for by. now_ms: UTC ms."""
    places = [vessel.id for vessel in cellar.vessel]
    places += [vessel for vessel in contents(store, now_ms, cellar) if vessel not in places]
    places += [*(cylinder.id for cylinder in cellar.cylinder), *(room.id for room in cellar.room)]
    with store.read() as connection:
        lots = list(ledger_at(connection, now_ms, cellar).lots.names)
    return KnownNames(places, lots)


def chosen_entries(
    store: Store,
    cellar: Cellar,
    wanted: JournalFilter,
    known: KnownNames,
    now_ms: int,
    newest: int,
    *,
    struck: bool = True,
) -> list[Entry]:
    """Give the newest entries that are asked for, oldest first. struck: those that were struck, too.

    Raises IngestError for a bound that is not a time, and for a name that there is not.
    """
    zone = cellar.site.zone
    from_ms, to_ms = (bound_of(text, zone, now_ms) if text else None for text in (wanted.since, wanted.until))
    for what, name, names in (
        ("vessel, cylinder or room", wanted.vessel, known.places),
        ("lot", wanted.lot, known.lots),
        ("kind of entry", wanted.kind, list(KINDS)),
    ):
        if name and name not in names:
            near = nearest(name, names)
            meant = f"did you mean {near}?" if near else f"there are: {', '.join(names) or 'none yet'}"
            raise IngestError(f"there is no {what} '{name}'; {meant}")
    return entries(
        store,
        vessel=wanted.vessel or None,
        lot=wanted.lot or None,
        kinds=[wanted.kind] if wanted.kind else (),
        from_ms=from_ms,
        to_ms=to_ms,
        struck=struck,
        newest=newest,
    )
