"""Use of gas and days left: cylinders whose pressures an independent library works out from what is in them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import cos, pi

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from alerts.gas.cylinder_amounts import (
    CylinderFacts,
    CylinderPoint,
    Gauge,
    Thermometer,
    amounts_of,
    reserve_mol,
    weighed_amounts,
)
from alerts.gas.cylinder_use import MOST_DAYS, Amounts, CylinderUse, cylinder_use, even_loss, use_rate
from alerts.gas.gases import GASES, STANDARD_L_MOL

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
VOLUME_L = 10.0
NITROGEN, ARGON, CARBON_DIOXIDE = GASES.values()
NAMES = {"nitrogen": "Nitrogen", "argon": "Argon"}
FULL_L = 1426.0

Litres = Callable[[float], float]
Celsius = Callable[[float], float]


def cold_nights(days: float) -> float:
    """20 °C at noon and 10 °C at midnight."""
    return 15.0 + 5.0 * cos(2.0 * pi * (days - 0.5))


def steady(_: float) -> float:
    return 15.0


def read(
    litres: Litres,
    *,
    days: float = 28.0,
    celsius: Celsius = cold_nights,
    step_kpa: float = 1.0,
    gas: str = "nitrogen",
    known: bool = True,
    every_h: int = 1,
) -> list[CylinderPoint]:
    """Read a cylinder's gauge every hour. litres: what is in it (15 °C, 101.325 kPa) after so many days."""
    points = []
    for hour in range(0, int(days * 24) + 1, every_h):
        at_days = hour / 24.0
        density = litres(at_days) / STANDARD_L_MOL / VOLUME_L * 1000.0
        temperature = celsius(at_days)
        kpa = PropsSI("P", "T", temperature + 273.15, "Dmolar", density, NAMES[gas]) / 1000.0 - 101.325
        points.append(CylinderPoint(hour * HOUR_MS, round(kpa / step_kpa) * step_kpa, temperature if known else None))
    return points


def facts(
    thermometer: Thermometer = "cylinder", resolution_kpa: float = 1.0, gas: str = "nitrogen", *, by_hand: bool = False
) -> CylinderFacts:
    return CylinderFacts(GASES[gas], VOLUME_L, Gauge(resolution_kpa=resolution_kpa, by_hand=by_hand), thermometer)


def use_of(points: Sequence[CylinderPoint], of: CylinderFacts) -> CylinderUse:
    amounts = amounts_of(of, points)
    assert amounts is not None
    return cylinder_use(amounts, reserve_mol(of, points[-1].temperature_c), points[-1].at_ms)


def litres_a_day(use: CylinderUse) -> float:
    assert use.use is not None
    return use.use.mol_day * STANDARD_L_MOL


# ---- amounts --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("gas", ["nitrogen", "argon"])
def test_the_amount_is_the_same_by_day_and_by_night(gas: str) -> None:
    amounts = amounts_of(facts(gas=gas), read(lambda _: FULL_L, gas=gas))
    assert amounts is not None
    assert amounts.mol * STANDARD_L_MOL == pytest.approx(FULL_L, rel=4e-4)


def test_a_gauge_of_half_a_percent_is_good_to_a_dozen_litres() -> None:
    """0 to 25 MPa at 0.5 % is 0.125 MPa, which is 12 L of nitrogen in 10 L; a dial that is good to 1 MPa: 95 L."""
    within = {}
    for by_hand in (False, True):
        amounts = amounts_of(facts(by_hand=by_hand), [CylinderPoint(0, 14_898.7, 20.0)])
        assert amounts is not None
        gauge = Gauge(resolution_kpa=1.0, by_hand=by_hand)
        within[by_hand] = gauge.u_kpa * 3**0.5 / 15_000.0 * float(amounts.mol[0]) * STANDARD_L_MOL
    assert within[False] == pytest.approx(12.0, abs=0.5)
    assert within[True] == pytest.approx(95.0, rel=0.45)
    assert within[True] > 95.0


def test_readings_beyond_the_tables_are_left_out() -> None:
    sound = CylinderPoint(0, 15_000.0, 15.0)
    wrong = [CylinderPoint(1, 40_000.0, 15.0), CylinderPoint(2, 15_000.0, 95.0), CylinderPoint(3, -500.0, 15.0)]
    amounts = amounts_of(facts(), [sound, *wrong, CylinderPoint(4, 15_000.0, None)])
    assert amounts is not None
    assert amounts.at_ms.tolist() == [0]
    assert amounts_of(facts(), wrong) is None


