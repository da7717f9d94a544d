"""What is said against a titration: each warning at its threshold, and nothing where nothing is wrong."""

from __future__ import annotations

from dataclasses import replace
from math import erf, exp, pi, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.journal.result_warnings import ResultWarningKind
from ingest.journal.titrant import Bottle, Meaning, Titrant, TitrantStrength
from ingest.journal.titration import Method, So2Quantity, Style, Titration
from ingest.journal.titration_outcome import allowed_spread_mg_l, titrated

NOW_MS = 1_795_600_000_000
IODINE = Bottle(Titrant.IODINE, TitrantStrength(0.01, Meaning.IODINE_MOLARITY), 1.0)
SODA = Bottle(Titrant.NAOH, TitrantStrength(0.01, Meaning.NAOH_MOLARITY), 1.0)

# 25.624 mg/L with 25.624 mg/L per mL.
WHITE = Titration(
    method=Method.IODOMETRIC,
    quantity=So2Quantity.FREE,
    style=Style.WHITE,
    titres_ml=(1.2,),
    blank_ml=0.2,
    sample_ml=25.0,
    bottle=IODINE,
)
# 25.624 mg/L with 6.406 mg/L per mL.
AERATED = replace(WHITE, method=Method.AERATION, titres_ml=(4.0,), blank_ml=0.0, sample_ml=50.0, bottle=SODA)


def _kinds(done: Titration, at_ms: int | None = None) -> list[ResultWarningKind]:
    return [warning.kind for warning in titrated(done, at_ms).warnings]


def _text(done: Titration, at_ms: int | None = None) -> str:
    (warning,) = titrated(done, at_ms).warnings
    return warning.text


def test_a_good_titration_is_not_doubted() -> None:
    for done in (WHITE, AERATED):
        outcome = titrated(done)
        assert outcome.so2_mg_l == pytest.approx(25.624)
        assert outcome.u_mg_l == outcome.parts.combined
        assert outcome.warnings == ()


@pytest.mark.parametrize("style", [Style.WHITE, Style.ROSE, Style.SWEET])
def test_other_wine_than_red_is_no_upper_bound(style: Style) -> None:
    assert _kinds(replace(WHITE, style=style)) == []


def test_red_wine_is_an_upper_bound() -> None:
    red = Style.RED
    assert "pigments" in _text(replace(WHITE, style=red))
    assert "phenolics" in _text(replace(WHITE, style=red))
    aerated = _text(replace(AERATED, style=red))
    assert aerated.startswith("upper bound: ")
    assert "phenolics" not in aerated
    total = _text(replace(WHITE, style=red, quantity=So2Quantity.TOTAL))
    assert total.startswith("upper bound: phenolics")
    assert _kinds(replace(AERATED, style=red, quantity=So2Quantity.TOTAL)) == []


def test_an_unknown_style() -> None:
    assert _kinds(replace(WHITE, style=None)) == [ResultWarningKind.UNKNOWN_STYLE]
    assert _kinds(replace(AERATED, style=None)) == [ResultWarningKind.UNKNOWN_STYLE]
    assert _kinds(replace(AERATED, style=None, quantity=So2Quantity.TOTAL)) == []


def test_below_the_blank() -> None:
    below = replace(WHITE, titres_ml=(0.2,), blank_ml=0.3, style=Style.RED)
    outcome = titrated(below)
    assert outcome.so2_mg_l is None
    assert outcome.u_mg_l == pytest.approx(1.83, abs=0.01)
    # 2 x sqrt(1.5^2 + 2 x 0.7397^2) = 3.66
    text = (
        "the titre of 0.2 mL is not above the blank of 0.3 mL: less than about 4 mg/L free SO2 cannot be distinguished "
        "from none"
    )
    assert _text(below) == text
    assert _text(replace(WHITE, titres_ml=(0.0,), blank_ml=0.0)).startswith("no titrant was used: less than about ")


