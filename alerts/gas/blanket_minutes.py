"""What comes in of a blanket minute by minute: levels, steps and fast losses, and a sensor that is stuck."""

from __future__ import annotations

__all__ = ["BlanketMinutes", "Cut", "dry_kpa", "level_kpa"]

from itertools import pairwise
from statistics import median
from typing import Final, NamedTuple

from alerts.gas.blanket_columns import T0_K
from alerts.gas.blanket_facts import BlanketFacts, BlanketPoint
from alerts.gas.blanket_prior import settling_bound
from alerts.gas.gases import kelvin
from alerts.gas.leak_evidence import Learned
from alerts.gas.open_minute import OpenMinute
from alerts.gas.stuck_sensor import StuckRun, StuckSensor
from alerts.gas.sudden_loss import FastLoss, SuddenLosses, SuddenStep
from alerts.gas.wine_tables import wine_tables

_GAP_MS: Final = 20 * 60_000
# A loss that goes on is the same one as before for so long.
_SAME_LOSS_MS: Final = 30 * 60_000
_NOW_MS: Final = 5 * 60_000
# Below it nothing leaks out, and what falls on is drawn or dissolves.
_SUCKING_KPA: Final = -1.0
_STEP_K: Final = 0.7
# Lost against the minutes before, more than a door that opens does to 2 L: nothing calm is said then.
_EARLY_MS: Final = (2 * 60_000, 15 * 60_000)
_EARLY_KPA: Final = 2.0
# A fast loss has stopped if in so long no more than this, and this share of what was lost before, is lost, with so much
# gauge pressure left that a leak would show.
_STOPPED_MS: Final = 30 * 60_000
_STILL_KPA: Final = 0.6
_STILL_SHARE: Final = 0.1
_STOPPED_KPA: Final = 8.0
# Readings further apart than this show a step only with the second one after it, later than bins settle.
_SELDOM_MS: Final = 150_000
# That much more than the others jumps a reading that may be the first after a step.
_JUMP_KPA: Final = 1.0
_OTHER_CHANGES: Final = 3.0
# Half of what the gas law makes of a kelvin.
_ROOM_KPA_K: Final = 0.3


class Cut(NamedTuple):
    """Where the readings of before and after cannot be compared: two times [UTC ms], the step between them [kPa at T0],
    and the level after it over that before. is_past_loss: whether it was a fast loss, which has stopped;
    is_unstuck: whether a sensor was stuck between.
    """

    before_ms: int
    after_ms: int
    kpa: float = 0.0
    share: float = 1.0
    is_past_loss: bool = False
    is_unstuck: bool = False


