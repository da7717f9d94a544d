"""Steps and fast losses in the pressure of a blanket, minute by minute.

Each minute's pressure is first reduced to what it would be without the temperature's part. A step is over in two
minutes and flat after it: gas or wine was drawn, or gas let in. A fast loss goes on: it has fallen by more than doors,
mixing and dissolving can make it fall, in each third of a window, and not in one go.
"""

from __future__ import annotations

__all__ = ["FastLoss", "SuddenLosses", "SuddenStep"]

from collections import deque
from collections.abc import Callable
from itertools import pairwise
from math import hypot
from typing import Final, NamedTuple

_KEPT_MS: Final = 3 * 3_600_000
_MINUTE_MS: Final = 60_000
# A step is over within so long, or between two readings that are further apart.
_STEP_MS: Final = 150_000
# A keg that is carried swallows gas for as long as that takes.
_LONG_STEP_MS: Final = 10 * _MINUTE_MS
_LEAST_LONG_KPA: Final = 1.2
# So long it must have been flat afterwards, and so long before counts.
_FLAT_MS: Final = 5 * _MINUTE_MS
_BEFORE_MS: Final = 8 * _MINUTE_MS
# Of a probe that reads seldom, the last two readings count if they are not older than this.
_LONG_BEFORE_MS: Final = 65 * _MINUTE_MS
_TREND_MS: Final = 40 * _MINUTE_MS
# A step over a gap longer than this may be anything.
_LONGEST_GAP_MS: Final = 6 * 3_600_000
_WINDOWS_MIN: Final = (6, 8, 11, 15, 20, 30, 45)
# A keg that is carried loses 2 kPa in minutes, the gas cooled by an open door 1 to 2 kPa.
_LEAST_LOSS_KPA: Final = 4.0
# Each third of a fast loss is at least this share of it, and no interval more than that.
_THIRD: Final = 0.16
# The slope is that of at least so long. In that time cold or warm air moves the gas by as much (a cooler that runs and
# rests: half a kelvin of the gas, 0.27 kPa at 150 kPa).
_SLOPE_MS: Final = 12 * _MINUTE_MS
_U_AIR_KPA: Final = 0.3
_ONE_INTERVAL: Final = 0.55


class SuddenStep(NamedTuple):
    """A sudden change: the last time before it, the first after it (UTC ms), and its size, kPa at T0."""

    before_ms: int
    after_ms: int
    kpa: float


class FastLoss(NamedTuple):
    """A loss that goes on: since when (UTC ms), how much so far [kPa at T0], and how fast now, with uncertainty."""

    since_ms: int
    kpa: float
    kpa_hour: float
    u_kpa_hour: float


class _Minute(NamedTuple):
    """warmth_kpa: what the temperatures of then are worth, to see how far a change may be theirs."""

    at_ms: int
    kpa: float
    warmth_kpa: float


