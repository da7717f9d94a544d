"""A cellar with a nitrogen and a carbon dioxide cylinder on disk, whose probes are read for days."""

from __future__ import annotations

__all__ = ["BEGIN_MS", "DAY_MS", "GAUGE", "HOUR_MS", "ROOM_WARMTH", "WARMTH", "GasStore", "gauge_kpa"]

from collections.abc import Callable
from pathlib import Path
from typing import Any

from cellar_text import MQTT, SITE, cylinder, gas_line, keg, mail, probe, room, temperature
from CoolProp.CoolProp import PropsSI
from journal_entries import a_body

from alerts.cylinders.judge import CylinderJudge
from alerts.gas.gases import STANDARD_L_MOL
from ingest.cellar import parse_cellar
from ingest.journal.entry import Draft, Entry
from ingest.judgement import Judgement
from ingest.probes.binding import declarations
from ingest.store import create_or_open
from ingest.store.journal.entries import write_entry
from ingest.store.judgements import keep_judgements
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
BEGIN_MS = 1_790_000_000_000 // DAY_MS * DAY_MS

GAUGE = probe("n2-pressure", "N2", topic="n2/p", signal="4-20 mA = 0-250 bar", unit=None)
WARMTH = temperature("n2-temperature", "N2", topic="n2/t")
ROOM_WARMTH = temperature("air", "cellar", topic="cellar/t")


class GasStore:
    """N2 (10 L, in the room cellar) feeds K1 and K2; CO2 (10 L) is weighed. probes: tables of the probes."""

    def __init__(self, folder: Path, *probes: str, file: str = "cellar.toml") -> None:
        text = (
            SITE,
            MQTT,
            mail(),
            room("cellar", volume="30 m3"),
            cylinder("N2", room="cellar"),
            cylinder("CO2", gas="carbon dioxide", room="cellar"),
            keg("K1", room="cellar"),
            keg("K2", room="cellar"),
            gas_line(relief="100 kPa", vessels=["K1", "K2"]),
            *probes,
        )
        path = folder / file
        path.write_text("\n".join(text), encoding="utf-8")
        self.path = path
        self.cellar = parse_cellar("\n".join(text), file=file, base=folder)
        self.store = create_or_open(self.cellar.store_path, BEGIN_MS)
        self.series = declare(self.store, declarations(self.cellar), BEGIN_MS)

    def read(self, probe: str, value: Callable[[float], float], days: float, *, every_h: float = 1.0) -> None:
        """Store readings at even times, by what the value is after so many days."""
        hours = [every_h * number for number in range(int(days * 24.0 / every_h) + 1)]
        rows = [(self.series[probe], BEGIN_MS + round(hour * HOUR_MS), value(hour / 24.0), 0) for hour in hours]
        assert Appender(self.store).append(rows).stored == len(rows)

    def write(self, day: float, kind: str, place: str | None, **said: Any) -> Entry:
        at_ms = BEGIN_MS + round(day * DAY_MS)
        return write_entry(self.store, Draft(kind, at_ms, "Ana", a_body(kind, **said), place), self.cellar, at_ms)

    def judged(self, day: float) -> dict[str, Judgement]:
        """What the judge says after so many days, by cylinder."""
        answer = CylinderJudge().judge(self.cellar, self.store, BEGIN_MS + round(day * DAY_MS))
        return {judgement.place: judgement for judgement in answer}

    def keep_judged(self, day: float) -> None:
        """Keep what the judge says after so many days, as the alerts daemon does."""
        answer = CylinderJudge().judge(self.cellar, self.store, BEGIN_MS + round(day * DAY_MS))
        with self.store.write() as connection:
            keep_judgements(connection, "cylinders", answer)


def gauge_kpa(litres: float, celsius: float, volume_l: float = 10.0) -> float:
    """What a gauge shows of so much nitrogen [L at 15 °C and 101.325 kPa], by an independent library."""
    density = litres / STANDARD_L_MOL / volume_l * 1000.0
    return float(PropsSI("P", "T", celsius + 273.15, "Dmolar", density, "Nitrogen")) / 1000.0 - 101.325
