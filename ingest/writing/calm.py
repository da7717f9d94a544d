"""How long a reading may wait before it is committed: one that crosses a setpoint not at all, a calm one for longer.

Pure. It knows the limits of the cellar file and the reading before of the same series, but no alarm state.
"""

from __future__ import annotations

__all__ = ["Calm", "Range", "ranges"]

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from ingest.cellar import EffectiveLimit
from ingest.reading import ESTIMATED, Quality, Reason, Row, Scale, quality_code
from ingest.store.readings.scales import value_at

_GOOD: Final = quality_code(Quality.GOOD)
_JUMP: Final = quality_code(Quality.UNCERTAIN, Reason.JUMP)

# A reading that waits is heard of later. It may wait for this share of the silence that its probe is allowed.
_SILENCE_SHARE: Final = 0.25

_FOREVER: Final = float("inf")


@dataclass(frozen=True, slots=True)
class Range:
    """What the limits say of one series, in the quantity's unit.

    edges: every setpoint, and where each condition ends again, sorted; low, high: the innermost setpoints; silence_s:
    how long the probe may be silent.
    """

    edges: tuple[float, ...] = ()
    low: float = -_FOREVER
    high: float = _FOREVER
    silence_s: float = _FOREVER


def ranges(limits: Iterable[EffectiveLimit], series: Mapping[str, int]) -> dict[int, Range]:
    """Collect what the limits say of each series. series: probe -> its series."""
    of_series: dict[int, list[EffectiveLimit]] = {each: [] for each in series.values()}
    for limit in limits:
        if limit.probe in series:  # a judged quantity has no probe
            of_series[series[limit.probe]].append(limit)
    return {each: _range(of_probe) for each, of_probe in of_series.items()}


def _range(limits: Sequence[EffectiveLimit]) -> Range:
    lows = [limit for limit in limits if limit.kind == "low"]
    highs = [limit for limit in limits if limit.kind == "high"]
    edges = {edge for limit in lows for edge in (limit.setpoint, limit.setpoint + limit.deadband)}
    edges |= {edge for limit in highs for edge in (limit.setpoint, limit.setpoint - limit.deadband)}
    return Range(
        edges=tuple(sorted(edges)),
        low=max((limit.setpoint for limit in lows), default=-_FOREVER),
        high=min((limit.setpoint for limit in highs), default=_FOREVER),
        silence_s=min((limit.setpoint for limit in limits if limit.kind == "no data"), default=_FOREVER),
    )


class _Before(NamedTuple):
    """The reading before of a series. place: odd on an edge, even between two."""

    at_ms: int
    place: int
    quality: int


class Calm:
    """Judges readings in the order in which they came.

    commit_s: how long a reading may wait that is not calm; calm_s: how long a calm one; scales: what the numbers of
    each series mean, to be replaced when that changes.
    """

    def __init__(self, of_series: Mapping[int, Range], commit_s: float, calm_s: float) -> None:
        self._of_series = of_series
        self.commit_s = commit_s
        self._calm_s = {
            series: max(commit_s, min(calm_s, _SILENCE_SHARE * of_probe.silence_s))
            for series, of_probe in of_series.items()
        }
        self._before: dict[int, _Before] = {}
        self.scales: Mapping[int, Sequence[Scale]] = {}

    @property
    def series(self) -> Iterable[int]:
        """The series that are judged."""
        return self._of_series

    def wait_s(self, row: Row) -> float:
        """How long the reading may wait, in seconds.

        Not at all: the first of its series, and the first after a silence; one that lies on another side of a setpoint
        or of a deadband's end than the one before, that jumped, or that is of another quality. Calm is one of good
        quality within all setpoints.
        """
        series, at_ms, number, quality = row
        of_probe = self._of_series.get(series)
        if of_probe is None:
            return self.commit_s
        quality &= ~ESTIMATED
        value = value_at(self.scales.get(series, ()), at_ms, number)
        place = bisect_left(of_probe.edges, value) + bisect_right(of_probe.edges, value)
        before = self._before.get(series)
        self._before[series] = _Before(at_ms, place, quality)
        if (
            before is None
            or place != before.place
            or quality != before.quality
            or quality == _JUMP
            or at_ms - before.at_ms > of_probe.silence_s * 1000
        ):
            return 0.0
        within = of_probe.low <= value <= of_probe.high
        return self._calm_s[series] if within and quality == _GOOD else self.commit_s