def test_a_zero_that_is_a_little_off_is_an_empty_cylinder() -> None:
    amounts = amounts_of(facts(), [CylinderPoint(0, -3.0, 15.0)])
    assert amounts is not None
    assert amounts.mol[0] * STANDARD_L_MOL == pytest.approx(10.0, rel=0.01)


def test_the_reserve_is_what_a_regulator_needs() -> None:
    low, high = reserve_mol(facts(), 15.0)
    assert (low * STANDARD_L_MOL, high * STANDARD_L_MOL) == pytest.approx((59.5, 109.0), abs=0.5)


# ---- use ------------------------------------------------------------------------------------------------------------


def test_cold_nights_are_no_use() -> None:
    """15.0 MPa at 20 °C reads 14.32 MPa at 10 °C with nothing used: 65 L by the pressure alone."""
    points = read(lambda _: FULL_L)
    assert points[12].pressure_kpa == pytest.approx(15_000.0 - 101.325, abs=15.0)
    assert points[0].pressure_kpa == pytest.approx(14_320.0 - 101.325, abs=15.0)
    use = use_of(points, facts())
    assert use.use is not None
    assert not use.use.seen
    assert litres_a_day(use) == pytest.approx(0.0, abs=0.2)
    assert use.even_loss is None
    # It lasts long, and nobody knows how long at most.
    assert use.days_high is None
    assert use.days_low is not None
    assert use.days_low > 300.0


@pytest.mark.parametrize("hour", range(0, 24, 3))
def test_no_hour_of_the_night_is_a_loss(hour: int) -> None:
    points = read(lambda _: FULL_L, days=9.0 + hour / 24.0)
    for thermometer in ("cylinder", "room"):
        amounts = amounts_of(facts("cylinder" if thermometer == "cylinder" else "room"), points)
        assert amounts is not None
        assert even_loss(amounts) is None


@pytest.mark.parametrize("rate", [5.0, 20.0, 60.0])
def test_even_use_is_found_with_its_days(rate: float) -> None:
    days = 14.0
    use = use_of(read(lambda at: FULL_L - rate * at, days=days), facts())
    assert use.use is not None
    assert use.use.seen
    assert litres_a_day(use) == pytest.approx(rate, abs=0.4)
    left = FULL_L - rate * days
    # 0.5 to 1 MPa in 10 L are 59 to 109 L at 15 °C.
    fewest, most = (left - 109.0) / rate, (left - 59.0) / rate
    assert use.days_low is not None
    assert use.days_high is not None
    assert use.days_low < fewest + 0.2
    assert use.days_high > most - 0.2
    assert use.days_high < 2.5 * use.days_low


def test_a_purge_counts_in_full() -> None:
    use = use_of(read(lambda at: FULL_L - (100.0 if at > 10.0 else 0.0), days=14.0), facts())
    assert litres_a_day(use) == pytest.approx(100.0 / 14.0, rel=0.1)
    assert use.use is not None
    assert use.use.seen
    # One purge says little of when the next one comes.
    assert use.use.high > 1.5 * use.use.mol_day
    assert use.use.low < 0.5 * use.use.mol_day
    assert use.even_loss is None


def test_use_that_has_just_grown_counts_at_once_and_what_was_usual_stays_in_the_range() -> None:
    use = use_of(read(lambda at: FULL_L - 2.0 * at - max(0.0, at - 21.0) * 40.0), facts())
    assert litres_a_day(use) == pytest.approx(42.0, rel=0.05)
    left = FULL_L - 56.0 - 280.0
    assert use.days_low is not None
    assert use.days_low < left / 42.0
    assert use.days_high is not None
    assert use.days_high > left / 13.0


def test_before_a_week_nothing_is_said() -> None:
    use = use_of(read(lambda at: FULL_L - 20.0 * at, days=6.9), facts())
    assert use.use is None
    assert not use.told
    assert use.mol * STANDARD_L_MOL == pytest.approx(FULL_L - 138.0, rel=0.003)
    assert use_of(read(lambda at: FULL_L - 20.0 * at, days=7.0), facts()).told


def test_a_refill_in_between_is_no_negative_use() -> None:
    use = use_of(read(lambda at: 500.0 - 20.0 * at if at < 10.0 else FULL_L - 20.0 * (at - 10.0), days=14.0), facts())
    assert litres_a_day(use) == pytest.approx(20.0, rel=0.03)
    assert use.refilled_ms == 10 * DAY_MS
    assert use.days_low is not None
    assert use.days_low > 40.0