class SuddenLosses:
    """The last three hours, by the minute."""

    def __init__(self) -> None:
        self._minutes: deque[_Minute] = deque()

    def clear(self) -> None:
        """Forget what came so far: what comes next is not comparable."""
        self._minutes.clear()

    def shift(self, kpa: float) -> None:
        """Move all that came so far: what is learned of headspace and instruments changes what is reduced."""
        self._minutes = deque(each._replace(kpa=each.kpa + kpa) for each in self._minutes)

    def add(self, at_ms: int, kpa: float, warmth_kpa: float = 0.0) -> None:
        """Take the reduced pressure of a minute; warmth_kpa: the part of it that wall, wine and room may be wrong by,
        from any zero, so that its changes count.
        """
        self._minutes.append(_Minute(at_ms, kpa, warmth_kpa))
        while self._minutes[0].at_ms < at_ms - _KEPT_MS and len(self._minutes) > 8:
            self._minutes.popleft()

    def step(self, least_kpa: float) -> SuddenStep | None:
        """Look for a step of at least so many kPa that has just proved to be flat; it is given once."""
        if len(self._minutes) < 4:
            return None
        young = [each.kpa for each in list(self._minutes)[-30:]]
        if max(young) - min(young) < 0.8 * least_kpa:
            return None
        for lasting_ms, least in ((_STEP_MS, least_kpa), (_LONG_STEP_MS, max(least_kpa, _LEAST_LONG_KPA))):
            step = self._step(least, lasting_ms)
            if step is not None:
                while self._minutes[0].at_ms <= step.before_ms:
                    self._minutes.popleft()
                return step
        return None

    def _step(self, least_kpa: float, lasting_ms: int) -> SuddenStep | None:
        minutes = list(self._minutes)[-60:]
        after = _first_flat(minutes)
        if after is None:
            return None
        before = after - 1
        while before > 0 and minutes[after].at_ms - minutes[before - 1].at_ms <= lasting_ms:
            before -= 1
        first, last = minutes[before], minutes[after]
        gap_ms = last.at_ms - first.at_ms
        old = [each for each in minutes[: before + 1] if each.at_ms >= first.at_ms - _BEFORE_MS]
        if len(old) < 2:
            two = minutes[max(before - 1, 0) : before + 1]
            old = [each for each in two if each.at_ms >= first.at_ms - _LONG_BEFORE_MS]
        new = minutes[after:]
        if gap_ms > _LONGEST_GAP_MS or len(old) < 2:
            return None
        old_kpa, old_slope, old_ms = _line(old)
        new_kpa, new_slope, new_ms = _line(new)
        # What it would have moved by anyway, at the speeds before and after: a leak is not a step.
        hour = [each for each in minutes[: before + 1] if each.at_ms >= first.at_ms - _TREND_MS]
        trend = _line(hour)[1] if len(hour) > len(old) else old_slope
        anyway = max(0.5 * (old_slope + new_slope), trend, key=abs) * (new_ms - old_ms)
        size = new_kpa - old_kpa
        most = 0.2 * abs(size) + 0.3 * least_kpa
        # All of it between the two: else another minute fits the step better.
        rests = (old_slope * _FLAT_MS, new_slope * _FLAT_MS, last.kpa - new_kpa, first.kpa - old_kpa)
        warmth = abs(_median([each.warmth_kpa for each in new]) - _median([each.warmth_kpa for each in old]))
        if abs(size) < least_kpa * (1.0 + gap_ms / 3_600_000.0) + warmth or any(abs(rest) > most for rest in rests):
            return None
        if anyway * size > 0.0 and abs(anyway) > 0.3 * abs(size):
            return None
        return SuddenStep(first.at_ms, last.at_ms, size)

    def fast_loss(self, settling_kpa_hour: Callable[[], float]) -> FastLoss | None:
        """Look for a loss that goes on, faster than dissolving can be; settling_kpa_hour works that out if asked."""
        minutes = list(self._minutes)[-60:]
        if len(minutes) < 4 or max(each.kpa for each in minutes) - minutes[-1].kpa < _LEAST_LOSS_KPA:
            return None
        now = minutes[-1]
        settling = settling_kpa_hour()
        for window in _WINDOWS_MIN:
            inside = [each for each in minutes if each.at_ms >= now.at_ms - window * _MINUTE_MS - 20_000]
            span_ms = now.at_ms - inside[0].at_ms
            if len(inside) < 3 or span_ms < 0.7 * window * _MINUTE_MS or span_ms > 1.6 * window * _MINUTE_MS:
                continue
            loss = inside[0].kpa - now.kpa
            least = _LEAST_LOSS_KPA + 1.5 * settling * span_ms / 3_600_000.0
            if loss < least + abs(inside[0].warmth_kpa - now.warmth_kpa) or not _goes_on(inside, loss):
                continue
            since = self._began(loss / span_ms)
            rate, u_rate = _slope(_newest(inside))
            return FastLoss(since.at_ms, since.kpa - now.kpa, rate, u_rate)
        return None

    def _began(self, kpa_ms: float) -> _Minute:
        """The minute before which it did not fall by even a quarter of this speed."""
        minutes = list(self._minutes)
        for i in range(len(minutes) - 1, 0, -1):
            j = i - 1
            while j > 0 and minutes[i].at_ms - minutes[j].at_ms < 3 * _MINUTE_MS:
                j -= 1
            if minutes[j].kpa - minutes[i].kpa < 0.25 * kpa_ms * (minutes[i].at_ms - minutes[j].at_ms):
                return minutes[i]
        return minutes[0]


