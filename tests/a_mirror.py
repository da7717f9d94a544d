"""A store, a person who writes into its journal, and a follower with short waits, for tests of the mirror."""

from __future__ import annotations

__all__ = [
    "SITE",
    "Desk",
    "Start",
    "expected",
    "follower",
    "mirrored_store",
    "refused_lines",
    "settings",
    "settled",
    "up_to_date",
]

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from a_store import NOW, declared, new_store
from cellar_text import site
from influx_server import Points
from journal_entries import a_body, journal_cellar

from ingest.cellar import MirrorSettings
from ingest.journal.entry import Draft, Entry
from ingest.mirror.follower import Follower, Pace
from ingest.store import Store
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.entries import strike, write_entry
from ingest.store.mirror_queue import RefusedLine
from ingest.store.readings.series import all_series, declare
from ingest.store.readings.series_history import raw
from ingest.store.readings.settling import Settler
from ingest.times import END_OF_TIME_MS

SITE = site(name="Mill Lane")


def mirrored_store(folder: Path, probes: int = 2) -> Store:
    """Make a store with a cellar file and the probes k1-pressure, k2-pressure, ... in kPa: series 1, 2, ..."""
    store = new_store(folder)
    keep_cellar_file(store, SITE, NOW - 10**9)
    names = [declared(probe=f"k{n}-pressure", place=f"K{n}", gain=1.0, unit="kPa") for n in range(1, probes + 1)]
    declare(store, names, NOW)
    return store


Start = Callable[[Follower], Follower]


class Desk:
    """Ana, who writes into the journal of a store; lot A is in K1."""

    def __init__(self, store: Store, at_ms: int = NOW) -> None:
        self._store = store
        self._cellar = journal_cellar()
        self._at_ms = at_ms
        self.write("lot", lot="A", name="Malvasia", style="white")
        self.write("first-filling", "K1", "A", volume_l=16.0)

    def write(self, kind: str, place: str | None = None, lot: str | None = None, **answers: Any) -> Entry:
        """Write an entry a second after the previous one."""
        self._at_ms += 1000
        return write_entry(
            self._store, Draft(kind, self._at_ms, "Ana", a_body(kind, **answers), place, lot), self._cellar, self._at_ms
        )

    def free(self, mg_l: float, place: str | None = "K1", lot: str | None = None) -> Entry:
        """Write free SO2 from a laboratory, with a standard uncertainty of 2 mg/L."""
        answers: dict[str, Any] = {"quantity": "free", "method": "elsewhere", "so2_mg_l": mg_l, "u_so2_mg_l": 2.0}
        return self.write("titration", place, lot, **answers)

    def strike(self, entry: Entry, reason: str = "wrong flask") -> None:
        """Cross an entry out."""
        self._at_ms += 1000
        strike(self._store, entry.id, "Ben", reason, self._at_ms)


def settings(url: str, **changes: Any) -> MirrorSettings:
    """Make a ``[mirror]`` table that looks for changes every 20 ms."""
    read = MirrorSettings.model_validate({"url": url, "org": "home", "bucket": "cellar"})
    return read.model_copy(update={"every_s": 0.02, "timeout_s": 5.0, **changes})


def follower(
    store_path: Path,
    table: MirrorSettings,
    *,
    token: Callable[[], str | None] = lambda: None,
    clock: Callable[[], int] = lambda: NOW,
    pace: Pace | None = None,
) -> Follower:
    """Make a follower that tries again within 20 to 50 ms. It is not started yet."""
    return Follower(
        store_path=store_path,
        base=store_path.parent,
        settings=table,
        token=token,
        clock=clock,
        monotonic=time.monotonic,
        pace=pace or Pace(0.02, 0.05, 0.05),
    )


def up_to_date(mirror: Follower) -> bool:
    """Say whether it has nothing left to do."""
    state = mirror.state()
    return state.state == "up to date" and state.behind == state.spans == state.records == 0


def settled(store: Store, before_ms: int = END_OF_TIME_MS) -> None:
    """Settle everything older than before_ms."""
    settler = Settler(store)
    settler.begin(before_ms)
    while settler.slice():
        pass


def refused_lines(store: Store) -> list[RefusedLine]:
    """Return what the server refused, newest first."""
    rows = store.connection.execute("SELECT line, status, said FROM mirror_refused ORDER BY last_ms DESC, id DESC")
    return [RefusedLine(*row) for row in rows]


def expected(store: Store) -> Points:
    """Return the points of all readings as the store has them now."""
    points: Points = {}
    for row in all_series(store):
        head = f"reading,place={row.place},probe={row.probe},quantity={row.quantity},site=Mill\\ Lane"
        for at, value, quality in raw(store, row.id):
            points[head, at * 1_000_000] = {"value": repr(value), "quality": f"{quality & 3}i"}
    return points
