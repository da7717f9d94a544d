"""Numbers as people read them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.number_text import number_text


@pytest.mark.parametrize(
    ("number", "digits", "text"),
    [
        (0.0, 3, "0"),
        (-0.0, 3, "0"),
        (1426.0, 3, "1,430"),
        (1426.0, 4, "1,426"),
        (1e6, 2, "1,000,000"),
        (14.25, 3, "14.2"),
        (20.95, 4, "20.95"),
        (0.5, 3, "0.5"),
        (99.96, 3, "100"),
        (999.6, 3, "1,000"),
        (0.014321, 3, "0.0143"),
        (-48.23, 3, "-48.2"),
        (120.0, 2, "120"),
    ],
)
def test_a_number(number: float, digits: int, text: str) -> None:
    assert number_text(number, digits) == text


@given(st.floats(1e-6, 1e9), st.integers(2, 6))
def test_no_exponent_and_near_enough(number: float, digits: int) -> None:
    text = number_text(number, digits)
    assert "e" not in text
    assert float(text.replace(",", "")) == pytest.approx(number, rel=0.51 * 10.0 ** (1 - digits))
