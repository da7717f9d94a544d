"""Amounts: a number with its unit, as text, becomes a number in our unit.

``"19.5 L"`` is an amount. A bare number where a unit is needed is refused, so that nobody has to guess. Gauge pressure,
absolute pressure and a difference of pressure are three things: a unit that says ``absolute`` does not fit a key that
wants gauge, and a difference takes a unit that says neither.
"""

from __future__ import annotations

__all__ = ["DAY_S", "Amount", "Span", "amount", "as_meant", "parse_amount", "split_amount"]

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

from pydantic import BeforeValidator

from ingest.cellar.units import UNITS, Dimension, conversion, find_unit, normal_unit

DAY_S: Final = 86_400

PressureKind = Literal["gauge", "absolute", "difference"]

_AMOUNT: Final = re.compile(r"\s*([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)\s*(.*)", re.DOTALL)
_COMMA: Final = re.compile(r"\s*[+-]?[0-9]*,[0-9]+")
_DECIMAL_COMMA: Final = re.compile(r"\s*([+-]?)([0-9]*),([0-9]+)(?![0-9.,])\s*(.*)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Amount:
    """A number in the unit that was asked for, and the unit as it was written."""

    number: float
    unit_text: str


@dataclass(frozen=True, slots=True)
class Span:
    """What an amount may be: low and high, in the unit that was asked for; ``above`` leaves low itself out."""

    low: float = -math.inf
    high: float = math.inf
    above: bool = False

    def holds(self, number: float) -> bool:
        """Say whether a number lies in the span."""
        return (number > self.low if self.above else number >= self.low) and number <= self.high

    def text(self, unit: str) -> str:
        """Put the span into words, such as ``from 0.1 to 60 s``."""
        tail = f" {unit}" if unit else ""
        if math.isinf(self.high):
            return f"{'more than' if self.above else 'at least'} {self.low:g}{tail}"
        if math.isinf(self.low):
            return f"at most {self.high:g}{tail}"
        return f"{'above' if self.above else 'from'} {self.low:g} to {self.high:g}{tail}"


def split_amount(text: str) -> tuple[float, str]:
    """Split an amount into its number and its unit's text. Raises ValueError that says how an amount is written."""
    plain = text.replace("\N{MINUS SIGN}", "-")
    if _COMMA.match(plain):
        raise ValueError("write the decimal as a point, without thousands separators")
    match = _AMOUNT.fullmatch(plain)
    if match is None:
        raise ValueError("this does not begin with a number; write the number, then its unit")
    number = float(match.group(1))
    if not math.isfinite(number):
        raise ValueError("the number is too large")
    return number, normal_unit(match.group(2))


def as_meant(text: str, read: Callable[[str], object]) -> str:
    """Give the end of a message about an amount: how what was typed is written, "" where that is not certain.

    Only a decimal comma is put right, and only if ``read`` takes the result. A comma before exactly three digits may
    part thousands, so then nothing is suggested.
    """
    match = _DECIMAL_COMMA.fullmatch(text.replace("\N{MINUS SIGN}", "-"))
    if match is None:
        return ""
    sign, whole, decimals, unit = match.groups()
    if len(decimals) == 3 and whole.strip("0"):
        return ""
    meant = f"{sign}{whole or 0}.{decimals} {normal_unit(unit)}".rstrip()
    try:
        read(meant)
    except ValueError:
        return ""
    return f': "{meant}"'


def parse_amount(
    value: object, *, dimension: Dimension, unit: str, example: str, pressure: PressureKind | None = None
) -> Amount:
    """Turn what stands in the file into a number in ``unit``.

    value: text such as ``"8 psi"``; where the dimension needs no unit (pH, ratio) a bare number will do;
    example: how it is written, for the error; pressure: what a pressure must be counted from.
    Raises ValueError whose text is fit for the reader of the file.
    """
    if isinstance(value, int | float) and not isinstance(value, bool):
        if "" not in UNITS[dimension]:
            # The number as it was typed, with the unit of the example: which one is meant, only its writer knows.
            raise ValueError(f'write it as text with its unit, such as "{value:.15g} {split_amount(example)[1]}"')
        value = str(value)
    if not isinstance(value, str):
        raise ValueError(f'write it as text with its unit, such as "{example}"')
    try:
        number, unit_text = split_amount(value)
    except ValueError as error:
        meant = as_meant(
            value, lambda text: parse_amount(text, dimension=dimension, unit=unit, example=example, pressure=pressure)
        )
        raise ValueError(f"{error}{meant}") from None
    written = find_unit(dimension, unit_text)
    if pressure is not None and written.reference is not None and written.reference != pressure:
        wanted = "a difference of pressure" if pressure == "difference" else f"{pressure} pressure"
        raise ValueError(f'this is {written.reference} pressure, but {wanted} is asked for, such as "{example}"')
    gain, offset = conversion(dimension, unit_text, unit)
    result = gain * number + offset
    if not math.isfinite(result):
        raise ValueError("the number is too large")
    return Amount(result, unit_text)


def amount(
    dimension: Dimension,
    unit: str,
    example: str,
    span: Span,
    *,
    pressure: PressureKind | None = None,
    whole: bool = False,
) -> BeforeValidator:
    """Make a pydantic validator for a key that holds an amount; ``whole`` asks for a whole number of ``unit``."""

    def read(value: object) -> float:
        number = parse_amount(value, dimension=dimension, unit=unit, example=example, pressure=pressure).number
        if not span.holds(number):
            raise ValueError(f"must be {span.text(unit)}")
        if whole and number != round(number):
            raise ValueError(f"must be a whole number of {unit}")
        return round(number) if whole else number

    return BeforeValidator(read)
