"""Readings and results of three vessels, for tests of the history."""

from __future__ import annotations

__all__ = ["BAD", "BASE_MS", "HOUR", "READ_EVERY_MS", "STEP_MS", "Cellar3", "Row", "rows_of", "share_in"]

import math
from typing import Any

from a_store import NOW, declared
from journal_acts import VESSELS
from journal_entries import a_body, journal_cellar

from ingest.cellar import Cellar
from ingest.history import (
    MergedHistory,
)
from ingest.journal.entry import Draft, Entry
from ingest.journal.vessel_state import VesselState
from ingest.reading import Quality, Reason, quality_code
from ingest.store import Store
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.entries import write_entry
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.store.readings.settling import DAY_MS, Settler
from ingest.store.readings.summaries import CatchUp

HOUR = 3_600_000
BASE_MS = NOW // DAY_MS * DAY_MS
# Acts happen at whole numbers of steps: no divisor of an hour, so that a lot comes and goes within hours and minutes.
STEP_MS = 1_703_000
READ_EVERY_MS = 10 * 60_000 + 7_000
BAD = quality_code(Quality.BAD, Reason.FAULT)

Row = tuple[int, float, str, int, bool, float | None]


class Cellar3:
    """K1, C1 and K3 with a temperature probe each, K3 with two; a lot A and a lot B; entries at steps of time."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.cellar: Cellar = journal_cellar()
        keep_cellar_file(store, self.cellar.text, BASE_MS - HOUR)
        probes = [(f"{vessel}-t", vessel) for vessel in VESSELS] + [("K3-air", "K3")]
        wanted = [
            declared(probe=probe, place=place, quantity="temperature", gain=1.0, unit="degC") for probe, place in probes
        ]
        self.series = declare(store, wanted, BASE_MS - HOUR)
        self.now = BASE_MS + DAY_MS
        for lot in "AB":
            self.write("lot", lot=lot, at=-1, name=lot, style="white")

    def write(self, kind: str, place: str | None = None, lot: str | None = None, *, at: float, **said: Any) -> Entry:
        self.now += 1
        draft = Draft(kind, BASE_MS + round(at * STEP_MS), "Ana", a_body(kind, **said), place, lot)
        return write_entry(self.store, draft, self.cellar, self.now)

    def titrate(self, place: str | None, mg_l: float, *, at: float, lot: str | None = None) -> Entry:
        said = {"quantity": "free", "method": "elsewhere", "so2_mg_l": mg_l, "u_so2_mg_l": 2.0}
        return self.write("titration", place, lot, at=at, **said)

    def read(self, steps: int = 22) -> list[tuple[int, int, float, int]]:
        """Readings of every probe, all values different, some bad; stored."""
        rows: list[tuple[int, int, float, int]] = []
        for at_ms in range(BASE_MS, BASE_MS + steps * STEP_MS, READ_EVERY_MS):
            for series in self.series.values():
                number = len(rows) * 0.25 % 97
                rows.append((series, at_ms + series, number, BAD if len(rows) % 7 == 3 else 0))
        Appender(self.store).append(rows)
        return rows

    def settle(self, before_ms: int) -> None:
        settler = Settler(self.store)
        settler.begin(before_ms)
        while settler.slice():
            pass

    def catch_up(self) -> None:
        following = CatchUp(self.store)
        while following.slice():
            pass


def rows_of(history: MergedHistory) -> list[Row]:
    """(at, value, vessel, entry, struck, share) of each row."""
    rows: list[Row] = []
    for at_ms, value, _, _, source, entry, share in zip(*(column.tolist() for column in history.rows), strict=True):
        result = history.results.get(entry)
        vessel = history.sources[source].place if result is None else result.vessel or ""
        struck = result is not None and result.struck
        rows.append((at_ms, value, vessel, entry, struck, None if math.isnan(share) else share))
    return rows


def share_in(held: VesselState | None, lot: str) -> tuple[bool, float | None]:
    if held is None or held.empty:
        return False, None
    return any(each == lot for each, _ in held.wine.parts), dict(held.wine.parts).get(lot)
