"""A cellar on disk with probes of pH and temperature, and a wine that was titrated once."""

from __future__ import annotations

__all__ = ["BEGIN_MS", "DAY_MS", "ProbedCellar"]

from pathlib import Path
from typing import Any

from cellar_text import MQTT, SITE, carboy, keg, probe, temperature
from journal_entries import a_body

from alerts.so2.vessel_so2 import VesselSo2, so2_of_vessel
from ingest.cellar import parse_cellar
from ingest.journal.entry import Draft
from ingest.probes.binding import declarations
from ingest.store import create_or_open
from ingest.store.journal.entries import write_entry
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare

DAY_MS = 86_400_000
BEGIN_MS = 1_760_000_000_000 // DAY_MS * DAY_MS


class ProbedCellar:
    """K1 with a pH probe and one on its wall, C1 with one in the air; a wine in K1 that was titrated once."""

    def __init__(self, folder: Path, more: str = "") -> None:
        text = (
            SITE,
            MQTT,
            keg("K1"),
            carboy("C1"),
            probe("ph", "K1", quantity="pH", unit="pH", topic="k1/ph"),
            temperature("wall", "K1", topic="k1/wall", mounted="wall"),
            temperature("air", "C1", topic="c1/air", mounted="air"),
            more,
        )
        self.cellar = parse_cellar("\n".join(text), file="cellar.toml", base=folder)
        self.store = create_or_open(self.cellar.store_path, BEGIN_MS)
        self.series = declare(self.store, declarations(self.cellar), BEGIN_MS)
        self.write(0, "lot", None, "ries", name="ries", style="white")
        self.write(0, "first-filling", "K1", "ries", volume_l=18.0)
        self.write(1, "titration", "K1", quantity="free", method="elsewhere", so2_mg_l=30.0, u_so2_mg_l=1.5)

    def write(self, day: float, kind: str, place: str | None, lot: str | None = None, **said: Any) -> None:
        at_ms = BEGIN_MS + round(day * DAY_MS)
        draft = Draft(kind, at_ms, "Ana", a_body(kind, **said), place, lot)
        write_entry(self.store, draft, self.cellar, at_ms)

    def read(self, probe: str, *numbers: tuple[float, float], quality: int = 0) -> None:
        """Store readings, each a day and a number."""
        rows = [(self.series[probe], BEGIN_MS + round(day * DAY_MS), number, quality) for day, number in numbers]
        assert Appender(self.store).append(rows).stored == len(rows)

    def so2(self, vessel: str, day: float) -> VesselSo2:
        found = so2_of_vessel(self.cellar, self.store, vessel, BEGIN_MS + round(day * DAY_MS))
        assert found is not None
        return found
