"""A cellar file on disk with an empty journal, and the command run on it."""

from __future__ import annotations

__all__ = ["FILE_TEXT", "JournalOnDisk"]

import json
import subprocess
from pathlib import Path
from typing import Any

from cellar_text import CARBOY, MQTT, PROBE, SITE, keg, table
from running import leeside

from ingest.cellar import load_cellar
from ingest.journal.entry import Entry
from ingest.probes.binding import declarations
from ingest.process import wall_ms
from ingest.store import create_or_open
from ingest.store.journal.entries import entries
from ingest.store.readings.series import declare

FILE_TEXT = "\n".join(
    (
        SITE,
        MQTT,
        keg("K1", tare="4.2 kg"),
        CARBOY,
        keg("K3", capacity="25 L"),
        table("[[cylinder]]", id="CO2", gas="carbon dioxide", water_volume="10 L"),
        PROBE,
    )
)


class JournalOnDisk:
    """Vessels K1 (19.5 L, with its tare), C1 (glass, 23 L) and K3 (25 L), the cylinder CO2, a pressure probe at K1."""

    def __init__(self, folder: Path) -> None:
        self.file = folder / "cellar.toml"
        self.file.write_text(FILE_TEXT, encoding="utf-8")
        self.cellar = load_cellar(self.file)
        self.store = create_or_open(self.cellar.store_path, wall_ms())
        self.series = declare(self.store, declarations(self.cellar), wall_ms())

    def run(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Run a leeside command, without a terminal."""
        return leeside(*words)

    def enter(self, kind: str, *options: str) -> dict[str, Any]:
        """Enter something that must be accepted; return the entry as JSON."""
        done = self.run("enter", kind, str(self.file), *options, "--json")
        assert done.returncode == 0, done.stderr
        found: dict[str, Any] = json.loads(done.stdout)
        return found

    def written(self) -> list[Entry]:
        """Return all entries, including struck ones."""
        return entries(self.store)
