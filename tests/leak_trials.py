"""Trials of the leak watch on simulated kegs: the rows of kinds, and one batch of kegs through the watch."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from leak_scores import Judged, Outcome, judged, outcome
from leak_simple_ways import simple_alarms

from alerts.gas.blanket import Filling
from alerts.gas.blanket_facts import BlanketFacts, BlanketPoint, EpisodeCause, WineBefore
from alerts.gas.blanket_watch import BlanketWatch
from alerts.gas.gases import blanket_gas
from ingest.simulation.keg_trials.draw_kegs import KegKind, draw_kegs
from ingest.simulation.keg_trials.keg import Charge, Moved, TrialKeg, Vent, WineDrawn
from ingest.simulation.keg_trials.readings import START_MS, KegReadings, read
from ingest.simulation.keg_trials.world import KegTruths, keg_truths

HEADSPACES_L: Final = (0.5, 2.0, 10.0)
# Judged at this distance from an onset or nearer, a fast leak is judged each minute.
_NEAR_S: Final = 1800.0
# Wine gives gas back, and a long narrow path lets ever less through: so many times as long a leak may take.
_LONGER: Final = 3.0


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the table: kegs of a kind, and what must be found in them within how long.

    goals: the share to be found within ``within_h``, by headspace [L]; empty for kegs that are tight. minutely: judged
    each minute around the onset. gaps_count: whether a leak that begins in a gap counts.
    """

    name: str
    kind: KegKind
    within_h: float = 0.0
    goals: Mapping[float, float] | None = None
    minutely: bool = False
    gaps_count: bool = True


def _leaky(days: float, how: str, low: float, high: float, **changes: object) -> KegKind:
    kind = KegKind(2.0, days, leak=(how, low, high), recharge=False)  # type: ignore[arg-type]
    return replace(kind, **changes)  # type: ignore[arg-type]


_EVERY: Final = {0.5: 0.8, 2.0: 0.95, 10.0: 0.95}
_QUIET: Final = KegKind(2.0, 8.0, wine=("blanket",), draws_per_day=0.0, vents_per_day=0.0)
_CARBON_DIOXIDE: Final = {"gas": ("co2",), "wine": ("blanket",)}
_FRESH: Final = {"onset_day": (0.05, 0.3), "charged_before_days": 0.0, "wine": ("air", "gas-free")}

ROWS: Final = {
    row.name: row
    for row in (
        Row("tight", KegKind(2.0, 60.0)),
        Row(
            "60 kPa/h",
            _leaky(2.6, "loss kPa/h", 60.0, 240.0),
            10.0 / 60.0,
            dict.fromkeys(HEADSPACES_L, 0.97),
            minutely=True,
            gaps_count=False,
        ),
        Row("12 h", _leaky(3.1, "floor in h", 12.0, 12.0), 2.0, dict.fromkeys(HEADSPACES_L, 0.99)),
        Row("2 d", _leaky(4.6, "floor in h", 48.0, 48.0), 12.0, _EVERY),
        Row("10 d", _leaky(6.0, "floor in h", 240.0, 240.0), 72.0, {0.5: 0.75, 2.0: 0.95, 10.0: 0.95}),
        Row("40 d", _leaky(9.8, "floor in h", 960.0, 960.0), 168.0, {2.0: 0.9, 10.0: 0.9}),
        Row("settling, tight", replace(KegKind(2.0, 6.0), wine=("air", "gas-free"), charged_before_days=0.0)),
        Row(
            "settling, 20 kPa/h",
            _leaky(1.0, "loss kPa/h", 15.0, 30.0, **_FRESH),
            2.0,
            dict.fromkeys(HEADSPACES_L, 0.95),
        ),
        Row("settling, 2 d", _leaky(5.0, "floor in h", 48.0, 48.0, **_FRESH), 72.0, {}),
        Row("gas rising", replace(_QUIET, days=8.0, rising_kpa_day=(1.0, 4.0))),
        Row("cold nights", replace(_QUIET, days=14.0, start_kpa=(7.0, 14.0), swing_k=(9.0,))),
        Row("carbon dioxide, tight", KegKind(2.0, 14.0, gas=("co2",), wine=("blanket",))),
        Row("carbon dioxide, 12 h", _leaky(3.1, "floor in h", 12.0, 12.0, **_CARBON_DIOXIDE), 2.0, {}),
        Row("carbon dioxide, 2 d", _leaky(4.6, "floor in h", 48.0, 48.0, **_CARBON_DIOXIDE), 12.0, {}),
        # A wine that works again stirs itself.
        Row(
            "carbon dioxide, rising",
            replace(
                _QUIET, days=6.0, gas=("co2",), wine=("blanket",), stirring=("mid", "fast"), rising_kpa_day=(2.0, 6.0)
            ),
        ),
    )
}


@dataclass(frozen=True, slots=True)
class Batch:
    """Some kegs of one row.

    journal: whether the watch hears of what people did, as from leeside's journal. barometer: whether all of the kegs
    have one or none, None for half of them; the kegs are the same otherwise.
    """

    row: str
    headspace_l: float
    first: int
    count: int
    seed: int
    days: float | None = None
    every_s: float = 600.0
    journal: bool = False
    barometer: bool | None = None


