"""Amounts as a review gives them: as many digits as mean something, and never an exponent."""

from __future__ import annotations

__all__ = ["gas_span", "gas_text", "milligrams", "minutes_span", "number_text"]

from math import floor, log10


def number_text(number: float, digits: int) -> str:
    """Write a number with so many digits that count, in full: 1,430, 14.3, 0.0143."""
    if number == 0.0:
        return "0"
    places = digits - 1 - floor(log10(abs(number)))
    if places <= 0:
        return f"{round(number, places):,.0f}"
    text = f"{number:.{places}f}"
    return text.rstrip("0").rstrip(".")


def gas_text(litres: float) -> str:
    """Write an amount of gas [L at 15 °C and 101.325 kPa]."""
    return f"{number_text(litres, 3)} L"


def gas_span(low_l: float, high_l: float) -> str:
    """Write an amount of gas that lies between two, in L."""
    return gas_text(high_l) if low_l > 0.98 * high_l else f"{number_text(low_l, 3)} to {gas_text(high_l)}"


def minutes_span(low: float, high: float) -> str:
    """Write a time that lies between two, in minutes."""
    if low > 0.95 * high:
        return f"{number_text(high, 2)} min"
    return f"{number_text(low, 2)} to {number_text(high, 2)} min"


def milligrams(mg_l: float) -> str:
    """Write a concentration [mg/L] without its unit."""
    return number_text(mg_l, 2)
