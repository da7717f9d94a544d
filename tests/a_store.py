"""A new store, and what tests put into it."""

from __future__ import annotations

__all__ = ["NOW", "declared", "fill_up", "make_room", "new_store", "start_script"]

import subprocess
import sys
from pathlib import Path
from typing import Any

from ingest.reading import Declaration
from ingest.store import Store, create_or_open

# 2026-11-25T18:30:00Z
NOW = 1_795_631_400_000


def new_store(folder: Path) -> Store:
    """A store in a folder, made or opened again."""
    return create_or_open(folder / "cellar.db", NOW)


def declared(**changes: Any) -> Declaration:
    """The probe k1-pressure at K1 in psi, unless told otherwise."""
    names = {"probe": "k1-pressure", "place": "K1", "quantity": "pressure"}
    settings: dict[str, Any] = {**names, "gain": 6.894757, "offset": 0.0, "unit": "psi", **changes}
    settings.setdefault("former_probe", settings["probe"])
    settings.setdefault("former_place", settings["place"])
    return Declaration(**settings)


def fill_up(store: Store) -> None:
    """From now on the file may not grow, as on a full disk; only this connection is held to it."""
    pages = store.connection.execute("PRAGMA page_count").fetchone()[0]
    store.connection.execute(f"PRAGMA max_page_count={pages}")


def make_room(store: Store) -> None:
    """The disk takes more again."""
    store.connection.execute("PRAGMA max_page_count=1073741823")


def start_script(script: str, *arguments: object) -> subprocess.Popen[str]:
    """Start a Python script in a process of its own, in the checkout, with its output to read."""
    return subprocess.Popen(
        [sys.executable, "-c", script, *map(str, arguments)],
        cwd=Path(__file__).parent.parent,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
