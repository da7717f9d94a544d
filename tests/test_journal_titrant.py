"""Titrants: what a strength means, the factor, and when a bottle is doubted."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.journal.result_warnings import ResultWarningKind, TitrationRefused
from ingest.journal.titrant import Bottle, Meaning, Titrant, TitrantStrength, bottle_doubts, factor_found

DAY_MS = 86_400_000
NOW_MS = 1_795_600_000_000
IODINE = TitrantStrength(0.02, Meaning.NORMALITY)
SODA = TitrantStrength(0.01, Meaning.NAOH_MOLARITY)
IODATE = TitrantStrength(0.003333, Meaning.IODATE_MOLARITY)


# M(KIO3) = 214.00 g/mol (IUPAC atomic masses); 6 eq/mol by IO3- + 5 I- + 6 H+ -> 3 I2 + 3 H2O.
@pytest.mark.parametrize(
    ("kio3_g_l", "eq_l"), [(0.7133, 0.0200), (0.3567, 0.0100), (0.2786, 0.0078125), (214.00 / 600, 0.01)]
)
def test_iodate_weighed_in(kio3_g_l: float, eq_l: float) -> None:
    assert TitrantStrength(kio3_g_l / 214.00, Meaning.IODATE_MOLARITY).normality_eq_l == pytest.approx(eq_l, rel=2e-4)


@pytest.mark.parametrize(
    ("meaning", "eq_l", "unit"),
    [
        (Meaning.NORMALITY, 0.01, "eq/L"),
        (Meaning.IODINE_MOLARITY, 0.02, "mol/L"),
        (Meaning.IODATE_MOLARITY, 0.06, "mol/L"),
        (Meaning.NAOH_MOLARITY, 0.01, "mol/L"),
    ],
)
def test_the_same_number_means_different_strengths(meaning: Meaning, eq_l: float, unit: str) -> None:
    strength = TitrantStrength(0.01, meaning)
    assert strength.normality_eq_l == pytest.approx(eq_l)
    assert (strength.unit, str(strength)) == (unit, f"{meaning} 0.01 {unit}")


@pytest.mark.parametrize("number", [0.0, -0.01, 5.01, float("nan"), float("inf")])
def test_a_strength_that_cannot_be(number: float) -> None:
    with pytest.raises(TitrationRefused, match=r"must be above 0 and at most 5 mol/L") as caught:
        TitrantStrength(number, Meaning.IODINE_MOLARITY)
    assert caught.value.field == "strength"


@pytest.mark.parametrize(
    ("titrant", "meaning", "told"),
    [
        (Titrant.IODINE, Meaning.NAOH_MOLARITY, "normality or iodine molarity"),
        (Titrant.IODATE, Meaning.IODINE_MOLARITY, "normality or iodate molarity"),
        (Titrant.NAOH, Meaning.IODATE_MOLARITY, "normality or sodium hydroxide molarity"),
    ],
)
def test_a_bottle_of_one_titrant_has_no_strength_of_another(titrant: Titrant, meaning: Meaning, told: str) -> None:
    with pytest.raises(TitrationRefused, match=f"its strength is told as {told}"):
        Bottle(titrant, TitrantStrength(0.01, meaning))


def test_the_factor_makes_the_label_true() -> None:
    assert Bottle(Titrant.IODINE, IODINE, 0.97).normality_eq_l == pytest.approx(0.0194)
    assert Bottle(Titrant.IODINE, IODINE).normality_eq_l == 0.02


def test_a_factor_by_thiosulfate() -> None:
    """20.00 mL of 0.02 eq/L iodine take 19.40 mL of 0.02 mol/L thiosulfate (1 eq/mol): 0.0194 eq/L, factor 0.97."""
    assert factor_found(IODINE, 0.02, 19.40, 20.00) == pytest.approx(0.97)


@given(st.floats(0.8, 1.2), st.floats(0.005, 0.1), st.floats(5.0, 50.0))
def test_the_factor_gives_back_what_is_in_the_bottle(factor: float, standard: float, titrant_ml: float) -> None:
    standard_ml = IODINE.normality_eq_l * factor * titrant_ml / standard
    assert factor_found(IODINE, standard, standard_ml, titrant_ml) == pytest.approx(factor)


@pytest.mark.parametrize("wrong", [(0.0, 20.0, 20.0), (0.02, -1.0, 20.0), (0.02, 20.0, 0.0), (0.02, float("nan"), 1.0)])
def test_a_factor_of_nothing(wrong: tuple[float, float, float]) -> None:
    with pytest.raises(TitrationRefused, match="must be above 0") as caught:
        factor_found(IODINE, *wrong)
    assert caught.value.field == "factor"


@pytest.mark.parametrize("factor", [0.0, -1.0, 97.0, float("nan")])
def test_a_factor_that_is_none(factor: float) -> None:
    with pytest.raises(TitrationRefused, match=r"97 % is written 0\.97"):
        Bottle(Titrant.IODINE, IODINE, factor)


def test_a_date_without_a_factor() -> None:
    with pytest.raises(TitrationRefused, match="needs the factor that was found"):
        Bottle(Titrant.IODINE, IODINE, standardised_ms=NOW_MS)


def test_what_stands_on_more_than_the_label() -> None:
    assert Bottle(Titrant.IODATE, IODATE).trusted
    assert Bottle(Titrant.NAOH, SODA, 1.0).trusted
    assert not Bottle(Titrant.IODINE, IODINE).trusted
    assert not Bottle(Titrant.NAOH, SODA).trusted


# ---- doubts --------------------------------------------------------------------------------------------------------


def _kinds(bottle: Bottle, at_ms: int | None = None) -> list[ResultWarningKind]:
    return [doubt.kind for doubt in bottle_doubts(bottle, at_ms)]


@pytest.mark.parametrize(
    ("factor", "doubted"), [(0.8999, True), (0.90, False), (1.0, False), (1.05, False), (1.0501, True), (None, False)]
)
def test_a_factor_far_from_one(factor: float | None, doubted: bool) -> None:
    assert _kinds(Bottle(Titrant.IODINE, IODINE, factor)) == [ResultWarningKind.FACTOR] * doubted


@pytest.mark.parametrize(
    ("normality", "doubted"), [(0.00499, True), (0.005, False), (0.05, False), (0.06, False), (0.0601, True)]
)
def test_an_unusual_strength(normality: float, doubted: bool) -> None:
    bottle = Bottle(Titrant.IODINE, TitrantStrength(normality, Meaning.NORMALITY))
    assert _kinds(bottle) == [ResultWarningKind.UNUSUAL_STRENGTH] * doubted


@pytest.mark.parametrize(
    ("titrant", "strength", "days"),
    [(Titrant.IODINE, IODINE, 31), (Titrant.NAOH, SODA, 31), (Titrant.IODATE, IODATE, 183)],
)
def test_a_factor_goes_out_of_date(titrant: Titrant, strength: TitrantStrength, days: int) -> None:
    limit_ms = NOW_MS - days * DAY_MS
    for standardised_ms, doubts in ((limit_ms, []), (limit_ms - 1, [ResultWarningKind.STALE_FACTOR])):
        bottle = Bottle(titrant, strength, 1.0, standardised_ms, limit_ms - 300 * DAY_MS)
        assert _kinds(bottle, NOW_MS) == doubts
        assert _kinds(bottle) == []
    for opened_ms, doubts in ((limit_ms, []), (limit_ms - 1, [ResultWarningKind.STALE_FACTOR])):
        assert _kinds(Bottle(titrant, strength, opened_ms=opened_ms), NOW_MS) == doubts


def test_the_age_is_told_with_what_to_do() -> None:
    bottle = Bottle(Titrant.IODINE, IODINE, 1.0, NOW_MS - 40 * DAY_MS)
    (doubt,) = bottle_doubts(bottle, NOW_MS)
    assert doubt.text == "the iodine was standardised 40 days ago; after 31 days standardise it again"


def test_a_bottle_without_dates() -> None:
    assert _kinds(Bottle(Titrant.IODINE, IODINE), NOW_MS) == [ResultWarningKind.STALE_FACTOR]
    assert _kinds(Bottle(Titrant.NAOH, SODA, 1.0), NOW_MS) == [ResultWarningKind.STALE_FACTOR]
    assert _kinds(Bottle(Titrant.IODATE, IODATE), NOW_MS) == []


def test_dates_after_the_titration() -> None:
    later_ms = NOW_MS + 3 * DAY_MS
    opened = bottle_doubts(Bottle(Titrant.IODINE, IODINE, opened_ms=later_ms), NOW_MS)
    assert [(doubt.kind, "is it the right bottle and date?" in doubt.text) for doubt in opened] == [
        (ResultWarningKind.BOTTLE_DATES, True)
    ]
    found = bottle_doubts(Bottle(Titrant.IODINE, IODINE, 1.0, later_ms, NOW_MS), NOW_MS)
    assert [(doubt.kind, doubt.text) for doubt in found] == [
        (ResultWarningKind.BOTTLE_DATES, "the factor was found 3 days after this")
    ]
