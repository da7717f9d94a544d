"""A small picture of a probe's last day: lowest and highest of each quarter hour, and the limits. Numbers for an SVG.

A picture is 144 wide and 21 high; y grows downwards, as in SVG. What lies beyond a limit is an area, so that the side
that must not be reached shows without colour. A limit far from the readings would press them flat: it is drawn at the
picture's edge instead, and marked as being beyond it.
"""

from __future__ import annotations

__all__ = ["HEIGHT", "WIDTH", "DrawnLimit", "TrendDrawing", "draw_trend"]

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from alerts.view.places.day_trend import DAY_MS, SPAN_MS, DayTrend
from ingest.cellar import USUAL, EffectiveLimit

WIDTH: Final = 144.0
HEIGHT: Final = 21.0
_MARGIN: Final = 2.0
_SPANS: Final = DAY_MS // SPAN_MS
# Readings that change by less than four usual deadbands lie flat, so that noise does not look like a change.
_LEAST_DEADBANDS: Final = 4.0
_OTHER_DEADBAND: Final = 0.5
# A limit is drawn at its place while it is no farther from the readings than this many times their own range.
_REACH: Final = 1.5
# Without a reading for so many quarter hours more than usual the line is broken.
_GAP_SPANS: Final = 2


@dataclass(frozen=True, slots=True)
class DrawnLimit:
    """A limit in a picture. y: of its line; top, height: of the area beyond it; beyond: it lies outside the picture."""

    y: str
    top: str
    height: str
    beyond: bool


@dataclass(frozen=True, slots=True)
class TrendDrawing:
    """band: an SVG path around lowest and highest in tenths of the picture's units, a part for each stretch without a
    gap; x, y: of the newest reading, y "" without one.
    """

    band: str
    limits: tuple[DrawnLimit, ...]
    x: str
    y: str


def draw_trend(
    trend: DayTrend, quantity: str, limits: Sequence[EffectiveLimit], every_s: float, newest: float | None
) -> TrendDrawing | None:
    """Draw the last day; None without readings. limits: low and high ones on the probe; every_s: how often it reads;
    newest: its newest good reading, which may be younger than the trend.
    """
    if not trend.spans:
        return None
    low, high = trend.lowest, trend.highest
    if newest is not None:
        low, high = min(low, newest), max(high, newest)
    usual = USUAL.get(quantity)
    least = _LEAST_DEADBANDS * (usual.deadband if usual is not None else _OTHER_DEADBAND)
    middle, span = (low + high) / 2, max(high - low, least)
    low, high = min(low, middle - span / 2), max(high, middle + span / 2)
    reach_low, reach_high = low - _REACH * span, high + _REACH * span
    near = [limit.setpoint for limit in limits if reach_low <= limit.setpoint <= reach_high]
    bottom, top = min([low, *near]), max([high, *near])

    def y(value: float) -> float:
        return _MARGIN + (top - value) / (top - bottom) * (HEIGHT - 2 * _MARGIN)

    gap = _GAP_SPANS + round(every_s * 1000 / SPAN_MS)
    newest_y = "" if newest is None else _number(y(newest))
    return TrendDrawing(
        _band(trend, y, gap), _limits(limits, reach_low, reach_high, y), _number(_x(_SPANS - 1)), newest_y
    )


def _x(span: int) -> float:
    return (span + 0.5) / _SPANS * WIDTH


def _band(trend: DayTrend, y: Callable[[float], float], gap: int) -> str:
    """Along the highest, and back along the lowest."""
    stretches: list[list[int]] = []
    for index, span in enumerate(trend.spans):
        if not stretches or span - trend.spans[stretches[-1][-1]] > gap:
            stretches.append([])
        stretches[-1].append(index)
    return "".join(_outline(trend, y, stretch) for stretch in stretches)


def _outline(trend: DayTrend, y: Callable[[float], float], stretch: Sequence[int]) -> str:
    """A closed path in tenths: where it begins, then steps, which are shorter than places."""
    there = [(_x(trend.spans[index]), y(trend.high[index])) for index in stretch]
    back = [(_x(trend.spans[index]), y(trend.low[index])) for index in reversed(stretch)]
    points = [(round(10 * x), round(10 * level)) for x, level in there + back]
    steps = [(x - last_x, level - last_level) for (last_x, last_level), (x, level) in pairwise(points)]
    return f"M{points[0][0]} {points[0][1]}l" + " ".join(f"{x} {level}" for x, level in steps) + "z"


def _limits(
    limits: Sequence[EffectiveLimit], reach_low: float, reach_high: float, y: Callable[[float], float]
) -> tuple[DrawnLimit, ...]:
    drawn = []
    for kind in ("low", "high"):
        setpoints = [limit.setpoint for limit in limits if limit.kind == kind]
        near = [setpoint for setpoint in setpoints if reach_low <= setpoint <= reach_high]
        for setpoint in near:
            line = y(setpoint)
            top, height = (line, HEIGHT - line) if kind == "low" else (0.0, line)
            drawn.append(DrawnLimit(_number(line), _number(top), _number(height), False))
        if setpoints and not near:
            edge = HEIGHT - 0.5 if kind == "low" else 0.5
            drawn.append(DrawnLimit(_number(edge), _number(edge), "0", True))
    return tuple(drawn)


def _number(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
