"""Doses: grams and millilitres, what can be measured out, what is expected then, and to what a dose is cut."""

from __future__ import annotations

from math import hypot

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.errors import OutOfRange
from alerts.wine.dose import USUAL_YIELD, Dose, Product, dose_between, measured_out
from alerts.wine.dose_outlook import BeforeDose, dose_outlook, usual_u_so2
from alerts.wine.dose_plan import DosePlan, plan_dose
from alerts.wine.legal import RULE_SETS, legal_limit
from alerts.wine.molecular import TRADE_PK, free_needed, molecular_so2
from ingest.journal.titration import Style

US_GALLON_L = 3.785411784
TEN_PERCENT = Product(stock_g_per_100_ml=10.0)


# ---- grams and millilitres -----------------------------------------------------------------------------------------


def test_a_gram_in_five_us_gallons() -> None:
    """Common practice, no source: it adds 30.4 mg/L total, and raises free SO2 by about 20 at the usual yield."""
    dose = Dose(5.0 * US_GALLON_L, 30.4)
    assert dose.metabisulfite_g == pytest.approx(1.0, abs=0.002)
    assert dose.raise_total_mg_l * USUAL_YIELD == pytest.approx(20.0, abs=0.5)
    assert dose_between(5.0 * US_GALLON_L, 10.0, 30.0).metabisulfite_g == pytest.approx(1.0, abs=0.02)


def test_a_gram_of_a_fifth_is_five_millilitres() -> None:
    """Common practice, no source: 20 g made up to 100 mL give one gram in 5 mL."""
    product = Product(stock_g_per_100_ml=20.0)
    dose = Dose(1.0, 1000.0 * product.so2_fraction, product)
    assert dose.metabisulfite_g == pytest.approx(1.0)
    assert dose.stock_ml == pytest.approx(5.0)


@pytest.mark.parametrize(("stock", "ml"), [(5.0, 6.6), (10.0, 3.3), (20.0, 1.65)])
def test_ten_more_in_nineteen_litres(stock: float, ml: float) -> None:
    """10 mg/L total in 19 L is 0.33 g; 5, 10 and 20 % solutions hold 28.8, 57.6 and 115 g/L SO2.

    By 2 x 64.06 / 222.32 = 57.6 % SO2 in K2S2O5 (IUPAC atomic masses).
    """
    dose = Dose(19.0, 10.0, Product(stock_g_per_100_ml=stock))
    assert dose.metabisulfite_g == pytest.approx(0.33, abs=0.002)
    assert dose.stock_ml == pytest.approx(ml, abs=0.005)
    assert 10.0 * stock * dose.product.so2_fraction == pytest.approx(5.76 * stock)


@pytest.mark.parametrize(("fraction", "grams"), [(0.57, 1.754), (0.576, 1.736), (0.674, 1.484), (0.5, 2.0)])
def test_grams_of_salt_for_a_gram_of_so2(fraction: float, grams: float) -> None:
    """An extension sheet has 1.75 g for each g of SO2, which is 0.57."""
    assert Dose(1000.0, 1.0, Product(fraction)).metabisulfite_g == pytest.approx(grams, abs=1e-3)


def test_two_thirds_stay_free() -> None:
    """From 20 to 30 mg/L in 19 L: 10 x 3 / 2 = 15 mg/L total; 19 x 15 / 576 = 0.4948 g."""
    dose = dose_between(19.0, 20.0, 30.0, product=TEN_PERCENT)
    assert dose.raise_total_mg_l == pytest.approx(15.0)
    assert dose.metabisulfite_g == pytest.approx(0.49479, abs=1e-5)
    assert dose.stock_ml == pytest.approx(4.9479, abs=1e-4)
    assert dose_between(19.0, 20.0, 20.0).metabisulfite_g == 0.0
    assert dose_between(19.0, 20.0, 30.0, 0.5).raise_total_mg_l == pytest.approx(20.0)


