"""Platinum resistors against the table of IEC 60751."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.cellar import TOLERANCES, resistance_ohm, temperature_c, tolerance_c

# IEC 60751:2022, Pt100 [°C, ohm]; worked out from its coefficients, -200 and -100 also found in a published table.
IEC_60751 = [
    (-200, 18.5201),
    (-100, 60.2558),
    (-20, 92.1599),
    (-10, 96.0859),
    (-5, 98.0444),
    (0, 100.0),
    (5, 101.9527),
    (10, 103.9025),
    (12, 104.6816),
    (15, 105.8495),
    (18, 107.0162),
    (20, 107.7935),
    (25, 109.7347),
    (30, 111.6729),
    (50, 119.3971),
    (100, 138.5055),
    (850, 390.4811),
]


@pytest.mark.parametrize(("celsius", "ohm"), IEC_60751)
def test_the_table_both_ways(celsius: float, ohm: float) -> None:
    assert resistance_ohm(celsius) == pytest.approx(ohm, abs=5.1e-5)
    assert resistance_ohm(celsius, 1000.0) == pytest.approx(10 * ohm, abs=5.1e-4)
    assert temperature_c(ohm) == pytest.approx(celsius, abs=5e-4)
    assert temperature_c(10 * ohm, 1000.0) == pytest.approx(celsius, abs=5e-4)


@given(st.floats(-200, 850), st.sampled_from([100.0, 500.0, 1000.0]))
def test_there_and_back(celsius: float, zero: float) -> None:
    assert temperature_c(resistance_ohm(celsius, zero), zero) == pytest.approx(celsius, abs=1e-8)


def test_below_zero_the_quadratic_alone_would_be_off() -> None:
    """IEC 60751: without the C term -40 °C comes out as -40.0095 °C."""
    ohm = resistance_ohm(-40.0)
    a, b = 3.9083e-3, -5.775e-7
    quadratic = (-a + (a * a - 4 * b * (1 - ohm / 100)) ** 0.5) / (2 * b)
    assert quadratic == pytest.approx(-40.0095, abs=1e-3)
    assert temperature_c(ohm) == pytest.approx(-40.0, abs=1e-9)


@pytest.mark.parametrize("celsius", [-200.01, 850.01, float("nan"), float("inf")])
def test_a_temperature_beyond_the_standard_is_refused(celsius: float) -> None:
    with pytest.raises(ValueError, match="outside -200 to 850 °C"):
        resistance_ohm(celsius)


@pytest.mark.parametrize("ohm", [18.51, 390.49, -1.0, 0.0, 5000.0, float("nan"), float("inf")])
def test_a_resistance_beyond_the_standard_is_refused(ohm: float) -> None:
    with pytest.raises(ValueError, match=r"outside 18\.52 to 390\.48 ohm"):
        temperature_c(ohm)


@pytest.mark.parametrize("zero", [0.0, -100.0, float("nan"), float("inf")])
def test_a_resistor_that_cannot_be(zero: float) -> None:
    with pytest.raises(ValueError, match="a Pt100 has 100"):
        temperature_c(100.0, zero)
    with pytest.raises(ValueError, match="a Pt100 has 100"):
        resistance_ohm(0.0, zero)


# IEC 60751:2022, tolerances at 0, 20 and -40 °C; AA and C are from memory.
@pytest.mark.parametrize(
    ("name", "at_0", "at_20", "at_minus_40"),
    [("AA", 0.1, 0.134, 0.168), ("A", 0.15, 0.19, 0.23), ("B", 0.3, 0.4, 0.5), ("C", 0.6, 0.8, 1.0)],
)
def test_the_tolerance_classes(name: str, at_0: float, at_20: float, at_minus_40: float) -> None:
    assert [tolerance_c(t, name) for t in (0.0, 20.0, -40.0)] == pytest.approx([at_0, at_20, at_minus_40])


def test_a_class_is_known_and_holds_there() -> None:
    assert list(TOLERANCES) == ["AA", "A", "B", "C"]
    with pytest.raises(ValueError, match='no tolerance class "1/3 B"; allowed: AA, A, B, C'):
        tolerance_c(20.0, "1/3 B")
    with pytest.raises(ValueError, match="outside -50 to 250 °C, where class AA holds"):
        tolerance_c(300.0, "AA")
