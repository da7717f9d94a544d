"""What a review says of the gas over the wine since the last racking: time under floors, gas lost, oxygen let in."""

from __future__ import annotations

from datetime import UTC
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.blanket.details import BlanketShown
from alerts.gas.blanket import Filling
from alerts.review.blanket_care import blanket_section
from alerts.review.blanket_record import (
    DIFFUSION_MG_DAY,
    BlanketRecord,
    air_filled_mg,
    blanket_record,
    breathed_mg,
    hours_under,
)
from alerts.review.section import ReviewSection
from alerts.review.vessel_facts import BlanketPast, HourMeans, PressureSpans, VesselFacts
from ingest.journal.contents import Contents
from ingest.judgement import Judgement

HOUR = 3_600_000
DAY = 24 * HOUR
NOW = 1_795_856_400_000 // HOUR * HOUR


def spans(low: Any, high: Any = None, *, span_ms: int = HOUR) -> PressureSpans:
    """Make spans that end at NOW."""
    lows = np.asarray(low, np.float64)
    highs = lows if high is None else np.asarray(high, np.float64)
    from_ms = NOW - span_ms * np.arange(len(lows), 0, -1, dtype=np.int64)
    return PressureSpans(from_ms, np.full(len(lows), span_ms, np.int64), lows, highs, (lows + highs) / 2.0)


def warmth(values: Any) -> HourMeans:
    mean = np.asarray(values, np.float64)
    return HourMeans("t", "wine", NOW - HOUR * np.arange(len(mean), 0, -1, dtype=np.int64), mean)


def record(**changes: Any) -> BlanketRecord:
    usual: dict[str, Any] = {"from_ms": NOW - 10 * HOUR, "to_ms": NOW, "air_floor_kpa": 5.0, "care_floor_kpa": 20.0}
    return blanket_record(BlanketPast(**{**usual, "filling": Filling(19.0, 18.5), **changes}))


# ---- time -----------------------------------------------------------------------------------------------------------


def test_hours_under_a_floor() -> None:
    found = record(pressure=spans([50.0, 18.0, 4.0, 2.0, 55.0], [55.0, 25.0, 6.0, 4.0, 55.0]))
    # Under 5: half of the third hour and all of the fourth. Under 20: of the second hour 2 of 7, and these two whole.
    assert found.under_air_h == pytest.approx(1.5)
    assert found.under_care_h == pytest.approx(2.0 + 2.0 / 7.0)
    assert (found.observed_h, found.hours, found.lowest_kpa) == (5.0, 10.0, 2.0)


def test_minutes_count_as_minutes() -> None:
    assert hours_under(spans([1.0] * 30, span_ms=60_000), 5.0) == pytest.approx(0.5)


@given(st.lists(st.tuples(st.floats(-5.0, 80.0), st.floats(0.0, 30.0)), min_size=1, max_size=50), st.floats(0.0, 60.0))
def test_a_higher_floor_is_never_undercut_for_a_shorter_time(rows: list[tuple[float, float]], floor: float) -> None:
    made = spans([low for low, _ in rows], [low + width for low, width in rows])
    under = hours_under(made, floor)
    assert 0.0 <= under <= len(rows) + 1e-9
    assert under <= hours_under(made, floor + 1.0) + 1e-9


def test_hours_that_were_not_read_count_for_nothing() -> None:
    found = record(pressure=spans([float("nan"), 2.0], [float("nan"), 3.0]))
    assert (found.observed_h, found.under_air_h) == (1.0, 1.0)


# ---- oxygen ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("headspace_l", "oxygen_mg"), [(0.5, 8.0), (2.0, 18.0), (10.0, 72.0)])
def test_breathing_without_pressure(headspace_l: float, oxygen_mg: float) -> None:
    """From 20 to 15 °C a 19 L keg of steel draws in 29, 65 and 255 mL of air: 8, 18 and 72 mg of oxygen.

    Worked for this project from the gas law, wine's and steel's expansion and vapour pressure.
    """
    filling = Filling(19.0, 19.0 - headspace_l)
    temperature = warmth([20.0, 15.0])
    assert breathed_mg(temperature, temperature.from_ms, filling, 101.325) == pytest.approx(oxygen_mg, rel=0.05)
    # The way back lets out what came in.
    assert breathed_mg(warmth([15.0, 20.0]), temperature.from_ms, filling, 101.325) == 0.0


