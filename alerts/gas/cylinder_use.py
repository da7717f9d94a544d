"""How fast a cylinder empties, and how many days its content lasts. Pure.

Pressure and temperature become an amount of gas (mol) first, and only amounts are compared: between 20 and 10 °C a
cylinder at 15 MPa loses 0.68 MPa of pressure and no gas.

    use       = (level at the begin - level at the end) / time          over 28 days, or over 7
    days left = (content - what is in it at the reserve) / use

A level is the median of the amounts of a day, so a single wrong reading moves nothing, and a purge, which is a step,
counts in full; a median of slopes would overlook it. A rise is a refill: what lies before and after it is counted
apart, and the gas that was drawn on both sides is added up. The shorter span counts where it shows for certain that use
has grown; else the longer one knows better how uneven it is.

What two levels may be apart without any use: the gauge's resolution and repeatability, and what temperature is
uncertain by between two days. Use that is smaller than two standard uncertainties of that is not seen. The range of a
use that is seen adds two standard errors of its days, and one more day like the largest, since use that comes in steps
seldom comes evenly (working defaults; ``tests/benchmarks/cylinders.py`` says how often they hold).

A loss that goes on evenly for 3 or 24 hours and is at least twice the usual use counts at once: that is how a leak at a
line with an open supply shows. The reserve is 0.5 to 1 MPa, at which a regulator still holds its pressure (common
practice, no source).
"""

from __future__ import annotations

__all__ = ["MOST_DAYS", "Amounts", "CylinderUse", "EvenLoss", "UseRate", "cylinder_use", "even_loss", "use_rate"]

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

DAY_MS: Final = 86_400_000
_HOUR_MS: Final = 3_600_000

# The longest time that is said; a limit's setpoint is not later either (``ingest.cellar.quantities``).
MOST_DAYS: Final = 10_000.0
# From this much time on, all segments together, a use is said.
_LEAST_DAYS: Final = 7.0
# What lies between two refills and is shorter than this says nothing: day and night differ too much.
_LEAST_SEGMENT_DAYS: Final = 1.0
# A rise by so many standard uncertainties of a level, and by at least this share of the largest content, is a refill.
_RISE_U: Final = 6.0
_RISE_SHARE: Final = 0.03
# A cylinder in the sun may be 40 K warmer than what its thermometer says, which is 17 % of its content.
_SUNNY_SHARE: Final = 0.2
# A smaller rise must last for a day, but for so small a share of it.
_LASTS_SHARE: Final = 0.1
# Levels over so many standard uncertainties apart are gas that was drawn.
_SEEN_U: Final = 2.0
# Uneven use widens the range by so many standard errors, but no further down than to this share of it.
_UNEVEN_SE: Final = 2.0
_LEAST_USE_SHARE: Final = 0.3
# Where no use is seen, the content lasts at least so long or nothing is said of it: a limit is not to be judged by how
# coarse a gauge is.
_FAR_DAYS: Final = 60.0
# An even loss: each third of the span loses at least this share of the whole, and all of it is this certain.
_EVEN_SHARE: Final = 0.15
_EVEN_U: Final = 4.0
_EVEN_HOURS: Final = (3.0, 24.0)
_LONGEST_SPAN: Final = 1.5
# And it must lead below what there was in the days before, but for so small a share of them.
_BEFORE_DAYS: Final = 7.0
_LOW_SHARE: Final = 0.05
_TIMES_USUAL: Final = 2.0

_Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Amounts:
    """What a cylinder held over time.

    at_ms: UTC ms, rising; mol: amounts; u_level_mol: standard uncertainty of a level against another one, of days
    apart; u_mol: of the newest amount itself; days: the spans of time, shortest first, over which use is worked out.
    """

    at_ms: npt.NDArray[np.int64]
    mol: _Floats
    u_level_mol: float
    u_mol: float
    days: tuple[float, ...] = (7.0, 28.0)


class UseRate(NamedTuple):
    """Gas drawn in mol a day, over so many days of a span. low, high: its range; seen: more than what levels may be
    apart without any use.
    """

    mol_day: float
    low: float
    high: float
    seen: bool
    days: float


class EvenLoss(NamedTuple):
    """A loss that goes on evenly: mol a day, over how many hours."""

    mol_day: float
    hours: float


@dataclass(frozen=True, slots=True)
class CylinderUse:
    """What a cylinder holds and how long that lasts.

    mol: newest amount, with its standard uncertainty; use: over the span that counts, None before a week;
    days_low, days_high: until the reserve, None where nothing is said; even_loss: faster than usual, None while there
    is none; refilled_ms: when it was filled or changed last within these amounts, None if never; empty: it is at the
    upper end of the reserve or below it.
    """

    mol: float
    u_mol: float
    use: UseRate | None
    days_low: float | None
    days_high: float | None
    even_loss: EvenLoss | None
    refilled_ms: int | None
    empty: bool = False

    @property
    def told(self) -> bool:
        """Whether something is said of how long it lasts."""
        return self.days_low is not None


