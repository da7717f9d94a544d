"""A cellar on disk in which a white has rested in K1 for half a year and is due to be racked into K2.

The docs show a review of it. Its past: pressure and temperature every ten minutes, summaries as upkeep makes them,
the gas judged by the hour, a journal. On one day in August a fitting leaked for twelve hours, so that the gauge fell
under the air floor; in October K1 was charged again.
"""

from __future__ import annotations

__all__ = ["DAY_MS", "HOUR_MS", "NOW_MS", "TITRATIONS", "RestedCellar", "kpa"]

from collections.abc import Sequence
from math import pi, sin
from pathlib import Path
from typing import Any

import numpy as np
from cellar_text import MQTT, carboy, cylinder, gas_line, keg, probe, room, site, temperature, write_cellar
from journal_entries import a_body

from ingest.cellar import load_cellar
from ingest.journal.entry import Draft, Entry
from ingest.probes.binding import declarations
from ingest.store import create_or_open
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.entries import write_entry
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.store.readings.settling import Settler
from ingest.store.readings.summaries import CatchUp

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
# 2026-11-28 10:00 in Ljubljana.
NOW_MS = 1_795_856_400_000
_STEP_MS = 600_000
_DAYS = 187.0
# Days ago: when the leak began, how long it lasted, and when the keg was charged again.
_LEAK = 104.0
_LEAK_DAYS = 0.5
_CHARGED = 48.0
TITRATIONS = ((180.0, 34.0), (141.0, 30.5), (110.0, 28.0), (75.0, 25.5), (40.0, 23.5), (12.0, 21.5))
"""Free SO2 of K1: days ago, and mg/L."""
TEXT = (
    site(altitude="340 m"),
    MQTT,
    room(volume="30 m3"),
    cylinder("N2", room="cellar"),
    gas_line(vessels=["K1", "K2"]),
    keg("K1", room="cellar"),
    keg("K2", room="cellar"),
    carboy("C1", room="cellar"),
    probe("k1-pressure", "K1"),
    temperature("k1-temperature", "K1", mounted="wall"),
    probe("n2-pressure", "N2", topic="n2/p", unit="bar"),
    temperature("cellar-temperature", "cellar", topic="cellar/t"),
)