def test_a_vessel_under_pressure_does_not_breathe() -> None:
    temperature = warmth([20.0, 15.0, 20.0, 15.0])
    assert breathed_mg(temperature, np.empty(0, np.int64), Filling(19.0, 17.0), 101.325) == 0.0
    # An hour between that was under pressure joins nothing.
    open_ms = temperature.from_ms[[0, 2]]
    assert breathed_mg(temperature, open_ms, Filling(19.0, 17.0), 101.325) == 0.0


def test_diffusion_through_a_hole() -> None:
    """A hole of 0.1 mm in 2 mm lets in about 2 mg of oxygen a day at no pressure: D A c / L."""
    assert pytest.approx(1.92, abs=0.02) == DIFFUSION_MG_DAY
    found = record(pressure=spans([3.0] * 24), from_ms=NOW - DAY)
    assert found.oxygen_mg == pytest.approx(DIFFUSION_MG_DAY)
    assert found.oxygen_mg_l == pytest.approx(DIFFUSION_MG_DAY / 18.5)
    assert found.so2_at_most_mg_l == pytest.approx(4.0 * DIFFUSION_MG_DAY / 18.5)


def test_a_headspace_full_of_air() -> None:
    """0.5, 2 and 10 L of air hold 139 (at 20 °C), here at 15 °C 142, 567 and 2,835 mg of oxygen: 283.5 mg/L."""
    assert air_filled_mg(1.0, 101.325) == pytest.approx(283.5, abs=0.5)
    assert air_filled_mg(2.0, 101.325 / 2.0) == pytest.approx(283.5, abs=0.5)


@given(st.lists(st.floats(0.0, 25.0), min_size=2, max_size=60), st.floats(0.5, 18.0))
def test_breathing_never_takes_more_than_the_whole_fall(celsius: list[float], headspace_l: float) -> None:
    filling = Filling(19.0, 19.0 - headspace_l)
    temperature = warmth(celsius)
    taken = breathed_mg(temperature, temperature.from_ms, filling, 101.325)
    falls = sum(max(0.0, before - after) for before, after in pairwise(celsius))
    # Below 25 °C and with at least half a litre one kelvin draws in at most 8 mL of air for each litre of vessel.
    assert 0.0 <= taken <= falls * 19.0 * 0.008 * 300.0 + 1e-6


# ---- gas lost -------------------------------------------------------------------------------------------------------


def judged(values: list[float], finding: str = "sound") -> tuple[Judgement, ...]:
    return tuple(
        Judgement("K1", "compensated_pressure", NOW - HOUR * (len(values) - number) + 1, value, finding=finding)
        for number, value in enumerate(values)
    )


def test_what_the_compensated_pressure_fell_by() -> None:
    """10 kPa out of 1 L at 15 °C are 10/101.325 L."""
    falling = judged([50.0, 50.0, 50.0, 46.0, 43.0, 40.0, 40.0, 40.0])
    found = record(judged=falling, filling=Filling(19.0, 18.0), pressure=spans([40.0]))
    assert found.fallen_l == pytest.approx(10.0 / 101.325)


def test_gas_that_came_in_between_is_not_set_off() -> None:
    values = [50.0] * 4 + [40.0] * 4 + [55.0] * 4 + [50.0] * 4
    touched = judged(values)[8].at_ms - 1000
    found = record(
        from_ms=NOW - 20 * HOUR,
        judged=judged(values),
        touched_ms=(touched,),
        filling=Filling(19.0, 18.0),
        pressure=spans([40.0]),
    )
    assert found.fallen_l == pytest.approx(15.0 / 101.325)


