"""The estimate of free and molecular SO2 between titrations."""

from __future__ import annotations

import random
from dataclasses import astuple, replace
from math import isfinite

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from alerts.errors import OutOfRange
from alerts.wine.acidity import Acidity
from alerts.wine.so2_estimate import So2Asked, So2Estimate, estimate, estimate_all, estimate_band
from alerts.wine.so2_history import (
    LOSS_BY_KIND,
    OXYGEN_BY_RACKING,
    FreeTitrated,
    LossPrior,
    OxygenUptake,
    So2Added,
    So2Entry,
    So2History,
    WineMixedIn,
    WineRacked,
)

DAY = 86_400_000
START = 1_700_000_000_000
KEG = LOSS_BY_KIND["keg"]


def at(day: float) -> int:
    return START + round(day * DAY)


def titrated(day: float, mg_l: float, u: float | None = 1.5) -> FreeTitrated:
    return FreeTitrated(at(day), mg_l, u)


def history(*entries: So2Entry, loss: LossPrior = KEG) -> So2History:
    return So2History(at(0), loss, entries)


def answer(wine: So2History, day: float, **limits: float) -> So2Estimate:
    return estimate(So2Asked(wine, at(day), Acidity(3.4), **limits))


FIVE_MONTHS = (
    titrated(0, 30),
    titrated(30, 27),
    So2Added(at(30.05), 15.0),
    titrated(32, 36),
    titrated(62, 33),
    titrated(90, 30),
)

entries = st.one_of(
    st.builds(FreeTitrated, st.integers(at(0), at(400)), st.floats(0, 1000), st.none() | st.floats(0.05, 50)),
    st.builds(So2Added, st.integers(at(0), at(400)), st.floats(0, 1000), st.floats(0, 1)),
    st.builds(
        WineRacked,
        st.integers(at(0), at(400)),
        st.sampled_from(sorted(OXYGEN_BY_RACKING.values(), key=lambda oxygen: oxygen.mg_l)),
        st.none() | st.builds(LossPrior, st.floats(0.01, 100), st.floats(0.05, 2)),
    ),
    st.builds(WineMixedIn, st.integers(at(0), at(400)), st.floats(0, 1), st.floats(0, 1000), st.floats(0, 100)),
)
histories = st.builds(
    lambda inside, temperatures: So2History(at(0), KEG, tuple(inside), tuple(temperatures)),
    st.lists(entries, max_size=12),
    st.lists(st.tuples(st.integers(at(-10), at(400)), st.floats(-10, 50)), max_size=4),
)


# ---- what it answers ------------------------------------------------------------------------------------------------


def test_between_titrations_it_is_between_them_and_less_sure() -> None:
    wine = history(titrated(0, 30), titrated(40, 26))
    sure, between = answer(wine, 40), answer(history(titrated(0, 30)), 20)
    assert 26 < between.free_mg_l < 30
    assert between.u_free_mg_l > sure.u_free_mg_l
    assert between.free_low_80_mg_l < between.free_mg_l < between.free_high_80_mg_l


def test_a_loss_of_first_order_is_learned() -> None:
    # 10 % in 30 days; the titrations are without error, so that only the prior can pull.
    wine = history(*(titrated(day, 40 * 0.9 ** (day / 30), 0.3) for day in range(0, 181, 20)))
    learned = answer(wine, 180).learned
    assert learned.loss_mg_l_per_30_days == pytest.approx(40 * 0.9**6 * 0.1, rel=0.08)
    assert learned.u_loss_mg_l_per_30_days < 0.3


def test_a_warm_month_loses_more_than_a_cool_one() -> None:
    cool = replace(history(titrated(0, 30)), temperatures_c=((at(0), 10.0),))
    warm = replace(cool, temperatures_c=((at(0), 20.0),))
    lost = [30 - answer(wine, 30).free_mg_l for wine in (cool, warm)]
    assert lost[1] == pytest.approx(1.8 * lost[0], rel=0.15)