def run_batch(batch: Batch) -> list[Outcome]:
    """Draw the kegs, run them, put their readings through the watch, and score what it said."""
    ahead = _truths(batch)
    readings = read(ahead.until(_days(batch)))
    minutely = ROWS[batch.row].minutely
    outcomes = []
    for column in range(batch.count):
        trace = watch_keg(readings, column, every_s=batch.every_s, minutely=minutely, journal=batch.journal)
        alarms = simple_alarms(readings, column) if readings.truths.at_s[-1] > 2.0 * 86_400.0 else {}
        outcomes.append(outcome(batch.first + column, readings.truths, column, trace, alarms, ahead))
    return outcomes


def batch_readings(batch: Batch) -> KegReadings:
    """Draw the kegs of a batch, run and read them."""
    return read(_truths(batch).until(_days(batch)))


def _days(batch: Batch) -> float:
    """How long the kegs are read [d]."""
    return batch.days or ROWS[batch.row].kind.days


def _truths(batch: Batch) -> KegTruths:
    """Run the kegs of a batch, leaking ones until their gauge should be below the floor."""
    leak = ROWS[batch.row].kind.leak
    more_days = 0.0 if leak is None else _LONGER * (leak[2] / 24.0 if leak[0] == "floor in h" else 1.0)
    return keg_truths(batch_kegs(batch), _days(batch), more_days=more_days)


def batch_kegs(batch: Batch) -> list[TrialKeg]:
    """Draw the kegs of a batch; each row has kegs of its own."""
    kind = ROWS[batch.row].kind
    kind = replace(kind, headspace_l=batch.headspace_l, days=_days(batch))
    seed = batch.seed + 1_000_000 * list(ROWS).index(batch.row)
    kegs = draw_kegs(kind, batch.count, seed=seed, first=batch.first)
    if batch.barometer is None:
        return kegs
    return [replace(keg, probes=replace(keg.probes, barometer=batch.barometer)) for keg in kegs]


def facts_of(keg: TrialKeg, *, wine_before: WineBefore = "unknown") -> BlanketFacts:
    """Put together what the keg's owner knows of it."""
    return BlanketFacts(
        filling=Filling(keg.capacity_l, keg.believed_wine_l, 12.0, "steel"),
        gas=blanket_gas(keg.gas),
        mounted=keg.probes.mounted,
        station_kpa=round(keg.air.station_kpa, 0),
        weather_moves=not keg.probes.barometer,
        wine_before=wine_before,
    )


def watch_keg(
    readings: KegReadings, column: int, *, every_s: float = 600.0, minutely: bool = False, journal: bool = False
) -> list[Judged]:
    """Put one keg's readings through the watch and keep what it said: every ``every_s``, and when it has news."""
    watched = WatchedKeg(readings, column, every_s=every_s, minutely=minutely, journal=journal)
    for step in range(len(readings.at_ms)):
        watched.take(step)
    return watched.trace


class WatchedKeg:
    """A keg whose readings go through the watch step by step. trace: what it said: every ``every_s``, each minute about
    the onset if ``minutely``, and when it has news.
    """

    def __init__(
        self, readings: KegReadings, column: int, *, every_s: float = 600.0, minutely: bool = False, journal: bool
    ) -> None:
        keg = readings.kegs[column]
        self.trace: list[Judged] = []
        self._facts = facts_of(keg, wine_before=_wine_before(keg) if journal else "unknown")
        self.watch = BlanketWatch(self._facts)
        written = [happening for happening in keg.happenings if not isinstance(happening, Moved)] if journal else []
        self._acts = sorted((_act(keg, happening) for happening in written), key=lambda act: act[0])
        self._onset_s = keg.leak.onset_s if keg.leak is not None else np.inf
        self._at_ms = readings.at_ms
        self._step_s = float(readings.truths.at_s[1] - readings.truths.at_s[0])
        self._points = readings.of(column)
        self._point = next(self._points, None)
        self._every_s, self._minutely = every_s, minutely

    def take(self, step: int) -> None:
        """Take what was written down and read up to a step."""
        at_s, at_ms = step * self._step_s, int(self._at_ms[step])
        while self._acts and self._acts[0][0] <= at_s:
            when_s, cause, drawn_l = self._acts.pop(0)
            filling = replace(self._facts.filling, wine_l=self._facts.filling.wine_l - drawn_l)
            self._facts = replace(self._facts, filling=filling)
            self.watch.begin_episode(START_MS + round(1000.0 * when_s), cause, self._facts)
        while self._point is not None and self._point.at_ms <= at_ms:
            self.watch.add(BlanketPoint(*self._point))
            self._point = next(self._points, None)
        is_near = self._minutely and abs(at_s - self._onset_s) < _NEAR_S
        if at_s % self._every_s == 0.0 or self.watch.has_news or is_near:
            self.trace.append(judged(self.watch.judge(at_ms)))


def _wine_before(keg: TrialKeg) -> WineBefore:
    held = keg.wine_holds_kpa[0] + keg.wine_holds_kpa[1]
    if keg.charged_before_s == 0.0 and 70.0 < held < 80.0:
        return "from air"
    return "under gas" if held > 80.0 else "unknown"


def _act(keg: TrialKeg, happening: object) -> tuple[float, EpisodeCause, float]:
    """A line of the journal: when [s], what, and the wine that went [L]."""
    match happening:
        case WineDrawn():
            return happening.at_s + happening.within_s + 60.0, "drawn", happening.litres
        case Vent():
            return happening.at_s + 60.0, "vented", 0.0
        case Charge():
            return happening.at_s + 60.0, "charged", 0.0
    raise ValueError(f"keg {keg.seed}: nobody writes down {happening}")