def cylinder_use(amounts: Amounts, reserve_mol: tuple[float, float], now_ms: int) -> CylinderUse:
    """Work out use and days left as of a time (UTC ms) that is not before the newest amount.

    reserve_mol: what the cylinder holds at the lower and at the higher pressure of the reserve. There is at least one
    amount.
    """
    begins = _segment_begins(amounts)
    refilled_ms = int(amounts.at_ms[begins[-1]]) if len(begins) > 1 else None
    mol = _newest_level(amounts, begins[-1])
    rates = [rate for days in amounts.days if (rate := use_rate(amounts, days)) is not None]
    # A shorter span counts where use has grown for certain; else the longer one knows better how uneven it is.
    rates = [rate for rate in rates[:-1] if rate.low > rates[-1].high] + rates[-1:]
    usual = rates[0] if rates else None
    loss = even_loss(amounts)
    if loss is not None and usual is not None and loss.mol_day < _TIMES_USUAL * max(usual.mol_day, 0.0):
        loss = None
    low_mol, high_mol = reserve_mol
    elapsed_days = max(0, now_ms - int(amounts.at_ms[-1])) / DAY_MS
    fastest = max([*(rate.high for rate in rates), *([] if loss is None else [loss.mol_day])], default=None)
    seen = [rate for rate in rates if rate.seen]
    slowest = min((rate.low for rate in seen), default=0.0)
    days_low: float | None = None
    days_high: float | None = None
    empty = mol <= high_mol
    if empty:
        days_low = days_high = 0.0
    elif fastest is not None and fastest > 0.0:
        usable = max(0.0, mol - 2.0 * amounts.u_mol - high_mol - fastest * elapsed_days)
        days_low = min(MOST_DAYS, usable / fastest)
        if not seen and loss is None and days_low < _FAR_DAYS:
            days_low = None
        if slowest > 0.0:
            usable = max(0.0, mol + 2.0 * amounts.u_mol - low_mol - slowest * elapsed_days)
            days_high = min(MOST_DAYS, usable / slowest)
    return CylinderUse(mol, amounts.u_mol, usual, days_low, days_high, loss, refilled_ms, empty)


def use_rate(amounts: Amounts, days: float) -> UseRate | None:
    """Work out the gas drawn a day over the last so many days; None while there is less than a week.

    Refills begin new segments, whose use is added up.
    """
    begins = _segment_begins(amounts)
    # The amount before the span counts with it, so that a span of a week is at least a week long.
    first = max(0, int(np.searchsorted(amounts.at_ms, amounts.at_ms[-1] - days * DAY_MS)) - 1)
    begins = [first, *(begin for begin in begins if begin > first)]
    drawn, variance, observed, apart, daily = 0.0, 0.0, 0.0, 0.0, []
    for begin, end in zip(begins, [*begins[1:], len(amounts.at_ms)], strict=True):
        at, levels = _day_levels(amounts.at_ms[begin:end], amounts.mol[begin:end])
        span = (int(amounts.at_ms[end - 1]) - int(amounts.at_ms[begin])) / DAY_MS
        if len(levels) < 2 or span < _LEAST_SEGMENT_DAYS:
            continue
        drawn += levels[0] - levels[-1]
        variance += 2.0 * amounts.u_level_mol**2
        observed += span
        apart += (at[-1] - at[0]) / DAY_MS
        daily += [*(-np.diff(levels) / (np.diff(at) / DAY_MS))]
    if observed < _LEAST_DAYS or apart <= 0.0:
        return None
    u_drawn = sqrt(variance)
    mol_day, u_day = drawn / apart, u_drawn / apart
    seen = drawn > _SEEN_U * u_drawn
    uneven = _UNEVEN_SE * sqrt(float(np.var(daily, ddof=1)) / len(daily)) if len(daily) > 1 else 0.0
    half = hypot(_SEEN_U * u_day, uneven) if seen else _SEEN_U * u_day
    # Of a few large steps one more may as well have come.
    one_more = max(0.0, max(daily, default=0.0) - mol_day) / apart if seen else 0.0
    high = max(mol_day, 0.0) + half + one_more
    low = max(mol_day - half, _LEAST_USE_SHARE * mol_day) if seen else 0.0
    return UseRate(mol_day, low, high, seen, observed)


