"""Numbers as people read them: as many digits as mean something, and never an exponent."""

from __future__ import annotations

__all__ = ["number_text"]

from math import floor, log10


def number_text(number: float, digits: int) -> str:
    """Write a finite number with so many digits that count, in full: 1,430, 14.3, 0.0143.

    Digits before the decimal point that are beyond are zeros; zeros at the end behind it are left out.
    """
    if number == 0.0:
        return "0"
    places = digits - 1 - floor(log10(abs(number)))
    if places <= 0:
        return f"{round(number, places):,.0f}"
    text = f"{number:,.{places}f}"
    return text.rstrip("0").rstrip(".")