def test_the_yield_is_learned_from_titrations_before_and_after() -> None:
    low = history(*(titrated(day, 20, 0.3) for day in (0, 10)), So2Added(at(10.1), 30.0), titrated(12, 20 + 15, 0.3))
    high = history(*(titrated(day, 20, 0.3) for day in (0, 10)), So2Added(at(10.1), 30.0), titrated(12, 20 + 24, 0.3))
    assert answer(low, 12).learned.yielded == pytest.approx(0.5, abs=0.05)
    assert answer(high, 12).learned.yielded == pytest.approx(0.8, abs=0.05)
    assert answer(high, 12).learned.u_yielded < answer(history(), 12).learned.u_yielded


def test_less_of_an_addition_stays_free_where_little_is_free() -> None:
    much = history(titrated(0, 25, 0.3), So2Added(at(0.1), 30.0))
    little = history(titrated(0, 0, 0.3), So2Added(at(0.1), 30.0))
    assert answer(much, 3).free_mg_l - 25 == pytest.approx(20, abs=1.0)
    assert answer(little, 3).free_mg_l == pytest.approx(15, abs=1.5)


def test_in_its_first_day_an_addition_is_still_binding() -> None:
    wine = history(titrated(0, 25, 0.3), So2Added(at(1), 30.0))
    at_once, next_day = answer(wine, 1), answer(wine, 2)
    assert at_once.free_mg_l > next_day.free_mg_l + 3
    assert at_once.u_free_mg_l > next_day.u_free_mg_l
    assert "younger than a day" in " ".join(at_once.remarks)
    assert "younger than a day" not in " ".join(next_day.remarks)


def test_a_racking_costs_what_its_oxygen_takes() -> None:
    oxygen = OxygenUptake(2.0, 0.5)
    before = answer(history(titrated(0, 30)), 1)
    after = answer(history(titrated(0, 30), WineRacked(at(0.5), oxygen)), 1)
    assert before.free_mg_l - after.free_mg_l == pytest.approx(5.0, abs=0.3)
    assert after.u_free_mg_l > before.u_free_mg_l
    assert "racked since the last titration" in " ".join(after.remarks)


def test_another_vessel_has_a_loss_of_its_own() -> None:
    keg = (titrated(day, 30 - day * 1.0 / 30, 0.5) for day in (0, 60, 120))
    wine = history(*keg, WineRacked(at(121), OXYGEN_BY_RACKING["under gas"], LOSS_BY_KIND["barrel"]))
    before, after = answer(wine, 120).learned, answer(wine, 122).learned
    assert before.loss_mg_l_per_30_days < 1.5
    assert after.loss_mg_l_per_30_days > 2.5 * before.loss_mg_l_per_30_days
    assert after.u_loss_mg_l_per_30_days > before.u_loss_mg_l_per_30_days


def test_wine_that_is_all_replaced_is_the_other_wine() -> None:
    wine = history(titrated(0, 50), WineMixedIn(at(10), 1.0, 22.0, 0.8, OxygenUptake(0.0, 0.0)))
    mixed = answer(wine, 10)
    assert mixed.free_mg_l == pytest.approx(22.0, abs=0.05)
    assert mixed.u_free_mg_l == pytest.approx(0.8, rel=0.05)


def test_a_small_topping_moves_it_by_its_share() -> None:
    dry = answer(history(titrated(0, 30)), 1).free_mg_l
    topped = history(titrated(0, 30), WineMixedIn(at(0.5), 0.1, 0.0, 1.0, OxygenUptake(0.0, 0.0)))
    assert answer(topped, 1).free_mg_l == pytest.approx(0.9 * dry, abs=0.05)