@pytest.mark.parametrize(
    ("quantity", "titre", "doubted"),
    [
        (So2Quantity.FREE, 7.80, False),  # 199.87 mg/L
        (So2Quantity.FREE, 7.81, True),  # 200.12
        (So2Quantity.TOTAL, 7.81, False),
        (So2Quantity.TOTAL, 19.51, False),  # 499.92
        (So2Quantity.TOTAL, 19.52, True),  # 500.18
    ],
)
def test_an_implausible_result(quantity: So2Quantity, titre: float, doubted: bool) -> None:
    done = replace(WHITE, quantity=quantity, titres_ml=(titre,), blank_ml=0.0)
    assert _kinds(done) == [ResultWarningKind.IMPLAUSIBLE_RESULT] * doubted
    assert "molarity or normality" in _text(replace(WHITE, titres_ml=(24.0,), blank_ml=0.0))


# ---- flasks --------------------------------------------------------------------------------------------------------


def test_flasks_by_the_working_default() -> None:
    """At 6.406 mg/L per mL 3 mg/L are 0.468 mL; at 64 mg/L 10 % are 6.4 mg/L, 1 mL."""
    assert _kinds(replace(AERATED, titres_ml=(4.0, 4.46))) == []
    assert _kinds(replace(AERATED, titres_ml=(4.0, 4.48))) == [ResultWarningKind.FLASKS_DISAGREE]
    assert _kinds(replace(AERATED, titres_ml=(9.5, 10.5))) == []
    assert _kinds(replace(AERATED, titres_ml=(9.5, 10.6))) == [ResultWarningKind.FLASKS_DISAGREE]


def test_flasks_by_the_repeatability_of_total_by_aeration() -> None:
    """OIV-MA-AS323-04A, from memory: r = 1 mg/L (50 mL, up to 50 mg/L: 0.156 mL) and 6 mg/L (20 mL: 0.3746 mL)."""
    total = replace(AERATED, quantity=So2Quantity.TOTAL)
    assert _kinds(replace(total, titres_ml=(4.0, 4.15))) == []
    assert _kinds(replace(total, titres_ml=(4.0, 4.16))) == [ResultWarningKind.FLASKS_DISAGREE]
    small = replace(total, sample_ml=20.0)
    assert _kinds(replace(small, titres_ml=(5.0, 5.37))) == []
    assert _kinds(replace(small, titres_ml=(5.0, 5.38))) == [ResultWarningKind.FLASKS_DISAGREE]
    assert allowed_spread_mg_l(replace(total, titres_ml=(9.0, 9.0)), 57.7) == 6.0
    assert allowed_spread_mg_l(replace(small, titres_ml=(2.0, 2.0)), 32.0) == 6.0


def test_what_is_told_of_flasks() -> None:
    assert _text(replace(AERATED, titres_ml=(4.0, 5.0))) == (
        "the flasks disagree: they lie 6.4 mg/L apart, and 2 flasks should lie within 3.0 mg/L: titrate another one"
    )


def test_one_flask_has_no_spread() -> None:
    assert allowed_spread_mg_l(AERATED, 25.0) == 0.0


def _share_within(range_sd: float, n: int) -> float:
    """How often n normal results lie within a range: n times the integral of f(x) (F(x) - F(x - range))^(n-1)."""
    step = 0.01
    total = 0.0
    for index in range(-800, 801):
        x = index * step
        inside = 0.5 * (erf(x / sqrt(2)) - erf((x - range_sd) / sqrt(2)))
        total += exp(-x * x / 2) / sqrt(2 * pi) * inside ** (n - 1) * step
    return n * total


@pytest.mark.parametrize("flasks", range(2, 11))
def test_more_flasks_may_lie_further_apart(flasks: int) -> None:
    """The range of n results of one normal distribution is exceeded once in 20 times."""
    allowed = allowed_spread_mg_l(replace(AERATED, titres_ml=(4.0,) * flasks), 25.0)
    assert _share_within(allowed / 3.0 * 2.8, flasks) == pytest.approx(0.95, abs=0.006)


