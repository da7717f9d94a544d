"""A cellar with months behind it: readings, a journal, hourly judgements and alarms, as the daemons would have left it.

A lot lies in K1, is racked to K2 and watched there. K1 leaks for five days in its second month; K2 has a short loss of
pressure that no mean of an hour or a day would show.
"""

from __future__ import annotations

__all__ = ["DAY_MS", "LEAST_KPA", "LOT", "Winter", "winter_cellar"]

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
from cellar_text import carboy, cylinder, keg, limit, mqtt, probe, room, site, table, temperature

from alerts.watch.alarm_table import AlarmEvent, State
from ingest.cellar import Cellar, parse_cellar
from ingest.entering import enter
from ingest.journal.entry import Entry
from ingest.judgement import Judgement
from ingest.probes.binding import declarations
from ingest.store import Store, create_or_open
from ingest.store.alarms.alarm_record import TransitionRow, add_transition
from ingest.store.judgements import HOUR_MS, keep_judgements
from ingest.store.readings.block import Arrays
from ingest.store.readings.bulk_import import BulkImport, Piece
from ingest.store.readings.series import declare
from ingest.store.readings.summaries import CatchUp
from ingest.times import iso_utc

DAY_MS: Final = 86_400_000
LOT: Final = "rebula-26"
LEAST_KPA: Final = 3.3
"""The lowest reading of K2: one reading long, in the night of the tenth day before the end."""

_RACKED_DAYS_AGO: Final = 42.0
_LEAK_DAYS_AGO: Final = (66.0, 61.0)
_DIP_DAYS_AGO: Final = 9.6


def winter_cellar(
    folder: Path, *, vessels: int = 3, page_port: int = 8420, more: str = "", **of_site: object
) -> Cellar:
    """The cellar file: kegs with a pressure and a temperature each, a pH probe in K2, a carboy without a probe."""
    pieces = [
        site(altitude="340 m", **of_site),
        mqtt(),
        table("[page]", address=f"127.0.0.1:{page_port}"),
        room(),
        cylinder(),
    ]
    for number in range(1, vessels + 1):
        id = f"K{number}"
        pieces += [
            keg(id, room="cellar"),
            probe(f"k{number}-pressure", id, topic=f"k{number}/p", every="10 s"),
            temperature(f"k{number}-temperature", id, topic=f"k{number}/t", every="10 s", mounted="wine"),
        ]
    pieces += [
        carboy("C1", room="cellar"),
        probe("k2-ph", "K2", quantity="pH", topic="k2/ph", unit="pH", every="60 s"),
        limit(at="K2", quantity="temperature", high="16 °C", priority="medium"),
        more,
    ]
    return parse_cellar("\n".join(pieces), file="cellar.toml", base=folder)