def test_molecular_so2_carries_the_uncertainties_of_free_so2_and_ph() -> None:
    wine = history(titrated(0, 30, 2.0), titrated(1, 30, 2.0))
    found = answer(wine, 1)
    assert found.molecular_mg_l is not None and found.molecular_low_80_mg_l is not None
    assert found.molecular_high_80_mg_l is not None
    rng = np.random.default_rng(1)
    free = found.free_mg_l + (found.free_high_80_mg_l - found.free_low_80_mg_l) / 2.563 * rng.standard_normal(100_000)
    drawn = free / (1 + 10 ** (3.4 + 0.05 * rng.standard_normal(100_000) - 1.81))
    low, median, high = np.quantile(drawn, (0.1, 0.5, 0.9))
    assert found.molecular_low_80_mg_l == pytest.approx(low, rel=0.03)
    assert found.molecular_mg_l == pytest.approx(median, rel=0.02)
    assert found.molecular_high_80_mg_l == pytest.approx(high, rel=0.03)


def test_without_a_ph_nothing_molecular_is_answered() -> None:
    found = estimate(So2Asked(history(titrated(0, 30)), at(1), molecular_limit_mg_l=0.5))
    assert found.molecular_mg_l is None and found.molecular_low_80_mg_l is None and found.below_limit is None


def test_when_it_will_be_below_its_limit() -> None:
    # 3 mg/L in 30 days: from 30 at day 120 it is at 25 some 50 days later; rather more if a part is of first order.
    wine = history(*(titrated(day, 30 + (120 - day) / 10, 0.3) for day in (0, 30, 60, 90, 120)))
    below = answer(wine, 120, free_limit_mg_l=25.0).below_limit
    assert below is not None and below.median_ms is not None and below.low_ms is not None
    assert below.high_ms is not None and below.titrate_by_ms is not None
    assert below.titrate_by_ms < below.low_ms < below.median_ms < below.high_ms
    assert (below.median_ms - at(170)) / DAY == pytest.approx(0, abs=15)


def test_a_cold_cellar_is_expected_to_warm_up_again() -> None:
    titrations = tuple(titrated(day, 30 - day / 20) for day in (0, 40, 80))
    days = {}
    for celsius in (8.0, 15.0, None):
        temperatures = () if celsius is None else ((at(0), 15.0), (at(79.9), celsius))
        wine = So2History(at(0), KEG, titrations, temperatures)
        below = answer(wine, 80, free_limit_mg_l=20.0).below_limit
        assert below is not None and below.median_ms is not None
        days[celsius] = (below.median_ms - at(80)) / DAY
    # At 8 °C it would take 1.8 ** 0.7 = 1.5 times as long.
    assert days[15.0] * 1.05 < days[8.0] < days[15.0] * 1.4
    assert days[15.0] == pytest.approx(days[None])


def test_a_limit_that_is_a_year_away_or_passed_already() -> None:
    wine = history(*(titrated(day, 40, 0.5) for day in (0, 60, 120)), loss=LossPrior(0.1))
    far = answer(wine, 120, free_limit_mg_l=10.0).below_limit
    passed = answer(wine, 120, free_limit_mg_l=60.0).below_limit
    assert far is not None and astuple(far) == (None,) * 4
    assert passed is not None and astuple(passed) == (at(120),) * 4


def test_an_unsure_ph_brings_the_titration_forward() -> None:
    wine = history(*FIVE_MONTHS)
    days = []
    for u_ph in (0.0, 0.05, 0.1):
        below = estimate(So2Asked(wine, at(91), Acidity(3.4, u_ph), molecular_limit_mg_l=0.5)).below_limit
        assert below is not None and below.titrate_by_ms is not None
        days.append(below.titrate_by_ms)
    assert days[0] > days[1] > days[2]


# ---- titrations that do not fit -------------------------------------------------------------------------------------


def test_a_titration_that_does_not_fit_is_weighed_down_and_reported() -> None:
    fitting, odd = answer(history(*FIVE_MONTHS), 90), answer(history(*FIVE_MONTHS[:-1], titrated(90, 52)), 90)
    assert odd.free_mg_l == pytest.approx(fitting.free_mg_l, abs=2.0)
    assert odd.u_free_mg_l > fitting.u_free_mg_l
    assert not fitting.remarks
    assert odd.remarks[0].startswith("52 mg/L is ")
    assert "standard deviations above what was expected" in odd.remarks[0]
    assert odd.remarks[0].endswith("repeat it, and check the titrant's factor, before you dose")