def test_gas_that_leaks_let_out() -> None:
    """An hour of 1 to 2 mL a minute at 0 °C are 60 to 120 mL, at 15 °C 63 to 127 mL."""
    rates = (
        Judgement("K1", "leak_rate", NOW - HOUR, 1.0, 1.0, 2.0, "slow leak"),
        Judgement("K1", "leak_rate", NOW - 2 * HOUR, 0.0, 0.0, 0.5, "sound"),
    )
    found = record(rates=rates, pressure=spans([40.0]))
    assert found.leaked_low_l == pytest.approx(0.0633, abs=1e-4)
    assert found.leaked_high_l == pytest.approx(0.1266, abs=1e-4)


# ---- the section ----------------------------------------------------------------------------------------------------


def section(past: dict[str, Any] | None = None, **changes: Any) -> ReviewSection:
    contents = Contents(
        "K1", known=True, volume_l=18.5, capacity_l=19.0, headspace_l=0.5, since_ms=NOW - 10 * HOUR, style="white"
    )
    made = None if past is None else BlanketPast(**{**_USUAL, **past})
    facts = {"vessel": "K1", "kind": "keg", "at_ms": NOW, "zone": UTC, "contents": contents, "under_gas": True}
    return blanket_section(VesselFacts(**{**facts, "gas": made, **changes}))


_USUAL: dict[str, Any] = {
    "from_ms": NOW - 10 * HOUR,
    "to_ms": NOW,
    "air_floor_kpa": 5.0,
    "care_floor_kpa": 20.0,
    "filling": Filling(19.0, 18.5),
}


def test_a_blanket_that_held() -> None:
    found = section({"pressure": spans([50.0] * 10)})
    assert (found.verdict, found.numbers["under_air_floor_h"]) == ("in order", 0.0)
    assert found.reason == "Since 27 Nov the gauge was never under the air floor of 5.0 kPa."


def test_a_blanket_that_was_lost() -> None:
    found = section({"pressure": spans([0.2] * 10), "temperature": warmth(np.linspace(20.0, 15.0, 10))})
    assert found.verdict == "take care"
    assert "was under the air floor of 5.0 kPa for 10 h, and 10 h under the care floor." in found.reason
    oxygen = found.numbers["oxygen_at_most_mg_l"]
    assert isinstance(oxygen, float)
    # 8.3 mg by breathing and 0.8 mg by diffusion, over 18.5 L.
    assert oxygen == pytest.approx((8.32 + 0.80) / 18.5, rel=0.02)
    assert "up to 0.49 mg/L of oxygen, which costs up to 2 mg/L of SO2" in found.reason


def test_a_past_that_was_hardly_read() -> None:
    found = section({"pressure": spans([50.0] * 5)})
    assert (found.verdict, ", in the 50 % of the time that was read, never under" in found.reason) == (
        "not known",
        True,
    )


def test_a_leak_now() -> None:
    shown = BlanketShown(at_ms=NOW, finding="slow leak", leak_certain=True)
    found = section({"pressure": spans([50.0] * 10)}, shown=shown)
    assert (found.verdict, "Now: slow leak" in found.reason) == ("take care", True)


def test_no_probe() -> None:
    found = section({})
    assert (found.verdict, "leeside enter measurement --quantity pressure" in found.reason) == ("not known", True)
    assert section(None).verdict == "not known"


def test_a_gauge_that_is_read_by_hand() -> None:
    found = section({"by_hand": ((NOW - 5 * HOUR, 48.0), (NOW - HOUR, 52.0))})
    assert found.verdict == "not known"
    assert "Since 27 Nov the gauge was read 2 times, by hand: 52.0 kPa last, on" in found.reason
    low = section({"by_hand": ((NOW - 5 * HOUR, 2.0), (NOW - HOUR, 52.0))})
    assert low.verdict == "take care"
    assert "2.0 kPa at the lowest, under the air floor of 5.0 kPa" in low.reason


@pytest.mark.parametrize(("headspace_l", "verdict"), [(0.3, "in order"), (4.0, "take care"), (None, "not known")])
def test_a_vessel_without_a_blanket(headspace_l: float | None, verdict: str) -> None:
    contents = Contents("C1", known=True, volume_l=18.7, capacity_l=23.0, headspace_l=headspace_l, style="red")
    found = section({"filling": Filling(23.0, 19.0, 12.0, "glass")}, contents=contents, under_gas=False)
    assert found.verdict == verdict
    assert found.title == "Air over the wine"
