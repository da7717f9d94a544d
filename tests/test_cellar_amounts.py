"""Amounts: text with a unit becomes a number in ours."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.cellar import Dimension, PressureKind, conversion, parse_amount, split_amount
from ingest.cellar.amounts import Span
from ingest.cellar.units import UNITS

_UNITS = [(dimension, unit) for dimension in Dimension for unit in UNITS[dimension]]


@given(st.sampled_from(_UNITS), st.floats(-1e9, 1e9), st.sampled_from(["", " ", "  "]))
def test_what_is_written_is_read(kind: tuple[Dimension, str], number: float, gap: str) -> None:
    dimension, unit = kind
    read = parse_amount(f"{number!r}{gap}{unit}", dimension=dimension, unit=unit, example="")
    assert (read.number, read.unit_text) == (number, unit)


@given(st.sampled_from(_UNITS), st.floats(-1e6, 1e6), st.data())
def test_there_and_back(kind: tuple[Dimension, str], number: float, data: st.DataObject) -> None:
    dimension, unit = kind
    other = data.draw(st.sampled_from(sorted(UNITS[dimension])))
    there = parse_amount(f"{number!r} {unit}", dimension=dimension, unit=other, example="").number
    gain, offset = conversion(dimension, other, unit)
    assert gain * there + offset == pytest.approx(number, rel=1e-9, abs=1e-6)


@given(st.text())
def test_any_text_is_an_amount_or_a_told_error(text: str) -> None:
    try:
        read = parse_amount(text, dimension=Dimension.VOLUME, unit="L", example="19.5 L")
    except ValueError as error:
        assert str(error)
    else:
        assert math.isfinite(read.number)
        assert read.unit_text in UNITS[Dimension.VOLUME]


@pytest.mark.parametrize(
    ("text", "number", "unit"),
    [("19.5 L", 19.5, "L"), ("-3°C", -3.0, "°C"), ("−3 °C", -3.0, "°C"), (".5 h", 0.5, "h"), ("1e3 Pa", 1000.0, "Pa")],
)
def test_ways_to_write(text: str, number: float, unit: str) -> None:
    assert split_amount(text) == (number, unit)


@pytest.mark.parametrize(
    ("value", "told"),
    [
        (19.5, 'write it as text with its unit, such as "19.5 L"'),
        (22, 'write it as text with its unit, such as "22 L"'),
        (True, 'write it as text with its unit, such as "19.5 L"'),
        (["19.5 L"], 'write it as text with its unit, such as "19.5 L"'),
        ("19,5 L", 'write the decimal as a point, without thousands separators: "19.5 L"'),
        ("L 19.5", "this does not begin with a number; write the number, then its unit"),
        ("nan L", "this does not begin with a number; write the number, then its unit"),
        ("1e999 L", "the number is too large"),
        ("1e308 m3", "the number is too large"),
        ("19.5", "the unit is missing; allowed for a volume: L, mL, hL, m3, gal"),
        ("19٫5 L", 'there is no unit "٫5 L"; allowed for a volume: L, mL, hL, m3, gal'),
    ],
)
def test_what_is_no_amount(value: object, told: str) -> None:
    with pytest.raises(ValueError) as caught:
        parse_amount(value, dimension=Dimension.VOLUME, unit="L", example="19.5 L")
    assert str(caught.value) == told


def test_ph_needs_no_unit() -> None:
    for value in (3.5, "3.5", "3.5 pH"):
        assert parse_amount(value, dimension=Dimension.PH, unit="pH", example="3.5 pH").number == 3.5


@pytest.mark.parametrize(
    ("text", "pressure", "told"),
    [
        ("156 kPa absolute", "gauge", "this is absolute pressure, but gauge pressure is asked for"),
        ("22 psia", "gauge", "this is absolute pressure, but gauge pressure is asked for"),
        ("8 psig", "absolute", "this is gauge pressure, but absolute pressure is asked for"),
        ("1 kPa gauge", "difference", "this is gauge pressure, but a difference of pressure is asked for"),
    ],
)
def test_pressures_of_another_kind(text: str, pressure: PressureKind, told: str) -> None:
    with pytest.raises(ValueError) as caught:
        parse_amount(text, dimension=Dimension.PRESSURE, unit="kPa", example="55 kPa", pressure=pressure)
    assert str(caught.value) == f'{told}, such as "55 kPa"'


def test_a_bare_pressure_takes_the_kind_that_is_asked_for() -> None:
    kinds: tuple[PressureKind, ...] = ("gauge", "absolute", "difference")
    for kind in kinds:
        read = parse_amount("2 bar", dimension=Dimension.PRESSURE, unit="kPa", example="", pressure=kind)
        assert read.number == 200.0


@pytest.mark.parametrize(
    ("span", "told"),
    [
        (Span(0.1, 60.0), "from 0.1 to 60 s"),
        (Span(0.0, 5.0, above=True), "above 0 to 5 s"),
        (Span(0.0), "at least 0 s"),
        (Span(0.0, above=True), "more than 0 s"),
        (Span(high=9.0), "at most 9 s"),
    ],
)
def test_a_span_in_words(span: Span, told: str) -> None:
    assert span.text("s") == told


def test_a_span_leaves_its_low_end_out_where_it_says_so() -> None:
    assert Span(0.0, 1.0).holds(0.0)
    assert not Span(0.0, 1.0, above=True).holds(0.0)
    assert Span(0.0, 1.0).holds(1.0)
    assert not Span(0.0, 1.0).holds(1.1)