class BlanketMinutes:
    """The last minutes of one blanket.

    fast: the loss that went on in ``fast_ms`` (UTC), None if there was none; drawn_ms: the first minute after something
    was drawn; has_news: whether a minute showed more than the newest level, until somebody takes it back.
    """

    def __init__(self) -> None:
        self.fast: FastLoss | None = None
        self.fast_ms = 0
        self.drawn_ms: int | None = None
        self.has_news = False
        self._open = OpenMinute()
        self._stuck = StuckSensor()
        self._sudden = SuddenLosses()
        self._levels: list[tuple[int, float]] = []
        self._fast_from_kpa = 0.0

    def gather(self, point: BlanketPoint) -> BlanketPoint | None:
        """Take a point; give the mean of the minute before if this one begins another."""
        return self._open.add(point)

    def close(self, mean: BlanketPoint, level: float, known: Learned, facts: BlanketFacts) -> list[Cut]:
        """Take the mean of a minute and its level [kPa]; give the cuts that it shows, oldest first."""
        cuts = []
        unstuck = self._stuck.add(mean.at_ms, mean.pressure_kpa, level)
        if unstuck is not None:
            # What it showed meanwhile is not worth anything.
            cuts.append(Cut(unstuck.since_ms, mean.at_ms, is_unstuck=True))
            self._sudden.clear()
        self._levels.append((mean.at_ms, level))
        if len(self._levels) > 30:
            del self._levels[:15]
        self.has_news = self.has_news or self.is_falling(known.w)
        # A kelvin that gas or wall are off by moves a small headspace more.
        kpa_k = 0.7 + 0.5 * min(known.w, 4.0)
        warmth = kpa_k * mean.temperature_c + (0.0 if mean.room_c is None else _ROOM_KPA_K * mean.room_c)
        self._sudden.add(mean.at_ms, level, warmth)
        if self._is_losing_fast(mean, level, known, facts):
            return cuts
        if self.fast is not None and self._has_stopped(self.fast, mean):
            cuts.append(self._past_loss(self.fast, level))
            return cuts
        step = self._sudden.step(_STEP_K * kpa_k * (1.5 if mean.room_c is None else 1.0))
        self.has_news = self.has_news or step is not None
        if step is not None and self._is_step(step):
            before = level - step.kpa
            cuts.append(Cut(step.before_ms, step.after_ms, step.kpa, level / before if before > 1.0 else 1.0))
            if step.kpa < 0.0:
                self.drawn_ms = step.after_ms
            else:
                self.drawn_ms = None
                self.fast = None
        return cuts

    def restart(self) -> None:
        """Forget all but whether the sensor is stuck, and when gas was last lost fast."""
        self.forget_steps()
        self._open.clear()
        self._levels = []
        self.fast = None
        self.drawn_ms = None

    def forget_steps(self) -> None:
        """Look for no step or loss across this moment."""
        self._sudden.clear()

    @property
    def stuck(self) -> StuckRun | None:
        """The run of equal values that cannot be, if there is one now."""
        return self._stuck.run

    def level_of_now(self, at_ms: int) -> float | None:
        """The level of the five minutes before a time [kPa]; None where none of them is over yet."""
        levels = [kpa for when, kpa in self._levels if when >= at_ms - _NOW_MS]
        return sum(levels) / len(levels) if levels else None

    def shift(self, kpa: float) -> None:
        """Move all levels so far: what is learned of headspace and instruments is no step."""
        self._sudden.shift(kpa)
        self._levels = [(at_ms, level + kpa) for at_ms, level in self._levels]

    def may_be_step(self) -> bool:
        """Whether one of the last readings of a probe that reads seldom jumped, and too few came since to say more.

        A fit would have to explain the jump, and change the levels by which it will be known as a step.
        """
        if self._interval_ms() < _SELDOM_MS:
            return False
        changes = sorted(abs(after[1] - before[1]) for before, after in pairwise(self._levels[-4:]))
        return changes[-1] > _JUMP_KPA + _OTHER_CHANGES * changes[-2]

    def is_falling(self, w: float) -> bool:
        """Whether the last minutes have lost more than temperature explains; how, it is too early to say. w: 1/V20."""
        if not self._levels:
            return False
        now_ms, level = self._levels[-1]
        before = [kpa for when, kpa in self._levels if _EARLY_MS[0] <= now_ms - when <= _EARLY_MS[1]]
        return len(before) >= 3 and median(before) - level > _EARLY_KPA + 0.5 * min(w, 4.0)

    def _is_losing_fast(self, mean: BlanketPoint, level: float, known: Learned, facts: BlanketFacts) -> bool:
        fast = self._sudden.fast_loss(lambda: settling_bound(facts, known.w, level, mean.temperature_c))
        if fast is None or (self.fast is None and mean.pressure_kpa <= _SUCKING_KPA):
            return False
        if self.fast is None or mean.at_ms - self.fast_ms > _SAME_LOSS_MS:
            self.fast = fast
            self._fast_from_kpa = level + fast.kpa
        else:
            self.fast = fast._replace(since_ms=self.fast.since_ms)
        self.fast_ms = mean.at_ms
        self.has_news = True
        return True

    def _has_stopped(self, fast: FastLoss, mean: BlanketPoint) -> bool:
        """Whether a fast loss has ended with gas left, and nothing is lost since: what was drawn slowly, and no leak.

        A leak fades with the gauge, it does not stop.
        """
        since_ms = max(self.fast_ms, mean.at_ms - max(_STOPPED_MS, 3.5 * self._interval_ms()))
        calm = [kpa for at_ms, kpa in self._levels if at_ms > since_ms]
        third = len(calm) // 3
        if mean.at_ms - self.fast_ms < _STOPPED_MS or mean.pressure_kpa < _STOPPED_KPA or third == 0:
            return False
        lost = median(calm[:third]) - median(calm[-third:])
        return lost < _STILL_SHARE * fast.kpa_hour * _STOPPED_MS / 3_600_000.0 and lost < _STILL_KPA

    def _past_loss(self, fast: FastLoss, level: float) -> Cut:
        """Take a fast loss that has stopped for one sudden change."""
        self.forget_steps()
        self.fast = None
        self.drawn_ms = self.fast_ms
        self.has_news = True
        before = max(self._fast_from_kpa, 1.0)
        return Cut(fast.since_ms - 60_000, self.fast_ms, level - before, level / before, is_past_loss=True)

    def _is_step(self, step: SuddenStep) -> bool:
        """Whether a step is one; over a gap a leak may have taken it, and the fits look at that."""
        if step.after_ms - step.before_ms > max(_GAP_MS, 1.5 * self._interval_ms()):
            return False
        return step.kpa > 0.0 or self.fast is None

    def _interval_ms(self) -> float:
        """How far the last readings are apart, 0 where too few are known."""
        apart = [after[0] - before[0] for before, after in pairwise(self._levels)]
        return median(apart) if len(apart) > 3 else 0.0


def dry_kpa(point: BlanketPoint, air_kpa: float, facts: BlanketFacts) -> float:
    """Work out the pressure without vapour [kPa absolute]. air_kpa: absolute."""
    _, vapour = wine_tables(facts.filling, facts.gas).growth_vapour(point.temperature_c)
    return point.pressure_kpa + air_kpa - vapour


def level_kpa(point: BlanketPoint, air_kpa: float, known: Learned, facts: BlanketFacts) -> float:
    """Work out the dry pressure at T0 and the headspace of 20 °C: without a leak or settling it stays as it is [kPa].

    air_kpa: absolute, where the point has none of its own.
    """
    growth, vapour = wine_tables(facts.filling, facts.gas).growth_vapour(point.temperature_c)
    air = air_kpa if point.barometer_kpa is None else point.barometer_kpa
    warm = point.temperature_c + kelvin(0.0)
    reduced = (point.pressure_kpa + air - vapour) * T0_K / warm
    level = reduced * (1.0 + known.w * growth)
    if point.room_c is not None:
        level -= known.share * reduced * (point.room_c - point.temperature_c) / warm
    return level - known.zero * (point.temperature_c - 20.0)
