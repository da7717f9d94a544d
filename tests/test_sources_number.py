"""Plain numbers: what is one, what is none, and why."""

from __future__ import annotations

import math
from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import Unreadable
from ingest.sources.number import parse_number


def reason(text: str | bytes, decimal: Literal[".", ","] = ".") -> str:
    with pytest.raises(Unreadable) as caught:
        parse_number(text, decimal=decimal)
    return caught.value.reason


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("21.5", 21.5),
        (" 21.5\r\n", 21.5),
        ("\t-21.5 ", -21.5),
        ("+21.5", 21.5),
        ("+021.50", 21.5),
        (".5", 0.5),
        ("5.", 5.0),
        ("1e-3", 0.001),
        ("1E+3", 1000.0),
        ("-0", 0.0),
        ("7\r", 7.0),
        ("7\n", 7.0),
    ],
)
def test_a_number_is_read_from_text_and_from_bytes(text: str, value: float) -> None:
    assert parse_number(text) == value
    assert parse_number(text.encode()) == value


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("nan", "not finite"),
        ("NaN", "not finite"),
        ("inf", "not finite"),
        ("-Infinity", "not finite"),
        ("1e400", "not finite"),
        ("1_000", "not a number"),
        ("\u0662\u0661", "not a number"),  # Arabic-Indic digits
        ("\uff12\uff11.\uff15", "not a number"),  # full-width digits
        ("21,5", "decimal comma"),
        (",5", "decimal comma"),
        ("21.5,3.42", "not a number"),
        ("1.234,5", "not a number"),
        ("21.5C", "not a number"),
        ("0x10", "not a number"),
        ("", "empty"),
        (" \r\n", "empty"),
        ("\ufeff21.5", "not a number"),
        ("21.5\0", "not a number"),
        ("\x0b21.5", "not a number"),
        ("\n21.5", "not a number"),
        ("+", "not a number"),
        (".", "not a number"),
        ("e5", "not a number"),
        ("1 2", "not a number"),
        ("true", "not a number"),
        ("----", "not a number"),
        ("OL", "not a number"),
        ("2" * 65, "too long"),
    ],
)
def test_what_is_no_number_is_refused_with_its_reason(text: str, why: str) -> None:
    assert reason(text) == why
    assert reason(text.encode()) == why


def test_latin_1_bytes_are_refused_not_raised_as_something_else() -> None:
    assert reason(b"21.5\xb0") == "not a number"
    assert reason(b"\xb2\xb3") == "not a number"  # superscript two and three


def test_64_bytes_are_the_limit() -> None:
    assert parse_number("0" * 63 + "7") == 7.0
    assert reason("0" * 64 + "7") == "too long"


def test_the_reject_shows_what_was_found() -> None:
    with pytest.raises(Unreadable, match=r"^not a number: '21\.5C'$"):
        parse_number(b"21.5C")


@pytest.mark.parametrize(("text", "value"), [("21,5", 21.5), (" -,5\r\n", -0.5), ("3", 3.0), ("1,5e2", 150.0)])
def test_a_decimal_comma_is_read_where_it_is_declared(text: str, value: float) -> None:
    assert parse_number(text, decimal=",") == value
    assert parse_number(text.encode(), decimal=",") == value


@pytest.mark.parametrize("text", ["21.5", "1.234,5", "1,234,567", "21,5 C"])
def test_a_point_is_refused_where_the_comma_is_declared(text: str) -> None:
    assert reason(text, ",") == "not a number"


def test_not_finite_with_a_comma() -> None:
    assert reason("1,5e400", ",") == "not finite"


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_finite_double_survives_its_own_text(number: float) -> None:
    assert parse_number(repr(number)) == number
    assert parse_number(repr(number).replace(".", ","), decimal=",") == number


@given(st.one_of(st.text(), st.binary(), st.text(alphabet="0123456789+-.,eE_ \t\r\nnaif")))
def test_anything_is_a_finite_number_or_is_refused_with_a_known_reason(text: str | bytes) -> None:
    try:
        number = parse_number(text)
    except Unreadable as refused:
        assert refused.reason in {"empty", "not a number", "not finite", "decimal comma", "too long"}
    else:
        assert math.isfinite(number)
        assert number == float(text)
