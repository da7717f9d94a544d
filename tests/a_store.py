"""A new store, and data that tests put into it."""

from __future__ import annotations

__all__ = ["NOW", "declared", "fill_up", "make_room", "new_store", "noisy_store", "start_script"]

import random
import subprocess
import sys
from pathlib import Path
from typing import Any

from ingest.reading import Declaration
from ingest.store import Store, create_or_open
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.store.readings.settling import Settler

# 2026-11-25T18:30:00Z
NOW = 1_795_631_400_000


def new_store(folder: Path) -> Store:
    """Create the store in a folder, or open it again."""
    return create_or_open(folder / "cellar.db", NOW)


def declared(**changes: Any) -> Declaration:
    """Declare a probe, by default k1-pressure at K1 in psi."""
    names = {"probe": "k1-pressure", "place": "K1", "quantity": "pressure"}
    settings: dict[str, Any] = {**names, "gain": 6.894757, "offset": 0.0, "unit": "psi", **changes}
    settings.setdefault("former_probe", settings["probe"])
    settings.setdefault("former_place", settings["place"])
    return Declaration(**settings)


def fill_up(store: Store) -> None:
    """Keep the file from growing, as on a full disk; this holds only for this connection."""
    pages = store.connection.execute("PRAGMA page_count").fetchone()[0]
    store.connection.execute(f"PRAGMA max_page_count={pages}")


def make_room(store: Store) -> None:
    """Let the file grow again."""
    store.connection.execute("PRAGMA max_page_count=1073741823")


def noisy_store(folder: Path, *, settled: bool = True) -> tuple[Store, int]:
    """Make a store with 2,000 readings of one series in twenty commits; all but the last are settled, or none."""
    store = new_store(folder)
    series = declare(store, [declared(gain=1.0, unit="kPa")], NOW)["k1-pressure"]
    append, noise = Appender(store), random.Random(0)
    for commit in range(20):
        begin = NOW + commit * 6_000_000
        # Noise cannot be packed, so a settled day takes pages.
        append.append([(series, begin + step * 60_000, noise.random(), 0) for step in range(100)])
    if settled:
        _settle(store)
    return store, series


def _settle(store: Store) -> None:
    settler = Settler(store)
    settler.begin(NOW + 19 * 6_000_000)
    while settler.slice():
        pass


def start_script(script: str, *arguments: object) -> subprocess.Popen[str]:
    """Start a Python script in a process of its own, in the top folder, with pipes for its output."""
    return subprocess.Popen(
        [sys.executable, "-c", script, *map(str, arguments)],
        cwd=Path(__file__).parent.parent,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
