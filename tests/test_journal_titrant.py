"""Titrants: what a strength means, the factor, and when a bottle is doubted."""

from __future__ import annotations

import pytest

from ingest.journal.result_warnings import ResultWarningKind, TitrationRefused
from ingest.journal.titrant import Bottle, Meaning, Titrant, TitrantStrength, bottle_warnings

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
    with pytest.raises(TitrationRefused, match=f"its strength is given as {told}"):
        Bottle(titrant, TitrantStrength(0.01, meaning))


def test_the_factor_makes_the_label_true() -> None:
    assert Bottle(Titrant.IODINE, IODINE, 0.97).normality_eq_l == pytest.approx(0.0194)
    assert Bottle(Titrant.IODINE, IODINE).normality_eq_l == 0.02


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


# ---- warnings --------------------------------------------------------------------------------------------------------


def _kinds(bottle: Bottle, at_ms: int | None = None) -> list[ResultWarningKind]:
    return [warning.kind for warning in bottle_warnings(bottle, at_ms)]


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
    for standardised_ms, warnings in ((limit_ms, []), (limit_ms - 1, [ResultWarningKind.STALE_FACTOR])):
        bottle = Bottle(titrant, strength, 1.0, standardised_ms, limit_ms - 300 * DAY_MS)
        assert _kinds(bottle, NOW_MS) == warnings
        assert _kinds(bottle) == []
    for opened_ms, warnings in ((limit_ms, []), (limit_ms - 1, [ResultWarningKind.STALE_FACTOR])):
        assert _kinds(Bottle(titrant, strength, opened_ms=opened_ms), NOW_MS) == warnings


def test_the_age_is_told_with_what_to_do() -> None:
    bottle = Bottle(Titrant.IODINE, IODINE, 1.0, NOW_MS - 40 * DAY_MS)
    (warning,) = bottle_warnings(bottle, NOW_MS)
    assert warning.text == "the iodine was standardised 40 days ago; after 31 days standardise it again"


def test_a_bottle_without_dates() -> None:
    assert _kinds(Bottle(Titrant.IODINE, IODINE), NOW_MS) == [ResultWarningKind.STALE_FACTOR]
    assert _kinds(Bottle(Titrant.NAOH, SODA, 1.0), NOW_MS) == [ResultWarningKind.STALE_FACTOR]
    assert _kinds(Bottle(Titrant.IODATE, IODATE), NOW_MS) == []


def test_a_date_alone_may_be_of_the_same_day() -> None:
    noon_ms = NOW_MS + DAY_MS // 2
    assert _kinds(Bottle(Titrant.IODINE, IODINE, 1.0, noon_ms, noon_ms), NOW_MS) == []


def test_dates_after_the_titration() -> None:
    later_ms = NOW_MS + 3 * DAY_MS
    opened = bottle_warnings(Bottle(Titrant.IODINE, IODINE, opened_ms=later_ms), NOW_MS)
    assert [(warning.kind, "is it the right bottle and date?" in warning.text) for warning in opened] == [
        (ResultWarningKind.BOTTLE_DATES, True)
    ]
    found = bottle_warnings(Bottle(Titrant.IODINE, IODINE, 1.0, later_ms, NOW_MS), NOW_MS)
    assert [(warning.kind, warning.text) for warning in found] == [
        (ResultWarningKind.BOTTLE_DATES, "the factor was found 3 days after this")
    ]
