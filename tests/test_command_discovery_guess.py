"""What a number may be, from the names around it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.command.discovery.quantity_guess import Guess, guess, words_of
from ingest.cellar import series_unit_conversion


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("gasPressure_kPa", ["gas", "pressure", "kpa"]),
        ("kPa", ["kpa"]),
        ("pH", ["ph"]),
        ("temp_c", ["temp", "c"]),
        ("tempC", ["temp", "c"]),
        ("K1 T=", ["k", "t"]),
        ("", []),
    ],
)
def test_a_name_is_cut_into_its_parts(name: str, words: list[str]) -> None:
    assert words_of(name) == words


@pytest.mark.parametrize(
    ("names", "unit_text", "number", "meant"),
    [
        (["gas", "kPa"], "", 54.2, Guess("pressure", "kPa")),
        (["pressure"], "", 8.0, Guess("pressure")),
        (["k1", "psi"], "", 8.0, Guess("pressure", "psi")),
        (["T"], "°C", 11.8, Guess("temperature", "degC")),
        (["T"], "C", 11.8, Guess("temperature", "degC")),
        (["temp_f"], "", 55.0, Guess("temperature", "degF")),
        (["temperature"], "", 12.0, Guess("temperature")),
        (["pH"], "", 3.4, Guess("pH")),
        (["weather", "baro_hPa"], "", 985.0, Guess("barometric_pressure", "hPa")),
        (["weather", "pressure"], "", 98.5, Guess("barometric_pressure")),
        (["box", "hPa"], "", 985.0, Guess(None, "hPa", "barometric_pressure")),
        (["box", "hPa"], "", 120.0, Guess("pressure", "hPa")),
        (["box", "Pa"], "", 98500.0, Guess(None, "Pa", "barometric_pressure")),
        (["box", "Pa"], "", 3000.0, Guess(None, "Pa", "pressure")),
        (["weather", "Pa"], "", 98500.0, Guess("barometric_pressure", "Pa")),
        (["P"], "", 54.2, Guess(likely="pressure")),
        (["T"], "", 11.8, Guess()),
        (["x"], "kg", 11.8, Guess()),
        ([], "", None, Guess()),
    ],
)
def test_what_is_clear_is_said_and_what_is_not_is_left_open(
    names: list[str], unit_text: str, number: float | None, meant: Guess
) -> None:
    assert guess(names, unit_text, number) == meant


@given(st.lists(st.text(max_size=12), max_size=4), st.text(max_size=6), st.floats(allow_nan=False))
def test_a_unit_that_is_said_is_one_of_its_quantity(names: list[str], unit_text: str, number: float) -> None:
    meant = guess(names, unit_text, number)
    if meant.unit is not None:
        series_unit_conversion(meant.quantity or meant.likely, meant.unit)