def test_two_that_agree_win_over_what_was_expected() -> None:
    wine = history(*FIVE_MONTHS[:-1], titrated(90, 45), titrated(91, 45))
    assert answer(wine, 90).free_mg_l == pytest.approx(31, abs=2)
    assert answer(wine, 91).free_mg_l == pytest.approx(45, abs=2)


def test_the_next_titration_settles_the_odd_one() -> None:
    found = answer(history(*FIVE_MONTHS[:-1], titrated(90, 52), titrated(91, 30)), 91)
    assert found.free_mg_l == pytest.approx(30, abs=1.5)
    assert any("the titration before, 52 mg/L, does not fit" in remark for remark in found.remarks)


def test_two_of_one_day_that_disagree_are_reported() -> None:
    apart = answer(history(titrated(0, 30), titrated(20, 34), titrated(20.2, 26)), 21)
    near = answer(history(titrated(0, 30), titrated(20, 29), titrated(20.2, 27)), 21)
    dosed = answer(history(titrated(0, 30), titrated(20, 29), So2Added(at(20.1), 10.0), titrated(20.9, 36)), 22)
    assert any("two titrations of one day, 34 and 26 mg/L, differ by 8 mg/L" in remark for remark in apart.remarks)
    assert not any("of one day" in remark for remark in near.remarks + dosed.remarks)


# ---- what it does not know ------------------------------------------------------------------------------------------


def test_without_a_titration_it_says_that_it_guesses() -> None:
    found = answer(history(), 10)
    assert "nothing was titrated" in found.remarks[0]
    assert found.u_free_mg_l > 10
    assert found.learned.yielded == pytest.approx(2 / 3)
    assert found.learned.u_yielded == pytest.approx(0.1, abs=0.001)


def test_with_one_titration_it_says_what_is_usual_and_not_measured() -> None:
    found = answer(history(titrated(0, 30), So2Added(at(5), 10.0)), 10)
    assert found.remarks[0].startswith("one titration")
    assert any("no addition has a titration both before and after it" in remark for remark in found.remarks)


def test_a_time_before_the_beginning_is_refused() -> None:
    with pytest.raises(OutOfRange, match="history begins at"):
        answer(history(titrated(0, 30)), -1)
    with pytest.raises(OutOfRange, match="before the wine's beginning"):
        history(titrated(-1, 30))


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: FreeTitrated(0, -1.0, 1.5),
        lambda: FreeTitrated(0, float("nan"), 1.5),
        lambda: FreeTitrated(0, 30.0, 0.0),
        lambda: So2Added(0, -5.0),
        lambda: WineMixedIn(0, 1.5, 20.0, 2.0),
        lambda: OxygenUptake(-1.0, 1.0),
        lambda: LossPrior(0.0),
        lambda: Acidity(7.0),
        lambda: Acidity(3.4, -0.1),
        lambda: So2History(0, KEG, (), ((0, 80.0),)),
    ],
)
def test_what_cannot_be_is_refused(wrong: object) -> None:
    assert callable(wrong)
    with pytest.raises(OutOfRange, match="out of range"):
        wrong()


# ---- properties -----------------------------------------------------------------------------------------------------


def numbers(found: So2Estimate) -> list[float]:
    """All numbers of an answer."""
    parts = [*astuple(found)[1:8], *astuple(found.learned)]
    return [part for part in parts if part is not None]


@settings(deadline=None)
@given(histories, st.floats(2.5, 4.5))
def test_whatever_was_entered_the_answer_is_finite_and_ordered(wine: So2History, ph: float) -> None:
    found = estimate(So2Asked(wine, at(400), Acidity(ph), molecular_limit_mg_l=0.5, free_limit_mg_l=5.0))
    assert all(isfinite(number) for number in numbers(found))
    assert 0 <= found.free_low_80_mg_l <= found.free_mg_l <= found.free_high_80_mg_l
    assert found.molecular_low_80_mg_l is not None and found.molecular_high_80_mg_l is not None
    assert found.molecular_mg_l is not None
    assert 0 <= found.molecular_low_80_mg_l <= found.molecular_mg_l <= found.molecular_high_80_mg_l
    assert found.molecular_high_80_mg_l <= found.free_high_80_mg_l + 1e-9
    assert 0 <= found.learned.yielded <= 1
    assert found.learned.loss_mg_l_per_30_days >= 0
    below = found.below_limit
    assert below is not None
    times = [below.titrate_by_ms, below.low_ms, below.median_ms, below.high_ms]
    known = [moment for moment in times if moment is not None]
    assert known == sorted(known) and all(at(400) <= moment <= at(765) for moment in known)
    assert times[len(known) :] == [None] * (4 - len(known))