@given(
    volume=st.floats(0.1, 1000.0),
    present=st.floats(0.0, 60.0),
    more=st.floats(0.0, 60.0),
    share=st.floats(0.2, 1.0),
    fraction=st.floats(0.4, 0.7),
)
def test_the_dose_brings_the_wine_to_its_target(
    volume: float, present: float, more: float, share: float, fraction: float
) -> None:
    dose = dose_between(volume, present, present + more, share, Product(fraction))
    so2_mg = 1000.0 * dose.metabisulfite_g * fraction
    assert present + share * so2_mg / volume == pytest.approx(present + more, abs=1e-6)


@pytest.mark.parametrize(
    ("volume", "present", "target", "share", "of"),
    [
        (-19.0, 20.0, 30.0, 0.6, "volume"),
        (0.0, 20.0, 30.0, 0.6, "volume"),
        (float("nan"), 20.0, 30.0, 0.6, "volume"),
        (19.0, -1.0, 30.0, 0.6, "free SO2"),
        (19.0, 20.0, 500.0, 0.6, "free SO2"),
        (19.0, 20.0, 19.9, 0.6, "target"),
        (19.0, 20.0, 30.0, 0.0, "yield"),
        (19.0, 20.0, 30.0, 1.1, "yield"),
    ],
)
def test_what_cannot_be_dosed(volume: float, present: float, target: float, share: float, of: str) -> None:
    with pytest.raises(OutOfRange) as refused:
        dose_between(volume, present, target, share)
    assert refused.value.of == of


@pytest.mark.parametrize(
    ("fraction", "stock", "of"), [(0.0, None, "SO2 fraction"), (57.6, None, "SO2 fraction"), (0.5, 0.0, "stock")]
)
def test_products_that_there_are_not(fraction: float, stock: float | None, of: str) -> None:
    with pytest.raises(OutOfRange) as refused:
        Product(fraction, stock)
    assert refused.value.of == of


# ---- measured out --------------------------------------------------------------------------------------------------


def test_what_a_balance_and_a_pipette_can_do() -> None:
    """0.49479 g: 0.49 on 0.01 g, 0.5 on 0.1 g; 15 mg/L x (0.49 / 0.49479 - 1) = -0.145 mg/L."""
    dose = dose_between(19.0, 20.0, 30.0, product=TEN_PERCENT)
    fine, coarse, pipetted = measured_out(dose, "g", 0.01), measured_out(dose, "g", 0.1), measured_out(dose, "mL", 0.1)
    assert (fine.words, coarse.words, pipetted.words) == ("0.49 g", "0.5 g", "4.9 mL")
    assert fine.off_mg_l == pytest.approx(-0.145, abs=1e-3)
    assert coarse.off_mg_l == pytest.approx(0.158, abs=1e-3)
    assert coarse.doubt == pytest.approx(0.05 / 0.49479, abs=1e-4)
    assert measured_out(dose, "g", 0.1, down=True).words == "0.4 g"
    assert measured_out(dose, "g", 5.0).words == "0 g"
    assert measured_out(Dose(19.0, 0.0), "g", 0.01).off_mg_l == 0.0


def test_a_dose_of_whole_steps_stays_as_it_is() -> None:
    dose = Dose(1.0, 576.0 * 0.3)
    assert measured_out(dose, "g", 0.1, down=True).words == "0.3 g"


@given(raised=st.floats(0.5, 150.0), step=st.sampled_from([0.001, 0.01, 0.1, 0.5, 1.0]), down=st.booleans())
def test_measuring_changes_the_raise_by_less_than_a_step(raised: float, step: float, down: bool) -> None:
    dose = Dose(19.0, raised)
    out = measured_out(dose, "g", step, down=down)
    per_step = raised * step / dose.metabisulfite_g
    assert abs(out.off_mg_l) <= per_step * (1.0 if down else 0.5) + 1e-6
    assert not down or out.off_mg_l <= 1e-6
    assert Dose(19.0, raised + out.off_mg_l).metabisulfite_g == pytest.approx(out.amount, abs=1e-6)


def test_steps_that_there_are_not() -> None:
    with pytest.raises(OutOfRange, match="step 0"):
        measured_out(Dose(19.0, 10.0), "g", 0.0)
    with pytest.raises(OutOfRange, match="without the strength"):
        measured_out(Dose(19.0, 10.0), "mL", 0.1)