def _first_flat(minutes: list[_Minute]) -> int | None:
    """The last minute that is long enough ago for what follows, two minutes at least, to be called flat; each minute is
    so once.
    """
    if len(minutes) < 4:
        return None
    latest_ms = minutes[-1].at_ms - _FLAT_MS
    after = len(minutes) - 3
    while after > 1 and minutes[after].at_ms > latest_ms:
        after -= 1
    return after if minutes[after].at_ms <= latest_ms else None


def _goes_on(inside: list[_Minute], loss: float) -> bool:
    if len(inside) < 5:
        # Readings minutes apart: it must have fallen between each two of them.
        return all(a.kpa - b.kpa > _THIRD * loss for a, b in pairwise(inside))
    third = len(inside) // 3
    marks = (inside[0], inside[third], inside[-1 - third], inside[-1])
    if any(a.kpa - b.kpa < _THIRD * loss for a, b in pairwise(marks)):
        return False
    return all(a.kpa - b.kpa < _ONE_INTERVAL * loss for a, b in pairwise(inside))


def _newest(inside: list[_Minute]) -> list[_Minute]:
    """Half of the window, but not less than can show a slope: a fast loss is soon slower."""
    least_ms = inside[-1].at_ms - _SLOPE_MS
    return inside[min(len(inside) - len(inside) // 2, max(sum(each.at_ms < least_ms for each in inside), 0)) :]


def _slope(minutes: list[_Minute]) -> tuple[float, float]:
    """The fall per hour by least squares, with its standard uncertainty [kPa/h]."""
    hours = [(each.at_ms - minutes[0].at_ms) / 3_600_000.0 for each in minutes]
    mean_h = sum(hours) / len(hours)
    mean_kpa = sum(each.kpa for each in minutes) / len(minutes)
    spread = sum((hour - mean_h) ** 2 for hour in hours)
    slope = sum((h - mean_h) * (m.kpa - mean_kpa) for h, m in zip(hours, minutes, strict=True)) / spread
    left = sum((m.kpa - mean_kpa - slope * (h - mean_h)) ** 2 for h, m in zip(hours, minutes, strict=True))
    scatter = (left / max(len(minutes) - 2, 1) / spread) ** 0.5
    return -slope, hypot(scatter, 0.05 * slope, _U_AIR_KPA / hours[-1])


def _line(minutes: list[_Minute]) -> tuple[float, float, float]:
    """The median, the slope from the first third to the last [kPa/ms], and the middle of the times [ms]."""
    third = max(1, len(minutes) // 3)
    head, tail = minutes[:third], minutes[-third:]
    head_ms = sum(each.at_ms for each in head) / third
    tail_ms = sum(each.at_ms for each in tail) / third
    rise = _median([each.kpa for each in tail]) - _median([each.kpa for each in head])
    slope = rise / (tail_ms - head_ms) if tail_ms > head_ms else 0.0
    return _median([each.kpa for each in minutes]), slope, 0.5 * (minutes[0].at_ms + minutes[-1].at_ms)


def _median(values: list[float]) -> float:
    ordered = sorted(values)
    middle = len(ordered) // 2
    return ordered[middle] if len(ordered) % 2 else 0.5 * (ordered[middle - 1] + ordered[middle])