class RestedCellar:
    """The cellar file, its store and its past up to ``NOW_MS``. Close ``store`` in the end.

    titrations: of free SO2 in K1, days ago and mg/L.
    """

    def __init__(
        self, folder: Path, *, readings: bool = True, titrations: Sequence[tuple[float, float]] = TITRATIONS
    ) -> None:
        self.file = write_cellar(folder, *TEXT)
        self.cellar = load_cellar(self.file)
        begin_ms = self.ms(_DAYS + 30)
        self.store = create_or_open(self.cellar.store_path, begin_ms)
        keep_cellar_file(self.store, self.cellar.text, begin_ms)
        self.series = declare(self.store, declarations(self.cellar), begin_ms)
        self._journal(titrations)
        if readings:
            self._readings()
            self._judgements()

    def ms(self, days_ago: float) -> int:
        """A moment so many days before the end [UTC ms]."""
        return NOW_MS - round(days_ago * DAY_MS)

    def write(self, days_ago: float, kind: str, place: str | None = None, lot: str | None = None, **said: Any) -> Entry:
        """Write an entry, so many days before the end."""
        at_ms = self.ms(days_ago)
        return write_entry(self.store, Draft(kind, at_ms, "Ana", a_body(kind, **said), place, lot), self.cellar, at_ms)

    def _journal(self, titrations: Sequence[tuple[float, float]]) -> None:
        self.write(
            216,
            "lot",
            lot="rebula-26",
            name="Rebula 2026",
            style="white",
            alcohol_percent_vol=12.5,
            sugar_g_l=1.5,
            malolactic="prevented",
        )
        self.write(216, "first-filling", "C1", "rebula-26", volume_l=18.6)
        self.write(
            _DAYS,
            "racking",
            sources=[{"vessel": "C1"}],
            targets=[{"vessel": "K1", "volume_l": 18.0}],
            lees_l=0.6,
            air="under gas",
        )
        self.write(_DAYS - 0.02, "gas", "K1", act="charged", pressure_kpa=55.0, cylinder="N2")
        self.write(_DAYS - 1, "vessel-status", "K2", status="emptied")
        self.write(_LEAK - _LEAK_DAYS - 0.01, "gas", "K1", act="charged", pressure_kpa=55.0, cylinder="N2")
        self.write(_CHARGED, "gas", "K1", act="charged", pressure_kpa=55.0, cylinder="N2")
        for ph_days, ph in ((180.0, 3.38), (12.0, 3.40)):
            self.write(ph_days, "measurement", "K1", quantity="pH", value=ph, u_value=0.03)
        for days_ago, free in titrations:
            self.write(days_ago, "titration", "K1", quantity="free", method="elsewhere", so2_mg_l=free, u_so2_mg_l=1.5)
        self.write(180, "titration", "K1", quantity="total", method="elsewhere", so2_mg_l=92.0, u_so2_mg_l=3.0)
        self.write(47, "inspection", "K1", clarity="hazy", lees_mm=4.0, film=False)
        self.write(6, "inspection", "K1", clarity="clear", lees_mm=6.0, film=False, smell="fresh bread")
        self.write(1, "measurement", "N2", quantity="pressure", value=12_000.0)

    def _readings(self) -> None:
        appender = Appender(self.store)
        times = np.arange(self.ms(_DAYS) + _STEP_MS, NOW_MS, _STEP_MS)
        rows = []
        for at_ms in times.tolist():
            days_ago = (NOW_MS - at_ms) / DAY_MS
            rows.append((self.series["k1-temperature"], at_ms, celsius(days_ago), 0))
            rows.append((self.series["k1-pressure"], at_ms, kpa(days_ago), 0))
        for at_ms in times[-300:].tolist():
            rows.append((self.series["cellar-temperature"], at_ms, 12.2, 0))
            rows.append((self.series["n2-pressure"], at_ms, 120.0, 0))
        appender.append(rows)
        settler, following = Settler(self.store), CatchUp(self.store)
        settler.begin(NOW_MS)
        while settler.slice():
            pass
        while following.slice():
            pass

    def _judgements(self) -> None:
        """What the judge of gas would have kept, an hour at a time."""
        rows = []
        hours = np.arange(self.ms(_DAYS) // HOUR_MS + 3, NOW_MS // HOUR_MS, dtype=np.int64)
        for hour in hours.tolist():
            at_ms = hour * HOUR_MS + 55 * 60_000
            days_ago = (NOW_MS - at_ms) / DAY_MS
            leaks = _is_leak(days_ago)
            finding = "fast leak" if leaks else "sound"
            value = kpa(days_ago) - 2.0 * (celsius(days_ago) - 15.0) * 0.5
            rows.append(("K1", "compensated_pressure", "", hour * HOUR_MS, at_ms, value, value - 2, value + 2, finding))
            low, high = (2.0, 4.0) if leaks else (0.0, 0.01)
            rows.append(("K1", "leak_rate", "", hour * HOUR_MS, at_ms, low, low, high, finding))
        with self.store.write() as connection:
            connection.executemany(
                "INSERT INTO judgement_hour (place, name, lot, hour_ms, at_ms, value, low, high, finding)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                rows,
            )


def celsius(days_ago: float) -> float:
    """12 °C in the last weeks, 16 °C in August, a swing of 0.6 K within the day."""
    season = 4.0 * max(0.0, sin(pi * (days_ago - 30.0) / 157.0))
    return round(11.9 + season + 0.3 * sin(2.0 * pi * days_ago), 2)


def kpa(days_ago: float) -> float:
    """55 kPa that settle to 47; a leak of twelve hours, down to no pressure, in August; charged again in October."""
    warm = 1.0 * (celsius(days_ago) - 12.0)
    if _is_leak(days_ago):
        return round(max(0.2, 50.0 - 60.0 * (_LEAK - days_ago) / _LEAK_DAYS), 1)
    since = _CHARGED - days_ago if days_ago < _CHARGED else _LEAK - days_ago if days_ago < _LEAK else _DAYS - days_ago
    return float(round(47.0 + 8.0 * 2.0 ** (-since / 6.0) + warm, 1))


def _is_leak(days_ago: float) -> bool:
    return _LEAK - _LEAK_DAYS < days_ago <= _LEAK