def test_a_small_refill_counts_once_it_has_lasted_for_a_day() -> None:
    def litres(at: float) -> float:
        return 1000.0 - 10.0 * at + (120.0 if at >= 10.0 else 0.0)

    assert use_of(read(litres, days=10.5), facts()).refilled_ms is None
    use = use_of(read(litres, days=12.0), facts())
    assert use.refilled_ms == 10 * DAY_MS
    assert litres_a_day(use) == pytest.approx(10.0, rel=0.05)


def test_use_before_a_refill_is_known_right_after_it() -> None:
    use = use_of(read(lambda at: 500.0 - 20.0 * at if at < 10.0 else FULL_L, days=10.05), facts())
    assert use.mol * STANDARD_L_MOL == pytest.approx(FULL_L, rel=0.003)
    assert litres_a_day(use) == pytest.approx(20.0, rel=0.03)
    assert use.days_low is not None
    assert use.days_low > 50.0


def test_one_wrong_hour_is_neither_a_refill_nor_use() -> None:
    points = read(lambda at: 900.0 - 20.0 * at, days=14.0)
    points[200] = points[200]._replace(pressure_kpa=20_000.0)
    points[300] = points[300]._replace(pressure_kpa=0.0)
    use = use_of(points, facts())
    assert use.refilled_ms is None
    assert litres_a_day(use) == pytest.approx(20.0, rel=0.03)


def test_a_dial_cannot_tell_yet() -> None:
    """Read once a day in steps of 1 MPa, and good to 1 MPa: 20 L a day are two steps in nine days."""
    points = read(lambda at: FULL_L - 20.0 * at, days=8.0, step_kpa=1000.0, every_h=24)
    use = use_of(points, facts("room", by_hand=True))
    assert use.use is not None
    assert not use.use.seen
    assert not use.told
    assert use.days_high is None


def test_a_dial_shows_in_a_month_what_it_hides_in_a_week() -> None:
    of = facts(resolution_kpa=1000.0)
    use = use_of(read(lambda at: FULL_L - 30.0 * at, step_kpa=1000.0), of)
    assert use.told
    assert use.days_low is not None
    assert use.days_low < (FULL_L - 28.0 * 30.0) / 30.0


def test_without_temperature_small_use_is_not_seen_and_large_use_is() -> None:
    small = use_of(read(lambda at: FULL_L - 3.0 * at, days=9.0, known=False), facts(""))
    assert small.use is not None
    assert not small.use.seen
    large = use_of(read(lambda at: FULL_L - 60.0 * at, days=14.0, known=False), facts(""))
    assert large.use is not None
    assert large.use.seen
    known = use_of(read(lambda at: FULL_L - 60.0 * at, days=14.0), facts())
    assert known.use is not None
    assert large.use.high - large.use.low > known.use.high - known.use.low
    assert large.u_mol > 1.5 * known.u_mol


def test_cold_nights_are_no_even_loss_without_a_thermometer() -> None:
    for hour in range(24):
        amounts = amounts_of(facts(""), read(lambda _: FULL_L, days=2.0 + hour / 24.0, known=False))
        assert amounts is not None
        assert even_loss(amounts) is None


def test_at_the_reserve_no_day_is_left() -> None:
    use = use_of(read(lambda _: 80.0, days=1.0), facts())
    assert use.empty
    assert (use.days_low, use.days_high) == (0.0, 0.0)


# ---- even loss ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("rate_l_h", "hours"), [(60.0, 4), (5.0, 26)])
def test_a_leak_at_the_line_shows_within_hours(rate_l_h: float, hours: int) -> None:
    begin = 10.0
    use = use_of(
        read(lambda at: FULL_L - 2.0 * at - max(0.0, at - begin) * 24.0 * rate_l_h, days=begin + hours / 24.0), facts()
    )
    assert use.even_loss is not None
    assert use.even_loss.mol_day * STANDARD_L_MOL == pytest.approx(24.0 * rate_l_h, rel=0.1)
    assert use.days_low is not None
    assert use.days_low < (FULL_L / rate_l_h) / 24.0


def test_a_keg_that_is_pushed_is_no_even_loss() -> None:
    for after in range(1, 30):
        points = read(lambda at: FULL_L - (80.0 if at > 10.0 else 0.0), days=10.0 + after / 24.0)
        assert use_of(points, facts()).even_loss is None