@settings(deadline=None)
@given(histories, st.randoms(use_true_random=False))
def test_the_order_of_entries_in_the_list_does_not_matter(wine: So2History, chance: random.Random) -> None:
    shuffled = list(wine.entries)
    chance.shuffle(shuffled)
    assert answer(replace(wine, entries=tuple(shuffled)), 400) == answer(wine, 400)


@settings(deadline=None)
@given(histories, st.floats(0, 400))
def test_what_comes_later_is_not_known_yet(wine: So2History, day: float) -> None:
    assert answer(wine, day) == answer(wine.until(at(day)), day)


def test_what_has_yet_to_bind_counts_beside_longer_histories_too() -> None:
    dosed = So2Asked(So2History(START, KEG, (titrated(0.0, 30.0), So2Added(at(10.0), 20.0))), at(10.1))
    longer = So2Asked(So2History(START, KEG, tuple(titrated(day, 30.0) for day in range(0, 60, 10))), at(60.0))
    together = estimate_all([dosed, longer])[0]
    assert numbers(together) == pytest.approx(numbers(estimate(dosed)), rel=2e-3, abs=2e-3)


@settings(deadline=None)
@given(st.lists(histories, min_size=1, max_size=4))
def test_together_or_alone_the_answer_is_the_same(wines: list[So2History]) -> None:
    asked = [So2Asked(wine, at(400), Acidity(3.4), molecular_limit_mg_l=0.5) for wine in wines]
    # Rounding may decide whether a node of next to no weight still counts.
    for each, together in zip(asked, estimate_all(asked), strict=True):
        assert numbers(together) == pytest.approx(numbers(estimate(each)), rel=2e-3, abs=2e-3)


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(0, 100), st.floats(-1, 1)), max_size=6), st.floats(0.5, 3.0))
def test_a_titration_that_finds_what_was_expected_does_not_widen(points: list[tuple[float, float]], u: float) -> None:
    wine = history(*(titrated(day, 30 - 0.05 * day + off, 1.5) for day, off in points))
    before = answer(wine, 110)
    more = FreeTitrated(at(110), min(before.free_mg_l, 400.0), u)
    after = answer(replace(wine, entries=(*wine.entries, more)), 110)
    width = [each.free_high_80_mg_l - each.free_low_80_mg_l for each in (before, after)]
    assert width[1] <= width[0] * 1.001


def test_a_struck_titration_is_as_if_it_had_never_been() -> None:
    with_it = answer(history(*FIVE_MONTHS), 95)
    struck = answer(history(*FIVE_MONTHS[:-1]), 95)
    amended = answer(history(*FIVE_MONTHS[:-1], titrated(90, 28)), 95)
    assert len({each.free_mg_l for each in (with_it, struck, amended)}) == 3
    assert struck.u_free_mg_l > with_it.u_free_mg_l
    assert amended.free_mg_l < with_it.free_mg_l


def test_the_band_is_what_was_answered_at_each_time() -> None:
    wine = history(*FIVE_MONTHS)
    days = [0, 10, 30, 30.05, 31, 62, 80, 90, 100]
    for day, ends in zip(days, estimate_band(wine, [at(day) for day in days]), strict=True):
        found = answer(wine, day)
        alone = (found.free_low_80_mg_l, found.free_mg_l, found.free_high_80_mg_l)
        assert ends == pytest.approx(alone, abs=0.01)
