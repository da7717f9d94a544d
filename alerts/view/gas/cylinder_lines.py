"""A gas cylinder as it was judged: lines for people, an object for programs."""

from __future__ import annotations

__all__ = ["cylinder_content_text", "cylinder_json", "cylinder_lines", "cylinder_of", "cylinder_use_text", "lasts_text"]

import math
from collections.abc import Iterable
from dataclasses import replace
from datetime import tzinfo
from typing import Final

from alerts.cylinders.details import CylinderShown, cylinder_shown
from alerts.view.format import age, local_time, unit_name, value_text
from alerts.view.gas.blanket_values import hours_text
from alerts.watch.turn import is_judged_lately
from ingest.cellar import value_in_unit
from ingest.judgement import Judgement
from ingest.times import iso_utc_known

_DAY_H: Final = 24.0
# Longer than this nobody plans for.
_LONG_D: Final = 400.0


def cylinder_of(judgements: Iterable[Judgement], now_ms: int) -> CylinderShown | None:
    """Give a cylinder by what was judged of it last; None where it is not judged.

    What is too old by now (UTC ms) says nothing of use and days left.
    """
    for judgement in judgements:
        if judgement.name == "cylinder_days_left" and (shown := cylinder_shown(judgement)) is not None:
            if is_judged_lately(judgement.at_ms, now_ms):
                return shown
            old = f"judged {age(now_ms - judgement.at_ms)} ago, and not since then"
            return replace(
                shown,
                use_l_day=None,
                use_low_l_day=None,
                use_high_l_day=None,
                days_low=None,
                days_high=None,
                fast_l_day=None,
                remarks=(old, *shown.remarks),
            )
    return None


def cylinder_lines(shown: CylinderShown, zone: tzinfo, units: str, now_ms: int) -> list[str]:
    """Say what a cylinder holds, how fast that goes and how long it lasts, and what to note."""
    lines = []
    if content := cylinder_content_text(shown, units):
        read = _read_text(shown, zone, now_ms)
        lines.append(f"{'' if shown.content_l is None else 'holds '}{content}{read}")
    use, lasts = cylinder_use_text(shown), lasts_text(shown)
    if use or lasts:
        lines.append("; ".join(part for part in (use, lasts) if part))
    if shown.open_at:
        lines.append(f"supply open at {', '.join(shown.open_at)}")
    if shown.refilled_ms is not None:
        lines.append(f"filled or changed {local_time(shown.refilled_ms, zone, now_ms)}")
    return [*lines, *(f"note: {remark}" for remark in shown.remarks)]


def cylinder_content_text(shown: CylinderShown, units: str) -> str:
    """Say the content: "1,130 ± 30 L (1.34 kg) of nitrogen, gauge 120.0 bar at 14.5 °C"; the gauge alone without one.

    Litres are at 15 °C and 101.325 kPa.
    """
    parts = []
    if shown.content_l is not None:
        kg = "" if shown.content_kg is None else f" ({_significant(shown.content_kg, 3)} kg)"
        parts.append(f"{_litres(shown.content_l, shown.u_content_l)}{kg} of {shown.gas}")
    if shown.raw_kpa is not None:
        warmth = "" if shown.temperature_c is None else f" at {value_text('temperature', shown.temperature_c, units)}"
        in_psi = unit_name("pressure", units) == "psi"
        psi = value_in_unit("pressure", shown.raw_kpa, "psi")
        gauge = f"{psi:.0f} psi" if in_psi else value_text("pressure", shown.raw_kpa, units)
        parts.append(f"gauge {gauge}{warmth}")
    return ", ".join(parts)


def cylinder_use_text(shown: CylinderShown) -> str:
    """Say how much is drawn: "uses 18 to 22 L a day", "no use seen in 28 days", a loss that is faster than usual; ""
    where nothing is known.
    """
    parts = []
    if shown.fast_l_day is not None and shown.fast_hours is not None:
        parts.append(
            f"loses {_significant(shown.fast_l_day, 2)} L a day evenly in the last {shown.fast_hours:.0f} hours, "
            "faster than usual"
        )
    if shown.use_days is not None and not shown.use_seen:
        parts.append(f"no use seen in {math.floor(shown.use_days)} days")
    elif shown.use_low_l_day is not None and shown.use_high_l_day is not None:
        parts.append(f"uses {_range(shown.use_low_l_day, shown.use_high_l_day)} L a day")
    return "; ".join(parts)


def lasts_text(shown: CylinderShown) -> str:
    """Say how long it lasts, down to the reserve: "lasts 46 to 58 days"; "" where its content is not known."""
    if shown.content_l is None:
        return ""
    low, high = shown.days_low, shown.days_high
    if low is None:
        return "how long it lasts cannot be told yet"
    if high == 0.0:
        return "down to its reserve: change it"
    if shown.fast_l_day is not None and low > 0.0:
        return f"lasts {hours_text(low * _DAY_H, low * _DAY_H)} if that goes on"
    if low >= _LONG_D:
        return "lasts for more than a year"
    text = hours_text(low * _DAY_H, None if high is None or high >= _LONG_D else high * _DAY_H)
    return "may be down to its reserve now" if text == "perhaps at once" else f"lasts {text}"


def cylinder_json(shown: CylinderShown) -> dict[str, object]:
    """Give the same as an object; null for what is not known. Litres are at 15 °C and 101.325 kPa."""
    return {
        "gas": shown.gas,
        "known_by": shown.basis or None,
        "read_by_hand": shown.by_hand,
        "read_at": iso_utc_known(shown.basis_ms),
        "pressure_kpa": shown.raw_kpa,
        "temperature_c": shown.temperature_c,
        "temperature_of": shown.thermometer or None,
        "content_l": shown.content_l,
        "u_content_l": shown.u_content_l,
        "content_kg": shown.content_kg,
        "use_seen": shown.use_seen,
        "use_l_day": shown.use_l_day,
        "use_low_l_day": shown.use_low_l_day,
        "use_high_l_day": shown.use_high_l_day,
        "use_over_days": shown.use_days,
        "even_loss_l_day": shown.fast_l_day,
        "even_loss_hours": shown.fast_hours,
        "days_left_low": shown.days_low,
        "days_left_high": shown.days_high,
        "refilled": iso_utc_known(shown.refilled_ms),
        "supply_open_at": list(shown.open_at),
        "remarks": list(shown.remarks),
    }


def _read_text(shown: CylinderShown, zone: tzinfo, now_ms: int) -> str:
    """When and how it was read, where that is not a probe a while ago."""
    if shown.basis_ms is None or (not shown.by_hand and shown.basis != "weight"):
        return ""
    verb = "weighed" if shown.basis == "weight" else "read"
    return f", {verb} {local_time(shown.basis_ms, zone, now_ms)}"


def _litres(litres: float, u_litres: float | None) -> str:
    margin = 2.0 * (u_litres or 0.0)
    if margin <= 0.0:
        return f"{litres:,.0f} L"
    size = 10.0 ** max(0, math.floor(math.log10(margin)))
    return f"{round(litres / size) * size:,.0f} ± {math.ceil(margin / size) * size:.0f} L"


def _range(low: float, high: float) -> str:
    """Two numbers with as many decimals as the higher has with two digits: "18 to 22", "2 to 20"."""
    most = _significant(high, 2)
    least = f"{low:,.{len(most.partition('.')[2])}f}"
    return f"about {most}" if least == most else f"{least} to {most}"


def _significant(number: float, digits: int) -> str:
    """A number with so many digits, or all those before its point."""
    if number <= 0.0:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(number)))
    return f"{number:,.{decimals}f}"