def test_a_cylinder_that_cools_after_the_sun_was_on_it_loses_nothing() -> None:
    """Only the room is measured: at 15 °C; the cylinder is 12 K warmer for some hours, then cools."""

    def sun(days: float) -> float:
        hour = days % 1.0 * 24.0
        return 15.0 + 12.0 * max(0.0, 1.0 - abs(hour - 15.0) / 4.0)

    points = [point._replace(temperature_c=15.0) for point in read(lambda _: FULL_L, days=9.0, celsius=sun)]
    of = facts("room")
    for end in range(24 * 7, 24 * 9):
        amounts = amounts_of(of, points[:end])
        assert amounts is not None
        assert even_loss(amounts) is None
    # Nor does it use any: warming up is not a refill, after which cooling down would count.
    assert not use_of(points, of).use.seen  # type: ignore[union-attr]
    # Without what was before, the same hours look like a loss.
    afternoon = amounts_of(of, points[24 * 8 + 15 : 24 * 8 + 20])
    assert afternoon is not None
    assert even_loss(afternoon) is not None


def test_even_use_as_usual_is_not_faster_than_usual() -> None:
    assert use_of(read(lambda at: FULL_L - 60.0 * at, days=14.0), facts()).even_loss is None


# ---- weighings ------------------------------------------------------------------------------------------------------


def test_carbon_dioxide_is_known_by_weight() -> None:
    weighings = [(day * DAY_MS, 6.0 - 0.05 * day) for day in (0, 10, 20, 30)]
    amounts = weighed_amounts(CARBON_DIOXIDE, weighings, 0.05)
    assert amounts is not None
    of = facts(gas="carbon dioxide")
    use = cylinder_use(amounts, reserve_mol(of, None), 40 * DAY_MS)
    assert use.use is not None
    assert use.use.mol_day * 0.0440095 == pytest.approx(0.05, rel=0.1)
    # 0.5 to 1 MPa are 0.12 to 0.22 kg in 10 L, and 0.5 kg went since the last weighing.
    assert use.days_low is not None
    assert use.days_low < (4.5 - 0.5 - 0.22) / 0.05
    assert use.days_high is not None
    assert use.days_high > (4.5 - 0.5 - 0.12) / 0.05


def test_one_weighing_says_what_is_in_it_and_no_more() -> None:
    amounts = weighed_amounts(CARBON_DIOXIDE, [(0, 6.0)], 0.05)
    assert amounts is not None
    use = cylinder_use(amounts, reserve_mol(facts(gas="carbon dioxide"), None), DAY_MS)
    assert use.mol * 0.0440095 == pytest.approx(6.0)
    assert not use.told
    assert weighed_amounts(CARBON_DIOXIDE, [], 0.05) is None


# ---- properties -----------------------------------------------------------------------------------------------------


@given(
    rate=st.floats(0.05, 5.0),
    noise=st.lists(st.floats(-0.05, 0.05), min_size=24 * 14 + 1, max_size=24 * 14 + 1),
    outliers=st.sets(st.integers(0, 24 * 14), max_size=8),
)
def test_the_trend_is_the_gas_drawn_whatever_single_hours_say(
    rate: float, noise: list[float], outliers: set[int]
) -> None:
    at_days = np.arange(24 * 14 + 1) / 24.0
    mol = 80.0 - rate * at_days + np.array(noise)
    # Wrong hours that are far enough apart.
    for index in sorted(outliers):
        if not any(other != index and abs(other - index) < 6 for other in outliers):
            mol[index] = 0.0
    amounts = Amounts((at_days * DAY_MS).astype(np.int64), mol, 0.1, 0.5)
    for days in (7.0, 28.0):
        use = use_rate(amounts, days)
        assert use is not None
        assert use.mol_day == pytest.approx(rate, abs=0.06 + 0.03 * rate)
        assert use.low <= use.mol_day <= use.high


@given(
    levels=st.lists(st.floats(1.0, 80.0), min_size=1, max_size=60),
    u_level=st.floats(0.01, 5.0),
    elapsed_days=st.floats(0.0, 50.0),
)
def test_days_left_are_a_range_whatever_was_read(levels: list[float], u_level: float, elapsed_days: float) -> None:
    amounts = Amounts(np.arange(len(levels), dtype=np.int64) * 12 * HOUR_MS, np.array(levels), u_level, 2.0 * u_level)
    now_ms = int(amounts.at_ms[-1]) + int(elapsed_days * DAY_MS)
    use = cylinder_use(amounts, (2.0, 4.0), now_ms)
    if use.days_low is not None:
        assert 0.0 <= use.days_low <= MOST_DAYS
    if use.days_high is not None:
        assert use.days_low is None or use.days_low <= use.days_high <= MOST_DAYS
    assert use.empty == (use.mol <= 4.0)