# ---- expected then -------------------------------------------------------------------------------------------------

BEFORE = BeforeDose(free_mg_l=20.0, u_free_mg_l=1.5, total_mg_l=60.0, u_total_mg_l=5.0, ph=3.4, u_ph=0.05, pk=TRADE_PK)


def test_what_is_expected_after_a_dose() -> None:
    """15 mg/L at a yield of 0.667 +/- 0.15: 30 mg/L free, u = hypot(1.5, 2.25) = 2.70, 80 % within 1.2816 u."""
    after = dose_outlook(BEFORE, Dose(19.0, 15.0))
    u = hypot(1.5, 15.0 * 0.15)
    assert after.free == pytest.approx((30.0 - 1.2816 * u, 30.0, 30.0 + 1.2816 * u))
    assert after.total == pytest.approx((75.0 - 1.2816 * 5.0, 75.0, 75.0 + 1.2816 * 5.0))
    molecular = molecular_so2(30.0, 3.4, TRADE_PK, u_free_mg_l=u, u_ph=0.05)
    assert after.molecular == pytest.approx(
        (molecular.mg_l - 1.2816 * molecular.u_mg_l, molecular.mg_l, molecular.mg_l + 1.2816 * molecular.u_mg_l)
    )
    assert after.worst_free_mg_l == 35.0
    assert after.worst_molecular_mg_l == pytest.approx(35.0 * TRADE_PK.fraction(3.4))
    assert after.free.words == "30 mg/L (27 to 33)"
    assert after.molecular is not None
    assert after.molecular.words == "0.75 mg/L (0.61 to 0.89)"


def test_what_is_not_known_is_not_expected() -> None:
    after = dose_outlook(BeforeDose(free_mg_l=20.0, u_free_mg_l=1.5), Dose(19.0, 15.0))
    assert (after.molecular, after.total, after.worst_molecular_mg_l) == (None, None, None)


def test_a_range_does_not_go_below_nothing() -> None:
    after = dose_outlook(BeforeDose(free_mg_l=1.0, u_free_mg_l=1.5), Dose(19.0, 1.0))
    assert after.free.low_mg_l == 0.0


@pytest.mark.parametrize(("so2", "u"), [(0.0, 1.5), (30.0, 1.5), (60.0, 3.0)])
def test_a_careful_titration(so2: float, u: float) -> None:
    assert usual_u_so2(so2) == pytest.approx(u)


# ---- wise or not ---------------------------------------------------------------------------------------------------


def _plan(
    to_free: float, *, style: Style | None = None, sugar: float | None = None, rules: str = "eu", **before: float | None
) -> DosePlan:
    wine = BeforeDose(**{"free_mg_l": 20.0, "u_free_mg_l": 1.5, "pk": TRADE_PK, **before})  # type: ignore[arg-type]
    asked = dose_between(19.0, wine.free_mg_l, to_free)
    return plan_dose(wine, asked, to_free, style=style, legal=legal_limit(RULE_SETS[rules], style, sugar))


def test_a_sensible_dose_is_left_alone() -> None:
    plan = _plan(30.0, ph=3.4, total_mg_l=70.0, style=Style.WHITE)
    assert (plan.advised, plan.cut_by, plan.remarks) == (plan.asked, None, ())


def test_if_all_stays_free_the_nose_is_spared() -> None:
    """From 20 to 44: 36 mg/L, at worst 56 mg/L free, and 50 is the ceiling: 30 mg/L may be added, 0.99 g in 19 L."""
    plan = _plan(44.0)
    assert plan.asked.raise_total_mg_l == pytest.approx(36.0)
    assert plan.advised.raise_total_mg_l == pytest.approx(30.0)
    assert plan.cut_by is not None
    assert "56 mg/L" in plan.remarks[0]
    assert "add at most 0.99 g at once" in plan.remarks[0]
    assert _plan(40.0).cut_by is None  # at worst exactly 50
    assert _plan(44.0, style=Style.SWEET).cut_by is None


