"""Readings of a blanket gathered to minutes."""

from __future__ import annotations

__all__ = ["OpenMinute"]

from typing import Final

from alerts.gas.blanket_facts import BlanketPoint

_MINUTE_MS: Final = 60_000


class OpenMinute:
    """The minute that is open. Points come in the order of their times."""

    def __init__(self) -> None:
        self._points: list[BlanketPoint] = []

    def add(self, point: BlanketPoint) -> BlanketPoint | None:
        """Take a point; give the mean of the minute before if this one begins another."""
        points = self._points
        if points and point.at_ms // _MINUTE_MS != points[0].at_ms // _MINUTE_MS:
            self._points = [point]
            return _mean(points)
        points.append(point)
        return None

    def clear(self) -> None:
        """Forget the open minute."""
        self._points = []


def _mean(points: list[BlanketPoint]) -> BlanketPoint:
    if len(points) == 1:
        return points[0]
    count = len(points)
    return BlanketPoint(
        round(sum(each.at_ms for each in points) / count),
        sum(each.pressure_kpa for each in points) / count,
        sum(each.temperature_c for each in points) / count,
        _mean_known([each.barometer_kpa for each in points]),
        _mean_known([each.room_c for each in points]),
    )


def _mean_known(values: list[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return sum(known) / len(known) if known else None
