"""A barometer moves the scales of absolute and sealed sensors; the weather then leaves a blanket's gauge pressure
alone."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_store import NOW, new_store
from cellar_text import MQTT, keg, probe, site, table, temperature
from cellar_text import cellar as parsed

from ingest.cellar import Cellar
from ingest.probes.binding import barometers, declarations, jump_steps
from ingest.probes.file_scale import station_pressure_kpa
from ingest.reading import Quality, quality_code
from ingest.store.readings.fresh import Appender
from ingest.store.readings.scales import add_part
from ingest.store.readings.series import declare
from ingest.store.readings.series_history import raw

ROOM = table("[[room]]", id="cellar")
AIR = probe("air", "cellar", quantity="barometric_pressure", topic="air", unit="hPa")
TEMPERATURE = temperature(mounted="wall", topic="t", unit="degF")


def cellar(reference: str) -> Cellar:
    pressure = probe(reference=reference, topic="k1")
    return parsed(site(altitude="340 m"), MQTT, ROOM, keg(room="cellar"), pressure, AIR, TEMPERATURE)


@pytest.mark.parametrize(("reference", "sensor_kpa"), [("absolute", 155.0), ("sealed", 155.0 - 101.325)])
def test_the_gauge_pressure_follows_the_weather(reference: str, sensor_kpa: float, tmp_path: Path) -> None:
    """Gauge pressure is absolute pressure less the pressure of the air: the sensor stands still at 155 kPa absolute
    while the air falls from 98 to 95 kPa, so the gauge pressure rises from 57 to 60 kPa."""
    file = cellar(reference)
    with new_store(tmp_path) as store:
        series = declare(store, declarations(file), NOW)
        keg, air = series["k1-pressure"], series["air"]
        following = barometers(file, series)
        assert following is not None
        appender = Appender(store)
        for step, hpa in enumerate((980.0, 980.2, 965.0, 950.0)):
            at = NOW + step * 3_600_000
            rows = [(air, at, hpa, 0), (keg, at + 1, sensor_kpa, 0)]
            appender.append(rows)
            with store.write() as connection:
                for moved, part in following.parts(rows):
                    assert moved == keg
                    add_part(connection, moved, part, at)
        assert [round(row.value, 3) for row in raw(store, keg)] == [57.0, 57.0, 58.5, 60.0]
        # A change of 0.2 hPa moves nothing: the scale does not grow with the barometer's noise.
        assert store.connection.execute("SELECT count(*) FROM scale WHERE kind = 'barometer'").fetchone() == (3,)


def test_without_a_reading_of_it_the_standard_atmosphere_counts(tmp_path: Path) -> None:
    file = cellar("absolute")
    with new_store(tmp_path) as store:
        keg = declare(store, declarations(file), NOW)["k1-pressure"]
        Appender(store).append([(keg, NOW, 155.0, 0)])
        assert next(raw(store, keg)).value == pytest.approx(155.0 - station_pressure_kpa(340.0))


def test_a_bad_reading_of_the_barometer_moves_nothing(tmp_path: Path) -> None:
    file = cellar("absolute")
    series = {"k1-pressure": 1, "air": 2, "k1-temperature": 3}
    following = barometers(file, series)
    assert following is not None
    assert following.parts([(2, NOW, 980.0, quality_code(Quality.BAD))]) == []


def test_a_gauge_sensor_needs_no_barometer() -> None:
    assert barometers(cellar("gauge"), {"k1-pressure": 1, "air": 2, "k1-temperature": 3}) is None


def test_the_step_that_is_no_jump_is_in_the_probes_own_unit() -> None:
    steps = jump_steps(cellar("gauge"), {"k1-pressure": 1, "air": 2, "k1-temperature": 3})
    assert steps == {1: None, 2: None, 3: pytest.approx(9.0)}  # 5 K are 9 °F