def test_at_low_ph_molecular_so2_is_the_ceiling() -> None:
    """At pH 2.9 2 mg/L molecular are 26.6 mg/L free (pK 1.81)."""
    plan = _plan(26.0, ph=2.9)
    assert plan.advised.raise_total_mg_l == pytest.approx(26.6 - 20.0, abs=0.05)
    assert "2 mg/L molecular (pK 1.81)" in plan.remarks[0]


def test_the_law_is_a_ceiling_for_all_that_is_added() -> None:
    """Dry red, 140 mg/L total: 10 mg/L may be added, whatever binds."""
    plan = _plan(30.0, total_mg_l=140.0, style=Style.RED, sugar=1.0)
    assert plan.advised.raise_total_mg_l == pytest.approx(10.0)
    assert "legal limit of 150 mg/L total (European Union" in plan.remarks[0]
    assert _plan(30.0, total_mg_l=135.0, style=Style.RED, sugar=1.0).cut_by is None  # at most exactly 150
    over = _plan(30.0, total_mg_l=151.0, style=Style.RED, sugar=1.0)
    assert over.advised.metabisulfite_g == 0.0
    assert "add nothing" in over.remarks[0]
    assert _plan(30.0, total_mg_l=140.0, style=Style.RED, rules="us").cut_by is None


def test_at_high_ph_it_says_what_the_target_takes_and_why() -> None:
    """0.8 mg/L at pH 3.9 take 99 mg/L free (the trade's table): 0.81 % of it is molecular."""
    target = free_needed(0.8, 3.9, TRADE_PK).mg_l
    plan = _plan(target, ph=3.9)
    assert plan.remarks[0].startswith("that target takes 99 mg/L free SO2, since at pH 3.9 only 0.81 % of it is")
    assert "if all of it stayed free" in plan.remarks[1]


def test_with_little_free_so2_less_may_stay_free() -> None:
    assert "bind half of an addition or all" in " ".join(_plan(20.0, free_mg_l=5.0).remarks)
    assert _plan(20.0, free_mg_l=10.0).remarks == ()
    assert _plan(20.0, free_mg_l=5.0, yield_share=0.5).remarks == ()


def test_a_dose_that_is_hardly_meant() -> None:
    assert "is unusual, doses are 5 to 60" in _plan(85.0).remarks[-1]
    assert "hardly ever meant" in _plan(150.0).remarks[-1]
    assert "from 110 on table wine can taste" in " ".join(_plan(30.0, total_mg_l=100.0, rules="us").remarks)


def test_a_stock_that_does_not_dissolve_and_a_salt_that_is_none() -> None:
    wine = BeforeDose(free_mg_l=20.0, u_free_mg_l=1.5)
    plan = plan_dose(wine, dose_between(19.0, 20.0, 30.0, product=Product(0.3, 60.0)), 30.0)
    assert ["SO2 is unusual" in remark or "do not dissolve" in remark for remark in plan.remarks] == [True, True]


def test_free_above_total_is_refused() -> None:
    with pytest.raises(OutOfRange, match="20 mg/L free SO2 is more than 15 mg/L total"):
        _plan(30.0, total_mg_l=15.0)


@given(
    present=st.floats(0.0, 49.0),
    more=st.floats(0.0, 100.0),
    ph=st.floats(2.9, 4.0),
    bound=st.floats(0.0, 150.0),
    style=st.sampled_from([None, *Style]),
)
def test_no_advised_dose_passes_a_ceiling_even_at_worst(
    present: float, more: float, ph: float, bound: float, style: Style | None
) -> None:
    plan = _plan(present + more, style=style, free_mg_l=present, ph=ph, total_mg_l=present + bound)
    raised = plan.advised.raise_total_mg_l
    assert raised <= plan.asked.raise_total_mg_l
    if raised > 0.0:
        assert present + raised <= (100.0 if style is Style.SWEET else 50.0) + 1e-6
        assert (present + raised) * TRADE_PK.fraction(ph) <= 2.0 + 1e-6
        assert present + bound + raised <= legal_limit(RULE_SETS["eu"], style).total_mg_l + 1e-6
    assert (plan.cut_by is None) == (plan.advised is plan.asked)
