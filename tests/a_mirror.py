"""A store and a follower of it in a hurry, for tests of the mirror."""

from __future__ import annotations

__all__ = ["SITE", "expected", "follower", "mirrored_store", "settings", "settled"]

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from a_store import NOW, declared, new_store
from influx_server import Points

from ingest.cellar import MirrorSettings
from ingest.mirror.follower import Follower, Pace
from ingest.store import Store
from ingest.store.cellar_history import keep_cellar_file
from ingest.store.history import raw
from ingest.store.series import all_series, declare
from ingest.store.settling import Settler

SITE = '[site]\nname = "Mill Lane"\ntimezone = "Europe/Ljubljana"\n'


def mirrored_store(folder: Path, probes: int = 2) -> Store:
    """A store with a cellar file and the probes k1-pressure, k2-pressure, ... in kPa: series 1, 2, ..."""
    store = new_store(folder)
    keep_cellar_file(store, SITE, NOW - 10**9)
    names = [declared(probe=f"k{n}-pressure", place=f"K{n}", gain=1.0, unit="kPa") for n in range(1, probes + 1)]
    declare(store, names, NOW)
    return store


def settings(url: str, **changes: Any) -> MirrorSettings:
    """A ``[mirror]`` table that looks for changes every 20 ms."""
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
    """A follower that tries again within 20 to 50 ms, not started yet."""
    return Follower(
        store_path=store_path,
        base=store_path.parent,
        settings=table,
        token=token,
        clock=clock,
        monotonic=time.monotonic,
        pace=pace or Pace(0.02, 0.05, 0.05),
    )


def settled(store: Store, before_ms: int = 1 << 60) -> None:
    """Pack everything older."""
    settler = Settler(store)
    settler.begin(before_ms)
    while settler.slice():
        pass


def expected(store: Store) -> Points:
    """The points of all readings as the store has them now."""
    made: Points = {}
    for row in all_series(store):
        head = f"reading,place={row.place},probe={row.probe},quantity={row.quantity},site=Mill\\ Lane"
        for at, value, quality in raw(store, row.id):
            made[head, at * 1_000_000] = {"value": repr(value), "quality": f"{quality & 3}i"}
    return made
