"""A leak, found on the whole way: simulated readings into a store, the judge beside it, rows that limits are judged by.

The physics is that of the simulated kegs for trials, which knows nothing of what judges it.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from a_gas_cellar import BEGIN_MS, DAY, HOUR, MINUTE, USUAL, GasCellar
from cellar_text import probe, temperature
from pytest import approx

from alerts.blanket.details import BlanketShown, blanket_shown
from alerts.blanket.judge import GasJudge
from alerts.gas.blanket_watch import BlanketWatch
from ingest.judgement import UNDECIDED, Judgement
from ingest.reading import Quality, Reason, quality_code
from ingest.simulation.keg_trials.keg import KegAir, KegProbes, Leak, TrialKeg, WineDrawn
from ingest.simulation.keg_trials.readings import START_MS, KegReadings, read
from ingest.simulation.keg_trials.world import keg_truths

MORE = (
    probe("barometer", "cellar", quantity="barometric_pressure", topic="air/p"),
    temperature("air", "cellar", topic="air/t"),
)
STUCK = quality_code(Quality.UNCERTAIN, Reason.STUCK)
AIR = KegAir(swing_k=6.0, weather_kpa=1.0, station_kpa=97.0)
PROBES = KegProbes(
    pressure_noise_kpa=0.05,
    pressure_step_kpa=0.05,
    temperature_noise_k=0.03,
    temperature_step_k=0.06,
    barometer_noise_kpa=0.02,
    room_noise_k=0.05,
)


def a_keg(leak: Leak | None = None, **changes: object) -> TrialKeg:
    """A keg with 2 L of headspace that has rested under its blanket."""
    usual = {
        "seed": 5,
        "capacity_l": 19.5,
        "wine_l": 17.4,
        "believed_wine_l": 17.5,
        "start_kpa": 55.0,
        "wine_holds_kpa": (150.0, 0.0, 0.0),
        "charged_before_s": 10 * 86_400.0,
        "leak": leak,
        "air": AIR,
        "probes": PROBES,
    }
    return TrialKeg(**{**usual, **changes})  # type: ignore[arg-type]


class Played:
    """A cellar whose K1 reads what the simulated keg shows, with a judge that follows. quality: of its pressures."""

    def __init__(self, folder: Path, keg: TrialKeg, days: float) -> None:
        self.cellar = GasCellar(folder, *MORE, usual=USUAL, filled=False)
        self.cellar.write(0, "lot", None, "ries", name="ries", style="white", alcohol_percent_vol=12.0)
        self.cellar.write(0, "first-filling", "K1", "ries", volume_l=keg.believed_wine_l)
        self.readings: KegReadings = read(keg_truths([keg], days))
        self.times = self.readings.at_ms - START_MS
        self.judge = self.new_judge()
        self.quality = 0

    def new_judge(self) -> GasJudge:
        return self.cellar.new_judge(BlanketWatch)

    def play(self, from_: float, to: float, every: float = HOUR) -> list[tuple[float, BlanketShown]]:
        """Store what is read and judge, every so often; give what was judged."""
        judged = []
        for at in np.arange(from_ + every, to + 1, every):
            self.store(at - every, at)
            rows = self.cellar.rows(at + 10_000, self.judge)
            judged.append((float(at), of(rows)))
        return judged

    def store(self, from_: float, to: float) -> None:
        rows = np.flatnonzero((self.times >= from_) & (self.times < to) & ~np.isnan(self.readings.pressure_kpa[:, 0]))
        columns = {
            "k1-pressure": self.readings.pressure_kpa,
            "k1-temperature": self.readings.temperature_c,
            "barometer": self.readings.barometer_kpa,
            "air": self.readings.room_c,
        }
        for name, column in columns.items():
            numbers = [(float(self.times[row]), round(float(column[row, 0]), 4)) for row in rows]
            self.cellar.read(name, *numbers, quality=self.quality if name == "k1-pressure" else 0)


def of(rows: dict[tuple[str, str], Judgement]) -> BlanketShown:
    shown = blanket_shown(rows["K1", "compensated_pressure"])
    assert shown is not None
    return shown


def numbers(shown: BlanketShown) -> tuple[float, ...]:
    return tuple(value or 0.0 for value in (shown.compensated_kpa, shown.rate_ml_min))


@pytest.fixture(scope="module")
def leaking(tmp_path_factory: pytest.TempPathFactory) -> tuple[Played, list[tuple[float, BlanketShown]], list[object]]:
    """A keg that begins to leak after two days, so that its gauge would be at the air floor two days later."""
    played = Played(tmp_path_factory.mktemp("leak"), a_keg(Leak(2 * 86_400.0, floor_in_h=48.0)), 3.0)
    judged, restarts = [], []
    for begin in range(0, 3 * DAY, 12 * HOUR):
        judged += played.play(begin, begin + 12 * HOUR, 2 * HOUR)
        again = of(played.cellar.rows(begin + 12 * HOUR + 10_000, played.new_judge()))
        restarts.append((judged[-1][1], again))
    return played, judged, restarts  # type: ignore[return-value]


def test_a_leak_is_found_and_none_before(leaking: tuple[Played, list[tuple[float, BlanketShown]], object]) -> None:
    _, judged, _ = leaking
    certain = [at for at, shown in judged if shown.leak_certain]
    assert 2 * DAY < certain[0] <= 2 * DAY + 12 * HOUR
    assert {shown.finding for at, shown in judged if at >= certain[0]} <= {"slow leak", "fast leak"}
    last = judged[-1][1]
    # 2.1 L at 55 kPa to 5 kPa in 48 h by a viscous path: at first some 0.55 mL/min.
    assert last.rate_ml_min is not None
    assert 0.1 < last.rate_ml_min < 0.8
    assert last.hours_low is not None
    assert last.last_sound_ms is not None
    assert last.last_sound_ms - BEGIN_MS == approx(2 * DAY, abs=6 * HOUR)


def test_after_a_restart_the_answer_is_the_same(
    leaking: tuple[Played, object, list[tuple[BlanketShown, BlanketShown]]],
) -> None:
    _, _, restarts = leaking
    for running, again in restarts:
        assert (again.finding, again.leak_certain, again.raw_kpa) == (
            running.finding,
            running.leak_certain,
            running.raw_kpa,
        )
        assert numbers(again) == approx(numbers(running), rel=0.15, abs=0.05)


def test_the_rows_of_a_certain_leak_raise_alarms(leaking: tuple[Played, object, object]) -> None:
    played, _, _ = leaking
    rows = played.cellar.rows(3 * DAY + 10_000, played.judge)
    assert rows["K1", "leak_rate"].value is not None
    assert rows["K1", "leak_rate"].value > 0.05
    assert rows["K1", "hours_to_air_floor"].value is not None
    assert rows["K1", "hours_to_air_floor"].value < 48.0
    assert rows["K1", "gas_gain_rate"].value is None


def test_a_fast_loss_is_found_within_ten_minutes(tmp_path: Path) -> None:
    onset = DAY + 10 * HOUR
    played = Played(tmp_path, a_keg(Leak(onset / 1000.0, loss_kpa_h=120.0)), 1.6)
    judged = played.play(0, onset, 2 * HOUR) + played.play(onset, onset + 15 * MINUTE, MINUTE)
    certain = [at - onset for at, shown in judged if shown.leak_certain]
    assert 0 < certain[0] <= 10 * MINUTE
    assert judged[-1][1].finding == "fast leak"


def test_a_gap_gives_no_judgement_and_no_leak_after_it(tmp_path: Path) -> None:
    played = Played(tmp_path, a_keg(), 1.5)
    assert played.play(0, DAY, 2 * HOUR)[-1][1].finding not in UNDECIDED
    for hours in (1, 2, 3):
        rows = played.cellar.rows(DAY + hours * HOUR, played.judge)
        assert of(rows).finding == "no judgement"
        assert {row.value for row in rows.values()} == {None}
    judged = played.play(DAY + 3 * HOUR, DAY + 9 * HOUR)
    assert judged[-1][1].finding not in UNDECIDED
    assert not any(shown.leak_certain for _, shown in judged)


def test_a_sensor_that_stands_still_gives_no_judgement_and_no_leak_after_it(tmp_path: Path) -> None:
    played = Played(tmp_path, a_keg(), 1.5)
    played.play(0, DAY, 2 * HOUR)
    pressure = played.readings.pressure_kpa
    hours = played.times / HOUR
    stuck = (hours >= 24) & (hours < 27)
    pressure[stuck, 0] = pressure[np.flatnonzero(stuck)[0], 0]
    # It is noticed after an hour, as ingest does.
    judged = played.play(DAY, DAY + HOUR, 30 * MINUTE)
    played.quality = STUCK
    judged += played.play(DAY + HOUR, DAY + 3 * HOUR, 30 * MINUTE)
    assert [shown.finding for _, shown in judged[-3:]] == ["no judgement"] * 3
    played.quality = 0
    judged += played.play(DAY + 3 * HOUR, 1.5 * DAY)
    assert judged[-1][1].finding not in UNDECIDED
    assert not any(shown.leak_certain for _, shown in judged)


def test_an_open_supply_says_nothing_of_a_leak(tmp_path: Path) -> None:
    played = Played(tmp_path, a_keg(), 1.5)
    played.play(0, DAY, 2 * HOUR)
    played.cellar.write(DAY, "gas", "K1", act="supply opened")
    played.store(DAY, DAY + HOUR)
    rows = played.cellar.rows(DAY + HOUR, played.judge)
    assert of(rows).finding == "supply open"
    assert rows["K1", "leak_rate"].value is None
    assert rows["K1", "compensated_pressure"].value is not None


def test_a_sensor_that_is_replaced_by_one_with_another_zero_is_no_leak(tmp_path: Path) -> None:
    played = Played(tmp_path, a_keg(), 2.5)
    played.play(0, 1.5 * DAY, 2 * HOUR)
    cellar = played.cellar
    cellar.text(USUAL[0], probe("other", "K1"), USUAL[2], *MORE)
    cellar.declare(round(BEGIN_MS + 1.5 * DAY))
    played.readings.pressure_kpa[:] -= 3.0
    cellar.series["k1-pressure"] = cellar.series["other"]
    played.judge = played.new_judge()
    judged = played.play(1.5 * DAY, 2.5 * DAY, 2 * HOUR)
    assert not any(shown.leak_certain for _, shown in judged)
    assert judged[-1][1].finding not in UNDECIDED


def test_without_a_barometer_weather_is_no_leak(tmp_path: Path) -> None:
    stormy = a_keg(air=KegAir(swing_k=6.0, weather_kpa=1.5, weather_s=86_400.0, station_kpa=97.0))
    played = Played(tmp_path, stormy, 3.0)
    played.cellar.text(*USUAL)
    judged = played.play(0, 3 * DAY, 2 * HOUR)
    assert not any(shown.leak_certain for _, shown in judged)


def test_wine_that_was_drawn_is_put_right_by_an_entry_of_that_time(tmp_path: Path) -> None:
    drawn = WineDrawn(DAY / 1000.0, 1.0)
    played = Played(tmp_path, a_keg(happenings=(drawn,)), 2.0)
    judged = played.play(0, 2 * DAY, 2 * HOUR)
    assert not any(shown.leak_certain for _, shown in judged)
    played.cellar.write(DAY, "sample", "K1", volume_l=1.0)
    shown = of(played.cellar.rows(2 * DAY + 20_000, played.judge))
    assert not shown.leak_certain
    assert (shown.entry_kind, shown.entry_ms) == ("sample", BEGIN_MS + DAY)


def test_a_keg_that_is_steamed_and_a_thermometer_gone_mad_stop_no_judge(tmp_path: Path) -> None:
    played = Played(tmp_path, a_keg(), 2.0)
    played.play(0, DAY, 2 * HOUR)
    hot = played.readings.temperature_c
    hours = played.times / HOUR
    hot[(hours >= 24) & (hours < 26), 0] = 95.0
    hot[(hours >= 26) & (hours < 27), 0] = -28.0
    judged = played.play(DAY, 1.5 * DAY)
    assert len(judged) == 12
    assert np.isfinite([shown.compensated_kpa for _, shown in judged if shown.compensated_kpa is not None]).all()
    rows = played.cellar.rows(1.5 * DAY + 10_000, played.new_judge())
    assert of(rows).raw_kpa is not None