def even_loss(amounts: Amounts) -> EvenLoss | None:
    """Find a loss that goes on evenly up to the newest amount, the fastest of those over 3 and 24 hours."""
    begin = _segment_begins(amounts)[-1]
    present = replace(amounts, at_ms=amounts.at_ms[begin:], mol=amounts.mol[begin:])
    losses = [loss for hours in _EVEN_HOURS if (loss := _even_loss(present, hours)) is not None]
    return max(losses, key=lambda loss: loss.mol_day, default=None)


def _even_loss(amounts: Amounts, hours: float) -> EvenLoss | None:
    begin_ms = int(amounts.at_ms[-1]) - hours * _HOUR_MS
    first = max(0, int(np.searchsorted(amounts.at_ms, begin_ms, "right")) - 1)
    at, mol = amounts.at_ms[first:], amounts.mol[first:]
    # A gap before it would make it another span.
    if len(at) < 4 or not hours <= (at[-1] - at[0]) / _HOUR_MS <= _LONGEST_SPAN * hours:
        return None
    quarters = np.minimum((at - at[0]) * 4 // (at[-1] - at[0] + 1), 3)
    if len(set(quarters.tolist())) < 4:
        return None
    levels = np.array([float(np.median(mol[quarters == quarter])) for quarter in range(4)])
    times = np.array([float(np.mean(at[quarters == quarter])) for quarter in range(4)])
    lost = float(levels[0] - levels[-1])
    certain = _EVEN_U * sqrt(2.0) * amounts.u_level_mol
    if lost <= certain or (-np.diff(levels) < _EVEN_SHARE * lost).any():
        return None
    # A cylinder that cools down after the sun was on it seems to lose what it seemed to gain before, and no more.
    before = amounts.mol[max(0, int(np.searchsorted(amounts.at_ms, at[0] - _BEFORE_DAYS * DAY_MS))) : first]
    if len(before) and float(np.quantile(before, _LOW_SHARE)) - levels[-1] <= certain:
        return None
    return EvenLoss(lost / ((times[-1] - times[0]) / DAY_MS), hours)


def _segment_begins(amounts: Amounts) -> list[int]:
    """Find where the cylinder was filled or changed: the index of each first amount after a rise, 0 before all.

    The median of the three amounts before is compared with that of the three after, so one wrong reading does not
    look like a refill. A rise that a cylinder in the sun could make has to last for a day.
    """
    mol, at_ms = amounts.mol, amounts.at_ms
    full = float(np.max(mol))
    least = max(_RISE_U * amounts.u_level_mol, _RISE_SHARE * full)
    count = len(mol)
    of_three = np.median(sliding_window_view(mol, 3), axis=1) if count >= 3 else mol[:0]
    # At the ends there are fewer than three.
    after = np.append(of_three, [float(np.median(mol[index:])) for index in range(max(0, count - 2), count)])
    first = [float(np.median(mol[:index])) for index in range(1, min(3, count))]
    before = np.concatenate((first, of_three[:-1]))
    risen = (1 + np.flatnonzero(after[1:] - before > least)).tolist()
    begins = [0]
    run: list[int] = []
    for index in [*risen, count + 1]:
        if run and index != run[-1] + 1:
            # Of neighbours that all see the rise, the one that makes it.
            begin = max(run, key=lambda each: float(mol[each] - mol[each - 1]))
            level = float(before[run[0] - 1])
            day = int(np.searchsorted(at_ms, at_ms[begin] + DAY_MS))
            has_lasted = day < count and float(np.quantile(mol[begin:day], _LASTS_SHARE)) - level > least
            if has_lasted or float(np.max(after[run])) - level > _SUNNY_SHARE * full:
                begins.append(begin)
            run = []
        run.append(index)
    return begins


def _day_levels(at_ms: npt.NDArray[np.int64], mol: _Floats) -> tuple[Sequence[float], Sequence[float]]:
    """Give the levels of a segment, mean time and median amount of each day: so many equal parts of it as it has whole
    days, two at least.
    """
    if not len(at_ms):
        return (), ()
    span_ms = max(1, int(at_ms[-1]) - int(at_ms[0]))
    whole = max(2, span_ms // DAY_MS)
    days = np.minimum((at_ms - at_ms[0]) * whole // span_ms, whole - 1)
    numbers = np.unique(days)
    return (
        [float(np.mean(at_ms[days == day])) for day in numbers],
        [float(np.median(mol[days == day])) for day in numbers],
    )


def _newest_level(amounts: Amounts, begin: int) -> float:
    """Give the newest amount, as the median of the last three of its segment within three hours."""
    recent = amounts.at_ms[begin:] >= amounts.at_ms[-1] - 3 * _HOUR_MS
    return float(np.median(amounts.mol[begin:][recent][-3:]))