class Winter:
    """Fills the store of a cellar with ``days`` days up to ``now_ms``; cadence_s: between two readings of a probe."""

    def __init__(self, cellar: Cellar, now_ms: int, *, days: int = 120, cadence_s: int = 60) -> None:
        self.cellar = cellar
        self.now_ms = now_ms
        self.days = days
        self.store: Store = create_or_open(cellar.store_path, now_ms - days * DAY_MS)
        self._cadence_ms = cadence_s * 1000
        self._series = declare(self.store, declarations(cellar), now_ms - days * DAY_MS)

    def fill(self) -> Winter:
        """Bring in all of it."""
        self._read()
        self._write_journal()
        self._judge()
        self._raise_alarms()
        return self

    def fill_readings(self) -> Winter:
        """Bring in what the probes read, and nothing else."""
        self._read()
        return self

    def act(self, days_ago: float, kind: str, answers: Mapping[str, str | Sequence[str]]) -> Entry:
        """Enter something that was done so many days ago."""
        at = iso_utc(self.now_ms - round(days_ago * DAY_MS))
        return enter(self.store, self.cellar, kind, answers, who="Ana", now_ms=self.now_ms, at=at)

    def titrate(self, days_ago: float, vessel: str, free_mg_l: float) -> Entry:
        """Enter a titration with iodine of 1/128 N on 25 mL of wine: 10 mg/L for each mL."""
        return self.act(
            days_ago,
            "titration",
            {
                "vessel": vessel,
                "quantity": "free",
                "method": "iodometric",
                "titre": (f"{free_mg_l / 10:.2f} mL",),
                "sample": "25 mL",
                "substance": "iodine",
                "strength": "0.0078125 N",
                "factor": "1.0",
            },
        )

    def _read(self) -> None:
        for number, vessel in enumerate((vessel for vessel in self.cellar.vessel if vessel.kind == "keg"), 1):
            at_ms = self._times()
            warm = self._temperature(at_ms, number)
            self._bring(f"k{number}-temperature", at_ms, warm)
            self._bring(f"k{number}-pressure", at_ms, self._pressure(at_ms, warm, vessel.id))
        if "k2-ph" in self._series:
            at_ms = self._times()
            at_ms = at_ms[at_ms > self.now_ms - round(20 * DAY_MS)]
            drift = (at_ms - self.now_ms) / DAY_MS * 0.0008
            self._bring("k2-ph", at_ms, np.round(3.41 + drift + self._chance(9).normal(0, 0.006, len(at_ms)), 3))
        following = CatchUp(self.store)
        while following.slice():
            pass

    def _times(self) -> npt.NDArray[np.int64]:
        first_ms = (self.now_ms - self.days * DAY_MS) // self._cadence_ms * self._cadence_ms
        return np.arange(first_ms, self.now_ms, self._cadence_ms, dtype=np.int64)

    def _chance(self, seed: int) -> np.random.Generator:
        return np.random.default_rng(seed)

    def _temperature(self, at_ms: npt.NDArray[np.int64], seed: int) -> npt.NDArray[np.float64]:
        days = (at_ms - self.now_ms) / DAY_MS
        chance = self._chance(seed)
        steps = np.cumsum(chance.normal(0, 0.5, self.days + 2)) * 0.6
        weather = np.interp(days, np.arange(-self.days - 1, 1), steps - np.linspace(0, steps[-1], self.days + 2))
        room = 12.5 + 3.0 * np.cos(2 * np.pi * (days + 120) / 365) + weather + 0.35 * np.sin(2 * np.pi * days + 1.2)
        return np.round(room + chance.normal(0, 0.03, len(days)), 2)

    def _pressure(
        self, at_ms: npt.NDArray[np.int64], warm: npt.NDArray[np.float64], vessel: str
    ) -> npt.NDArray[np.float64]:
        """Gauge pressure of gas that warms and cools: absolute pressure in proportion to absolute temperature."""
        days = (at_ms - self.now_ms) / DAY_MS
        at_12_kpa = np.full(len(days), 151.0) + 0.3 * days / 30
        if vessel == "K1":
            leak = np.clip(-_LEAK_DAYS_AGO[0] * -1 + days, 0, _LEAK_DAYS_AGO[0] - _LEAK_DAYS_AGO[1])
            at_12_kpa -= np.where(days < -_LEAK_DAYS_AGO[1], 8.5 * leak, 0)
            at_12_kpa[days > -_RACKED_DAYS_AGO] = 97.3
        if vessel == "K2":
            at_12_kpa[days < -_RACKED_DAYS_AGO] = 97.3
        gauge = at_12_kpa * (273.15 + warm) / 285.15 - 97.3
        gauge += self._chance(len(vessel)).normal(0, 0.08, len(days))
        if vessel == "K2":
            gauge[np.searchsorted(at_ms, self.now_ms - round(_DIP_DAYS_AGO * DAY_MS))] = LEAST_KPA
        return np.asarray(np.round(gauge, 2))

    def _bring(self, probe_id: str, at_ms: npt.NDArray[np.int64], values: npt.NDArray[np.float64]) -> None:
        series = self._series[probe_id]
        quality = np.zeros(len(at_ms), np.uint16)
        BulkImport(self.store, [series]).take([Piece(series, Arrays(at_ms, values, quality))])

    def _write_journal(self) -> None:
        begin = self.days - 2.0
        facts = {"name": "Rebula 2026", "style": "white", "alcohol": "12.5 % vol", "sugar": "1.5 g/L"}
        self.act(begin, "lot", {"lot": LOT, **facts, "malolactic": "prevented"})
        self.act(begin, "first-filling", {"vessel": "K1", "lot": LOT, "volume": "18.4 L"})
        self.act(begin, "gas", {"vessel": "K1", "act": "charged", "pressure": "55 kPa", "cylinder": "N2"})
        self.act(
            begin - 0.5, "addition", {"vessel": "K1", "form": "metabisulfite", "salt": "potassium", "mass": "1.4 g"}
        )
        self.act(begin - 4, "measurement", {"lot": LOT, "quantity": "pH", "value": "3.40", "uncertainty": "0.03"})
        self.titrate(begin - 10, "K1", 31.5)
        self.titrate(min(78.0, begin - 20), "K1", 26.0)
        self.act(_LEAK_DAYS_AGO[1], "gas", {"vessel": "K1", "act": "charged", "pressure": "55 kPa", "cylinder": "N2"})
        self.titrate(50.0, "K1", 22.5)
        self.act(_RACKED_DAYS_AGO, "racking", {"from": ("K1",), "to": ("K2=17.8L",), "lees": "0.5 L"})
        self.act(
            _RACKED_DAYS_AGO - 0.02,
            "addition",
            {"vessel": "K2", "form": "metabisulfite", "salt": "potassium", "mass": "0.50 g"},
        )
        self.act(
            _RACKED_DAYS_AGO - 0.05, "gas", {"vessel": "K2", "act": "charged", "pressure": "55 kPa", "cylinder": "N2"}
        )
        self.titrate(35.0, "K2", 33.0)
        self.act(20.0, "inspection", {"vessel": "K2", "remark": "bright, a little sediment"})
        self.titrate(8.0, "K2", 28.5)

    def _judge(self) -> None:
        """The compensated pressure of each hour, from a straight line with the leak and the recharge."""
        with self.store.write() as connection:
            for vessel, begin_days, end_days in (("K1", self.days, _RACKED_DAYS_AGO), ("K2", _RACKED_DAYS_AGO, 0.0)):
                first_ms = self.now_ms - round(begin_days * DAY_MS)
                for at_ms in range(first_ms + 12 * HOUR_MS, self.now_ms - round(end_days * DAY_MS), HOUR_MS):
                    days = (at_ms - self.now_ms) / DAY_MS
                    lost = 0.0
                    if vessel == "K1" and -_LEAK_DAYS_AGO[0] < days < -_LEAK_DAYS_AGO[1]:
                        lost = 8.5 * (days + _LEAK_DAYS_AGO[0])
                    value = 55.0 + 0.3 * days / 30 - lost
                    finding = "slow leak" if lost > 3 else "sound"
                    row = Judgement(vessel, "compensated_pressure", at_ms, value, value - 1.1, value + 1.1, finding)
                    keep_judgements(connection, "gas", [row])

    def _raise_alarms(self) -> None:
        leak_ms = self.now_ms - round((_LEAK_DAYS_AGO[0] - 4.2) * DAY_MS)
        mended_ms = self.now_ms - round(_LEAK_DAYS_AGO[1] * DAY_MS)
        dip_ms = self.now_ms - round(_DIP_DAYS_AGO * DAY_MS)
        self._alarm("K1/pressure/care", "a1a", leak_ms, mended_ms, 19.6)
        self._alarm("K2/pressure/air", "a1b", dip_ms, dip_ms + 90_000, LEAST_KPA)

    def _alarm(self, key: str, occurrence: str, began_ms: int, ended_ms: int, value: float) -> None:
        with self.store.write() as connection:
            states = (State.NORMAL, State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.NORMAL)
            events = (AlarmEvent.BEGAN, AlarmEvent.ACKNOWLEDGE, AlarmEvent.ENDED)
            for number, at_ms in enumerate((began_ms, began_ms + 30_000, ended_ms)):
                who = "Ana" if events[number] == AlarmEvent.ACKNOWLEDGE else ""
                add_transition(
                    connection,
                    TransitionRow(
                        at_ms, key, occurrence, events[number], states[number], states[number + 1], value, who, ""
                    ),
                )
