"""Amounts as a review gives them."""

from __future__ import annotations

__all__ = ["gas_span", "gas_text", "milligrams", "minutes_span"]

from alerts.number_text import number_text


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
