"""pH and temperature of a wine at a time: probes, hands, racking, age."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from a_probed_cellar import BEGIN_MS, DAY_MS, ProbedCellar
from cellar_text import limit

from ingest.reading import Quality, Reason, quality_code

AT_LEAST = limit(id="my-so2", lot="any", quantity="molecular_so2", low="0.6 mg/L")


@pytest.fixture
def cellar(tmp_path: Path) -> Iterator[ProbedCellar]:
    made = ProbedCellar(tmp_path)
    yield made
    made.store.close()


def test_the_newest_of_probe_and_hand_is_the_ph(cellar: ProbedCellar) -> None:
    cellar.write(1, "measurement", "K1", quantity="pH", value=3.30, u_value=0.02)
    cellar.read("ph", (2.0, 3.41), (3.0, 3.42))
    by_hand, by_probe = cellar.so2("K1", 1.5).ph, cellar.so2("K1", 3.5).ph
    assert by_hand is not None
    assert (by_hand.ph, by_hand.probe) == (3.30, None)
    assert by_hand.u_ph == pytest.approx(0.02, abs=1e-3)
    assert by_probe is not None
    assert (by_probe.ph, by_probe.probe) == (3.42, "ph")
    assert by_probe.u_ph == pytest.approx(0.10, abs=1e-3)  # nobody ever calibrated it
    cellar.write(4, "measurement", "K1", quantity="pH", value=3.35)
    newest = cellar.so2("K1", 5).ph
    assert newest is not None
    assert (newest.ph, newest.probe) == (3.35, None)


def test_a_calibration_makes_a_probes_ph_better_until_it_drifts(cellar: ProbedCellar) -> None:
    cellar.read("ph", (1.5, 3.4))
    before = cellar.so2("K1", 1.9).ph
    points = [{"truth": 7.0, "shown": 7.02}, {"truth": 4.0, "shown": 4.02}]
    cellar.write(2, "calibration", "K1", probe="ph", points=points, unit="pH", temperature_c=20.0)
    cellar.read("ph", (2.5, 3.4), (62.0, 3.4))
    fresh, old = cellar.so2("K1", 3).ph, cellar.so2("K1", 62.5).ph
    assert before is not None
    assert fresh is not None
    assert old is not None
    assert fresh.ph == pytest.approx(3.38)  # through the dated scale
    assert fresh.u_ph < 0.03 < old.u_ph < before.u_ph
    assert cellar.so2("K1", 62.5).estimate.molecular_mg_l is not None


def test_bad_readings_are_no_ph(cellar: ProbedCellar) -> None:
    cellar.read("ph", (2.0, 3.41))
    cellar.read("ph", (2.2, 9.0), quality=quality_code(Quality.BAD, Reason.FAULT))
    found = cellar.so2("K1", 2.5).ph
    assert found is not None
    assert found.ph == 3.41


def test_the_ph_goes_along_when_the_wine_is_racked(cellar: ProbedCellar) -> None:
    cellar.read("ph", (2.0, 3.41))
    cellar.write(3, "racking", None, sources=[{"vessel": "K1"}], targets=[{"vessel": "C1"}])
    cellar.read("ph", (4.0, 2.9))  # of whatever is in K1 now
    found = cellar.so2("C1", 5).ph
    assert found is not None
    assert found.ph == 3.41


def test_a_blend_makes_the_ph_doubtful(cellar: ProbedCellar) -> None:
    cellar.write(1, "measurement", "K1", quantity="pH", value=3.30)
    cellar.write(2, "sample", "K1", volume_l=6.0)
    bought = {"number": 4, "size_l": 1.0}
    cellar.write(3, "topping", "K1", bought=bought)
    assert any("before the wine was blended" in remark for remark in cellar.so2("K1", 4).remarks)
    cellar.write(5, "measurement", "K1", quantity="pH", value=3.40)
    assert not any("before the wine was blended" in remark for remark in cellar.so2("K1", 6).remarks)


def test_the_temperature_is_that_of_the_wall_day_by_day(cellar: ProbedCellar) -> None:
    cellar.read("wall", *((2 + hour / 24, 20.0 + hour / 24) for hour in range(24)))
    cellar.read("wall", *((3 + hour / 24, 10.0) for hour in range(24)))
    cellar.read("air", (3.0, 35.0))
    found = cellar.so2("K1", 3.9)
    assert found.temperature is not None
    assert (found.temperature.celsius, found.temperature.probe) == (10.0, "wall")
    ((at_ms, celsius),) = found.history.temperatures_c  # only days that were over by then
    assert at_ms == BEGIN_MS + 2 * DAY_MS
    assert celsius == pytest.approx(20.5, abs=0.1)
    assert len(cellar.so2("K1", 4.0).history.temperatures_c) == 2
    assert not any("temperature is not known" in remark for remark in found.remarks)


def test_warm_wine_loses_more(cellar: ProbedCellar) -> None:
    cellar.write(1, "measurement", "K1", quantity="temperature", value=15.0)
    cool = cellar.so2("K1", 40)
    cellar.write(1.1, "measurement", "K1", quantity="temperature", value=28.0)
    warm = cellar.so2("K1", 40)
    assert warm.estimate.free_mg_l < cool.estimate.free_mg_l
    assert cool.temperature is None  # a month ago
    assert cellar.so2("K1", 20).temperature is not None


def test_a_limit_of_the_cellar_file_is_the_one_that_counts(tmp_path: Path) -> None:
    with_limit = ProbedCellar(tmp_path, AT_LEAST)
    with_limit.write(1, "measurement", "K1", quantity="pH", value=3.30)
    (found,) = with_limit.so2("K1", 2).limits
    assert (found.quantity, found.low_mg_l) == ("molecular_so2", 0.6)
    assert found.key.startswith("my-so2")
    with_limit.store.close()
