"""Amounts of gas, pressures and hours as people read them: a range, rounded to what it is uncertain by. Pure."""

from __future__ import annotations

__all__ = [
    "compensated_text",
    "headspace_text",
    "hours_text",
    "rate_pressure_text",
    "rate_text",
]

import math
from typing import Final

from alerts.view.format import counted, unit_name, value_text
from ingest.cellar import NOT_FORESEEN_H, difference_in_unit, value_in_unit

# Two standard uncertainties: what a range states.
_COVERAGE: Final = 2.0
_DAY_H: Final = 24.0
# From so many hours on, a time is said in days.
_IN_DAYS_H: Final = 72.0
_IN_MINUTES_H: Final = 2.0
# A fall as fast as this is felt in an hour, kPa a day.
_FAST_KPA_DAY: Final = 240.0
_LITRE_ML: Final = 1000.0
_MOST_DECIMALS: Final = 4


def rate_text(rate_ml_min: float, u_ml_min: float | None) -> str:
    """Say how much gas is lost or comes in: "0.4 to 0.6 mL a minute". rate: mL/min, its sign does not matter here."""
    rate, margin = abs(rate_ml_min), _COVERAGE * (u_ml_min or 0.0)
    if rate >= _LITRE_ML:
        return f"{_range((rate - margin) / _LITRE_ML, (rate + margin) / _LITRE_ML)} L a minute"
    return f"{_range(rate - margin, rate + margin)} mL a minute"


def rate_pressure_text(kpa_day: float, rate_ml_min: float | None, u_ml_min: float | None, units: str) -> str:
    """Say the same as a fall or rise of pressure: "4 to 6 kPa a day", of an hour where it is fast.

    kpa_day: kPa a day; rate_ml_min, u_ml_min: what it is uncertain by, in proportion; units: the site's.
    """
    share = 0.0 if not rate_ml_min or u_ml_min is None else _COVERAGE * u_ml_min / abs(rate_ml_min)
    unit = unit_name("pressure", units)
    a_day = difference_in_unit("pressure", abs(kpa_day), unit)
    if abs(kpa_day) < _FAST_KPA_DAY:
        return f"{_range(a_day * (1 - share), a_day * (1 + share))} {unit} a day"
    an_hour = a_day / _DAY_H
    return f"{_range(an_hour * (1 - share), an_hour * (1 + share))} {unit} an hour"


def hours_text(low_h: float | None, high_h: float | None) -> str:
    """Say a time as a range: "11 to 16 hours", "3 to 5 days", "at least 11 hours"; "" where none is foreseen."""
    if low_h is None or low_h >= NOT_FORESEEN_H:
        return ""
    open_end = high_h is None or high_h >= NOT_FORESEEN_H
    longest = low_h if high_h is None or open_end else high_h
    if longest >= _IN_DAYS_H:
        unit, size = "day", _DAY_H
    elif longest >= _IN_MINUTES_H:
        unit, size = "hour", 1.0
    else:
        unit, size = "minute", 1.0 / 60.0
    # The early end is rounded down: what is said to last must last.
    low = math.floor(low_h / size + 1e-6)
    if open_end:
        return f"at least {counted(low, unit)}" if low else "perhaps at once"
    high = low if high_h == low_h else math.ceil(longest / size - 1e-6)
    if high <= low:
        return f"about {counted(low, unit)}"
    if low == 0:
        return f"at most {counted(high, unit)}"
    return f"{low} to {counted(high, unit)}"


def compensated_text(kpa: float, u_kpa: float | None, reference_c: float | None, units: str) -> str:
    """Say the pressure that the gas would have at a temperature: "36 ± 2 kPa at 15 °C"."""
    at = "compensated"
    if reference_c is not None:
        unit = unit_name("temperature", units)
        at = f"at {value_in_unit('temperature', reference_c, unit):.3g} {unit}"
    if u_kpa is None:
        return f"{value_text('pressure', kpa, units)} {at}"
    unit = unit_name("pressure", units)
    number, margin = (difference_in_unit("pressure", each, unit) for each in (kpa, _COVERAGE * u_kpa))
    decimals = _decimals(margin)
    return f"{_fixed(number, decimals)} ± {_fixed(max(margin, 10.0**-decimals), decimals)} {unit} {at}"


def headspace_text(litres: float, u_litres: float | None) -> str:
    """Say how large the headspace is: "2.0 ± 0.3 L"; "up to 5 L" where that is all that is known."""
    if u_litres is None:
        return f"{litres:.1f} L"
    if _COVERAGE * u_litres >= litres:
        return f"up to {_fixed(litres + _COVERAGE * u_litres, 0)} L"
    decimals = _decimals(_COVERAGE * u_litres)
    return f"{_fixed(litres, decimals)} ± {_fixed(_COVERAGE * u_litres, decimals)} L"


def _range(low: float, high: float) -> str:
    """Two numbers with as many digits as their distance leaves; "about" one where they are the same then."""
    decimals = _decimals((high - low) / 2) if high > low else _digits(high)
    least, most = _fixed(max(low, 0.0), decimals), _fixed(high, decimals)
    if float(most) == float(least):
        return f"about {most}"
    return f"up to {most}" if float(least) == 0 else f"{least} to {most}"


def _decimals(margin: float) -> int:
    """How many decimals mean something beside a margin: up to its first digit; less than 0 for tens and hundreds."""
    if margin <= 0:
        return 1
    return min(-math.floor(math.log10(margin) + 1e-9), _MOST_DECIMALS)


def _digits(number: float) -> int:
    """Decimals for two digits of a number of unknown uncertainty."""
    return 1 if number <= 0 else min(max(0, 1 - math.floor(math.log10(number))), _MOST_DECIMALS)


def _fixed(number: float, decimals: int) -> str:
    text = f"{round(number, decimals):.{max(decimals, 0)}f}"
    return text.removeprefix("-") if float(text) == 0 else text
