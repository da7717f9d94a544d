"""From millilitres to mg/L of SO2, and the uncertainty, against printed factors and by hand."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.journal.result_warnings import TitrationRefused
from ingest.journal.titrant import Bottle, Meaning, Titrant, TitrantStrength
from ingest.journal.titration import Method, So2Quantity, Style, Titration, titre_ml, uncertainty_of

TITRANTS = {
    Meaning.NORMALITY: Titrant.IODINE,
    Meaning.IODINE_MOLARITY: Titrant.IODINE,
    Meaning.IODATE_MOLARITY: Titrant.IODATE,
    Meaning.NAOH_MOLARITY: Titrant.NAOH,
}


def iodometric(
    *titres_ml: float,
    number: float = 0.01,
    meaning: Meaning = Meaning.IODINE_MOLARITY,
    factor: float | None = 1.0,
    sample_ml: float = 25.0,
    blank_ml: float = 0.0,
    quantity: So2Quantity = So2Quantity.FREE,
) -> Titration:
    return Titration(
        method=Method.IODOMETRIC,
        quantity=quantity,
        style=Style.WHITE,
        titres_ml=titres_ml,
        sample_ml=sample_ml,
        blank_ml=blank_ml,
        bottle=Bottle(TITRANTS[meaning], TitrantStrength(number, meaning), factor),
    )


def aeration(*titres_ml: float, sample_ml: float = 50.0, quantity: So2Quantity = So2Quantity.FREE) -> Titration:
    return Titration(
        method=Method.AERATION,
        quantity=quantity,
        style=Style.WHITE,
        titres_ml=titres_ml,
        sample_ml=sample_ml,
        bottle=Bottle(Titrant.NAOH, TitrantStrength(0.01, Meaning.NAOH_MOLARITY), 1.0),
    )


# ---- factors -------------------------------------------------------------------------------------------------------

# mg/L of SO2 for one mL on 10, 20, 25 and 50 mL of wine: N x 32.03 x 1000 / S, worked out by hand. That 1/64 and
# 1/128 eq/L give 20 and 10 mg/L on 25 mL is why they exist (common practice).
FACTORS = [
    (0.025, Meaning.IODINE_MOLARITY, (160.2, 80.1, 64.1, 32.0)),
    (0.01, Meaning.IODINE_MOLARITY, (64.1, 32.0, 25.6, 12.8)),
    (0.02, Meaning.NORMALITY, (64.1, 32.0, 25.6, 12.8)),
    (0.005, Meaning.IODINE_MOLARITY, (32.0, 16.0, 12.8, 6.41)),
    (1 / 128, Meaning.NORMALITY, (25.0, 12.5, 10.0, 5.00)),
    (0.00390625, Meaning.IODINE_MOLARITY, (25.0, 12.5, 10.0, 5.00)),
    (1 / 64, Meaning.NORMALITY, (50.0, 25.0, 20.0, 10.0)),
]


@pytest.mark.parametrize(("number", "meaning", "factors"), FACTORS)
def test_iodometric_factors(number: float, meaning: Meaning, factors: tuple[float, ...]) -> None:
    for sample_ml, factor in zip((10.0, 20.0, 25.0, 50.0), factors, strict=True):
        done = iodometric(1.0, number=number, meaning=meaning, sample_ml=sample_ml)
        assert done.so2_mg_l == pytest.approx(factor, abs=0.0501)


# OIV-MA-AS323-04B and Regulation (EEC) 2676/90, rapid method, from memory: 32 n and 12.8 n on 50 mL; OIV takes 32.00.
@pytest.mark.parametrize(("molarity", "printed"), [(0.025, 32.0), (0.01, 12.8)])
def test_the_factors_that_oiv_prints_for_iodine(molarity: float, printed: float) -> None:
    assert iodometric(1.0, number=molarity, sample_ml=50.0).so2_mg_l == pytest.approx(printed, rel=1.1e-3)


# Regulation (EEC) 2676/90, free: 6.4 n on 50 mL of wine with 0.01 mol/L NaOH. 16 n on 20 mL: OIV-MA-AS323-04A, from
# memory.
@pytest.mark.parametrize(("sample_ml", "printed"), [(50.0, 6.4), (20.0, 16.0)])
def test_the_factors_that_are_printed_for_aeration(sample_ml: float, printed: float) -> None:
    for quantity in So2Quantity:
        found = aeration(1.0, sample_ml=sample_ml, quantity=quantity).so2_mg_l
        assert found == pytest.approx(printed, rel=1.1e-3)


# Grams of KIO3 in a litre (M = 214.00 g/mol, IUPAC atomic masses) and mg/L for one mL on 25 mL of wine.
@pytest.mark.parametrize(("kio3_g_l", "factor"), [(0.7133, 25.6), (0.3567, 12.8), (0.2786, 10.0)])
def test_iodate_factors(kio3_g_l: float, factor: float) -> None:
    done = iodometric(1.0, number=kio3_g_l / 214.00, meaning=Meaning.IODATE_MOLARITY)
    assert done.so2_mg_l == pytest.approx(factor, abs=0.05)


# ---- worked by hand ------------------------------------------------------------------------------------------------


def test_a_free_titration() -> None:
    """(1.20 - 0.20) x 0.02 x 32.03 x 1000 / 25 = 25.624; with a factor of 0.95 24.343 mg/L."""
    assert iodometric(1.20, blank_ml=0.20).so2_mg_l == pytest.approx(25.624)
    assert iodometric(1.20, blank_ml=0.20, factor=0.95).so2_mg_l == pytest.approx(24.3428)
    assert iodometric(1.20, blank_ml=0.20, factor=None).so2_mg_l == pytest.approx(25.624)


def test_a_total_in_three_steps() -> None:
    """0.70 + 2.10 + 0.30 mL of 0.025 mol/L iodine on 50 mL, blank 0.25 mL: 2.85 x 32.03 = 91.29 mg/L."""
    done = iodometric(0.70 + 2.10 + 0.30, number=0.025, sample_ml=50.0, blank_ml=0.25, quantity=So2Quantity.TOTAL)
    assert done.so2_mg_l == pytest.approx(91.2855)


def test_flasks_are_averaged() -> None:
    """Mean of 4.0, 4.1 and 4.2 mL: 4.1 x 6.406 = 26.26 mg/L."""
    assert aeration(4.0, 4.1, 4.2).so2_mg_l == pytest.approx(26.2646)


@pytest.mark.parametrize(("titre", "blank"), [(0.2, 0.3), (0.3, 0.3), (0.0, 0.0)])
def test_not_above_the_blank_is_no_result(titre: float, blank: float) -> None:
    assert iodometric(titre, blank_ml=blank).so2_mg_l is None


def test_a_blank_in_mg_l() -> None:
    """OIV-MA-AS323-04B, from memory: 0.2 to 0.3 mL of 0.025 mol/L iodine on 50 mL are 6 to 10 mg/L."""
    low, high = (iodometric(1.0, number=0.025, sample_ml=50.0, blank_ml=ml).blank_mg_l for ml in (0.2, 0.3))
    assert [low, high] == pytest.approx([6.406, 9.609])


# ---- laws ----------------------------------------------------------------------------------------------------------

TITRE = st.floats(1.0, 50.0)
STRENGTH = st.floats(0.002, 0.1)
SAMPLE = st.floats(5.0, 100.0)


def _found(done: Titration) -> float:
    assert done.so2_mg_l is not None
    return done.so2_mg_l


@given(TITRE, STRENGTH, SAMPLE, st.floats(0.5, 1.5))
def test_it_is_proportional(titre: float, number: float, sample: float, factor: float) -> None:
    once = _found(iodometric(titre, number=number, sample_ml=sample))
    assert once > 0.0
    assert _found(iodometric(2.0 * titre, number=number, sample_ml=sample)) == pytest.approx(2.0 * once)
    assert _found(iodometric(titre, number=2.0 * number, sample_ml=sample)) == pytest.approx(2.0 * once)
    assert _found(iodometric(titre, number=number, sample_ml=2.0 * sample)) == pytest.approx(0.5 * once)
    assert _found(iodometric(titre, number=number, sample_ml=sample, factor=factor)) == pytest.approx(factor * once)
    by_iodate = iodometric(titre, number=number / 3.0, meaning=Meaning.IODATE_MOLARITY, sample_ml=sample)
    assert _found(by_iodate) == pytest.approx(once)


@given(TITRE, st.floats(0.0, 0.9))
def test_the_blank_is_taken_off(titre: float, blank: float) -> None:
    with_blank = iodometric(titre, blank_ml=blank)
    assert _found(with_blank) + with_blank.blank_mg_l == pytest.approx(_found(iodometric(titre)))


@given(st.lists(TITRE, min_size=1, max_size=10))
def test_the_mean_is_the_mean_of_the_flasks(titres: list[float]) -> None:
    each = [_found(iodometric(titre)) for titre in titres]
    assert _found(iodometric(*titres)) == pytest.approx(sum(each) / len(each))
    assert iodometric(*titres).so2_mg_l == pytest.approx(_found(iodometric(*reversed(titres))))


@given(TITRE, st.floats(0.001, 10.0))
def test_more_titrant_is_more_so2_and_more_uncertain(titre: float, more: float) -> None:
    low, high = iodometric(titre), iodometric(titre + more)
    assert _found(high) > _found(low)
    assert uncertainty_of(high, _found(high)).combined >= uncertainty_of(low, _found(low)).combined


# ---- uncertainty ---------------------------------------------------------------------------------------------------


def test_the_parts_of_an_iodometric_result() -> None:
    """0.05 mL at 25.624 mg/L per mL are 1.28 mg/L; rectangular 1.2812 / sqrt 3 = 0.7397 (GUM 4.3.7)."""
    parts = uncertainty_of(iodometric(1.0), 25.624)
    assert parts.reading == pytest.approx(0.7397, abs=1e-4)
    assert parts.strength == pytest.approx(0.005 * 25.624)
    assert parts.sample == pytest.approx(0.01 * 25.624 / sqrt(3))
    assert (parts.spread, parts.method) == (0.0, 1.5)
    assert parts.combined == pytest.approx(1.6842, abs=1e-3)


# Reading alone: 0.05 mL are 1.3 mg/L with 0.02 eq/L on 25 mL, 0.5 with 1/128 eq/L on 25 mL, 1.6 with 0.025 mol/L on
# 50 mL (worked out by hand).
@pytest.mark.parametrize(
    ("normality", "sample_ml", "half_width"), [(0.02, 25.0, 1.3), (1 / 128, 25.0, 0.5), (0.05, 50.0, 1.6)]
)
def test_the_reading_error(normality: float, sample_ml: float, half_width: float) -> None:
    done = iodometric(1.0, number=normality, meaning=Meaning.NORMALITY, sample_ml=sample_ml)
    assert uncertainty_of(done, 0.0).reading * sqrt(3) == pytest.approx(half_width, abs=0.05)


def test_a_blank_is_read_too_and_flasks_halve_their_own_reading_only() -> None:
    plain, blanked = iodometric(1.0), iodometric(1.0, blank_ml=0.2)
    four = iodometric(1.0, 1.0, 1.0, 1.0)
    one = uncertainty_of(plain, 20.0).reading
    assert uncertainty_of(blanked, 20.0).reading == pytest.approx(sqrt(2) * one)
    assert uncertainty_of(four, 20.0).reading == pytest.approx(one / 2)
    both = uncertainty_of(iodometric(1.0, 1.0, 1.0, 1.0, blank_ml=0.2), 20.0).reading
    assert both == pytest.approx(sqrt(1.25) * one)


def test_the_spread_of_the_flasks() -> None:
    """4.0, 4.1, 4.2 mL: standard deviation 0.1 mL, of the mean 0.1 / sqrt 3; at 6.406 mg/L per mL 0.3698 mg/L."""
    assert uncertainty_of(aeration(4.0, 4.1, 4.2), 26.0).spread == pytest.approx(0.3698, abs=1e-4)


def test_a_label_alone_makes_the_strength_the_less_certain() -> None:
    """5 % rectangular: 2.887 %."""
    label = uncertainty_of(iodometric(1.0, factor=None), 100.0).strength
    assert label == pytest.approx(2.887, abs=1e-3)
    assert uncertainty_of(iodometric(1.0), 100.0).strength == 0.5
    by_iodate = iodometric(1.0, number=0.003333, meaning=Meaning.IODATE_MOLARITY, factor=None)
    assert uncertainty_of(by_iodate, 100.0).strength == 0.5


# R = 9 and 15 mg/L (Regulation (EEC) 2676/90), divided by 2.8 (ISO 5725-6).
@pytest.mark.parametrize(
    ("sample_ml", "so2", "u"), [(50.0, 50.0, 3.214), (50.0, 50.1, 5.357), (20.0, 49.0, 5.357), (20.0, 90.0, 5.357)]
)
def test_the_precision_of_total_by_aeration(sample_ml: float, so2: float, u: float) -> None:
    done = aeration(5.0, sample_ml=sample_ml, quantity=So2Quantity.TOTAL)
    assert uncertainty_of(done, so2).method == pytest.approx(u, abs=1e-3)


@pytest.mark.parametrize(("so2", "u"), [(0.0, 1.5), (30.0, 1.5), (30.2, 1.51), (100.0, 5.0)])
def test_the_precision_elsewhere_is_a_working_default(so2: float, u: float) -> None:
    for done in (aeration(5.0), iodometric(5.0), iodometric(5.0, quantity=So2Quantity.TOTAL)):
        assert uncertainty_of(done, so2).method == pytest.approx(u)


# ---- burette -------------------------------------------------------------------------------------------------------


def test_a_titre_from_two_readings() -> None:
    assert titre_ml(0.30, 8.25) == pytest.approx(7.95)
    assert titre_ml(25.0, 25.0) == 0.0
    assert titre_ml(0.0, 40.0, 50.0) == 40.0


@pytest.mark.parametrize(
    ("start", "end", "told"),
    [
        (8.0, 0.3, "are the two swapped?"),
        (-0.1, 5.0, "start is -0.1 mL"),
        (0.0, 100.1, "end is 100.1 mL, and its marks go from 0 to 100 mL"),
        (0.0, float("nan"), "end is nan mL"),
    ],
)
def test_readings_that_a_burette_cannot_show(start: float, end: float, told: str) -> None:
    with pytest.raises(TitrationRefused, match=told) as caught:
        titre_ml(start, end)
    assert caught.value.field == "burette"


# ---- refusals ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("value", [-0.01, 1000.1, float("nan"), float("inf")])
def test_volumes_that_cannot_be(value: float) -> None:
    good = iodometric(1.0)
    with pytest.raises(TitrationRefused, match="allowed are 0 to 1000 mL") as titre:
        iodometric(1.0, value)
    with pytest.raises(TitrationRefused, match="allowed are 0 to 1000 mL") as blank:
        replace(good, blank_ml=value)
    with pytest.raises(TitrationRefused, match=r"allowed are 0\.1 to 1000 mL") as sample:
        replace(good, sample_ml=value)
    with pytest.raises(TitrationRefused, match=r"allowed are 0\.1 to 1000 mL") as burette:
        replace(good, burette_ml=value)
    fields = [caught.value.field for caught in (titre, blank, sample, burette)]
    assert fields == ["titre", "blank", "sample", "burette"]


@pytest.mark.parametrize("flasks", [0, 11])
def test_the_number_of_flasks(flasks: int) -> None:
    with pytest.raises(TitrationRefused, match=f"1 to 10 flasks, not {flasks}"):
        iodometric(*[1.0] * flasks)


def test_a_titrant_of_the_other_method() -> None:
    iodine, soda = iodometric(1.0).bottle, aeration(1.0).bottle
    with pytest.raises(TitrationRefused, match="the aeration method takes sodium hydroxide, not iodine") as caught:
        replace(aeration(1.0), bottle=iodine)
    assert caught.value.field == "strength"
    with pytest.raises(TitrationRefused, match="takes iodine or iodide-iodate, not sodium hydroxide"):
        replace(iodometric(1.0), bottle=soda)


def test_an_end_point_that_cannot_be() -> None:
    with pytest.raises(TitrationRefused, match="aeration ends at a pH"):
        replace(aeration(1.0), end_point_s=15.0)
    for seconds in (0.0, -1.0, float("nan")):
        with pytest.raises(TitrationRefused, match="such as 15"):
            replace(iodometric(1.0), end_point_s=seconds)


def test_words_for_the_style() -> None:
    assert [Style(word) for word in ("white", "rosé", "rose", "rose\u0301", "red", "sweet")] == [
        Style.WHITE,
        Style.ROSE,
        Style.ROSE,
        Style.ROSE,
        Style.RED,
        Style.SWEET,
    ]
    with pytest.raises(ValueError, match="blue"):
        Style("blue")
