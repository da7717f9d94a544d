"""What the judge of the gas makes of the air's pressure and of instruments: barometer, calibration, other probes."""

from __future__ import annotations

from pathlib import Path

from a_gas_cellar import BEGIN_MS, HOUR, MINUTE, USUAL, GasCellar
from cellar_text import keg, probe, temperature
from pytest import approx
from recorded_gas import BAROMETER, STATION, causes, restarted

from ingest.probes.barometer import Barometers
from ingest.probes.binding import barometers
from ingest.store.readings.scales import add_part

# ---- the air's pressure ---------------------------------------------------------------------------------------------


def test_a_vented_gauge_without_a_barometer_is_moved_by_the_weather(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, HOUR)
    cellar.rows(HOUR + 10_000)
    (detector,) = cellar.detectors
    assert detector.facts.weather_moves
    assert detector.facts.station_kpa == approx(STATION)
    assert detector.points[-1].barometer_kpa is None


def test_a_barometer_goes_along_and_a_silent_one_is_held_and_then_done_without(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path, BAROMETER)
    cellar.run(0, 6 * HOUR)
    cellar.read("barometer", *((step * MINUTE + 5000, 97.0) for step in [*range(60), *range(300, 360)]))
    cellar.rows(6 * HOUR + 10_000)
    (detector,) = cellar.detectors
    airs = [point.barometer_kpa for point in detector.points]
    assert airs[:60] == [97.0] * 60
    # Until 01:59 it is new enough, for two hours more it is held.
    ends = [at for at, air in enumerate(airs) if air is None]
    assert ends[0] == approx(60 + 15 + 120, abs=2)
    assert ends[-1] == 299
    assert causes(detector) == [(approx(3.25, abs=0.05), "probe changed"), (approx(5.0, abs=0.01), "probe changed")]
    silent, back = (facts for _, _, facts in detector.episodes)
    assert (silent.weather_moves, silent.station_kpa) == (True, 97.0)
    assert not back.weather_moves
    assert back.station_kpa == approx(STATION)


ABSOLUTE = (USUAL[0], probe("k1-pressure", "K1", reference="absolute"), USUAL[2])


def test_an_absolute_sensor_is_not_moved_by_the_weather(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path, usual=ABSOLUTE)
    cellar.run(0, HOUR, kpa=150.0)
    cellar.rows(HOUR + 10_000)
    (detector,) = cellar.detectors
    assert not detector.facts.weather_moves
    point = detector.points[-1]
    assert point.pressure_kpa + detector.facts.station_kpa == approx(150.0)


def test_an_absolute_sensor_with_a_barometer_stays_true_while_that_is_silent(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path, BAROMETER, usual=ABSOLUTE)
    following = barometers(cellar.cellar, cellar.series)
    assert isinstance(following, Barometers)
    for step in range(60):
        air = 96.0 + 0.02 * step
        row = (cellar.series["barometer"], BEGIN_MS + step * MINUTE + 5000, air, 0)
        cellar.appender.append([row])
        with cellar.store.write() as connection:
            for series, part in following.parts([row]):
                add_part(connection, series, part, row[1])
    cellar.run(0, 3 * HOUR, kpa=150.0)
    cellar.rows(3 * HOUR + 10_000)
    (detector,) = cellar.detectors
    assert detector.episodes == []
    with_air = [point for point in detector.points if point.barometer_kpa is not None]
    without = [point for point in detector.points if point.barometer_kpa is None]
    assert len(with_air) == approx(75, abs=2)
    for point in with_air:
        assert point.pressure_kpa + (point.barometer_kpa or 0.0) == approx(150.0)
    assert {round(point.pressure_kpa, 6) for point in without} == {round(150.0 - STATION, 6)}


def test_the_rooms_temperature_goes_along(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path, temperature("air", "cellar", topic="air/t"))
    cellar.run(0, HOUR)
    cellar.read("air", *((step * MINUTE, 11.0) for step in range(30)))
    cellar.rows(HOUR + 10_000)
    rooms = [point.room_c for point in cellar.detectors[0].points]
    assert rooms[:40] == [11.0] * 40
    assert rooms[-1] is None


def test_without_an_altitude_the_barometer_says_the_mean_air_pressure(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path, BAROMETER, altitude=None)
    cellar.read("barometer", *((step * MINUTE + 5000, 90.0) for step in range(60)))
    cellar.run(0, HOUR)
    cellar.rows(HOUR + 10_000)
    assert cellar.detectors[0].facts.station_kpa == approx(90.0)


# ---- instruments ----------------------------------------------------------------------------------------------------


def test_a_calibration_is_a_change_of_instruments_and_changes_the_values_since(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, 2 * HOUR)
    cellar.rows(2 * HOUR + 10_000)
    points = [{"shown": 55.0, "truth": 56.0}]
    cellar.write(HOUR, "calibration", "K1", probe="k1-pressure", unit="kPa", points=points)
    cellar.run(2 * HOUR, 3 * HOUR)
    cellar.rows(3 * HOUR + 10_000)
    detector = cellar.detectors[-1]
    assert causes(detector) == [(approx(1.0, abs=0.01), "probe changed")]
    assert [point.pressure_kpa for point in detector.points] == [55.0] * 60 + [56.0] * 120


def test_a_probe_that_was_replaced_is_a_change_of_instruments(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, 2 * HOUR)
    cellar.text(USUAL[0], probe("new-pressure", "K1"), USUAL[2])
    cellar.declare(BEGIN_MS + 2 * HOUR)
    cellar.read("new-pressure", *((2 * HOUR + step * MINUTE, 54.0) for step in range(60)))
    cellar.read("k1-temperature", *((2 * HOUR + step * MINUTE, 15.0) for step in range(60)))
    detector = restarted(cellar, 3 * HOUR + 10_000)
    assert causes(detector) == [(2, "probe changed")]
    assert [point.pressure_kpa for point in detector.points] == [55.0] * 120 + [54.0] * 60


def test_probes_that_changed_places_speak_for_where_they_were(tmp_path: Path) -> None:
    both = [keg(id) + temperature(f"{id}-t", id, topic=f"{id}/t", mounted="wine") for id in ("K1", "K2")]
    pressures = {"K1": 55.0, "K2": 30.0}
    cellar = GasCellar(tmp_path, *both, probe("a", "K1", topic="a"), probe("b", "K2", topic="b"), usual=())
    for name, id in (("a", "K1"), ("b", "K2")):
        cellar.read(name, *((step * MINUTE, pressures[id]) for step in range(120)))
        cellar.read(f"{id}-t", *((step * MINUTE, 15.0) for step in range(240)))
    cellar.text(*both, probe("a", "K2", topic="a"), probe("b", "K1", topic="b"))
    cellar.declare(BEGIN_MS + 2 * HOUR)
    cellar.write(0, "first-filling", "K2", "ries", volume_l=18.0)
    for name, id in (("a", "K2"), ("b", "K1")):
        cellar.read(name, *((2 * HOUR + step * MINUTE, pressures[id]) for step in range(120)))
    judge = cellar.new_judge()
    rows = cellar.rows(4 * HOUR + 10_000, judge)
    assert {id: rows[id, "compensated_pressure"].value for id in pressures} == pressures
    for detector in cellar.detectors[-2:]:
        assert len({point.pressure_kpa for point in detector.points}) == 1
        assert causes(detector) == [(2, "probe changed")]