@given(st.lists(st.floats(3.8, 4.2), min_size=2, max_size=10))
def test_flasks_within_the_least_allowed_spread_are_never_doubted(titres: list[float]) -> None:
    assert ResultWarningKind.FLASKS_DISAGREE not in _kinds(replace(AERATED, titres_ml=tuple(titres)))


# ---- blank, volumes, end point, bottle -----------------------------------------------------------------------------


def test_a_large_blank() -> None:
    """10 mg/L are 0.3903 mL at 25.624 mg/L per mL. 1 mL would be 25.624 x 176.12 / 64.06 = 70.4 mg/L ascorbic acid."""
    assert _kinds(replace(WHITE, blank_ml=0.39)) == []
    assert _kinds(replace(WHITE, blank_ml=0.391)) == [ResultWarningKind.LARGE_BLANK]
    text = _text(replace(WHITE, titres_ml=(2.0,), blank_ml=1.0))
    assert text.startswith("the blank is large, 26 mg/L as SO2: ascorbic acid? As such it would be 70 mg/L")
    assert "hydrogen peroxide" in _text(replace(AERATED, blank_ml=1.6))
    assert _kinds(replace(WHITE, blank_ml=5.0)) == [ResultWarningKind.BELOW_BLANK, ResultWarningKind.LARGE_BLANK]


def test_ascorbic_acid_by_iodine() -> None:
    """1 mL of 0.025 mol/L iodine takes 0.025 mmol x 176.12 mg/mmol = 4.4 mg (in 50 mL of wine 88 mg/L)."""
    strong = Bottle(Titrant.IODINE, TitrantStrength(0.025, Meaning.IODINE_MOLARITY), 1.0)
    assert "it would be 88 mg/L" in _text(replace(WHITE, titres_ml=(2.0,), blank_ml=1.0, sample_ml=50.0, bottle=strong))


def test_a_titre_beyond_the_burette() -> None:
    assert _kinds(replace(AERATED, titres_ml=(25.0,))) == []
    assert _kinds(replace(AERATED, titres_ml=(25.1,))) == [ResultWarningKind.BEYOND_BURETTE]
    assert _kinds(replace(AERATED, titres_ml=(25.1,), burette_ml=50.0)) == []
    assert _text(replace(AERATED, titres_ml=(12.0,), burette_ml=10.0)).startswith(
        "12 mL is more than the burette of 10 mL holds"
    )


@pytest.mark.parametrize(
    ("sample_ml", "doubted"), [(9.9, True), (10.0, False), (50.0, False), (50.1, True), (100.0, True)]
)
def test_an_unusual_sample(sample_ml: float, doubted: bool) -> None:
    assert _kinds(replace(WHITE, sample_ml=sample_ml, blank_ml=0.0)) == [ResultWarningKind.UNUSUAL_SAMPLE] * doubted


@pytest.mark.parametrize(("seconds", "told"), [(9.0, "read low"), (30.0, "reads higher")])
def test_another_end_point(seconds: float, told: str) -> None:
    assert told in _text(replace(WHITE, end_point_s=seconds))
    for usual in (10.0, 15.0, None):
        assert _kinds(replace(WHITE, end_point_s=usual)) == []


def test_the_bottle_is_judged_too_and_its_age_only_at_a_time() -> None:
    weak = replace(WHITE, bottle=replace(IODINE, factor=0.85))
    assert _kinds(weak) == [ResultWarningKind.FACTOR]
    old = replace(WHITE, bottle=replace(IODINE, standardised_ms=NOW_MS - 32 * 86_400_000))
    assert (_kinds(old), _kinds(old, NOW_MS)) == ([], [ResultWarningKind.STALE_FACTOR])
