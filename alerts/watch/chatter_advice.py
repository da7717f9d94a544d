"""What would end a chatter: the deadband or the on-delay that a limit's own readings suggest.

* **Deadband.** Between the first and the last reading beyond the setpoint the value came back by some depth at most. A
  deadband of that depth makes one occurrence of them all.
* **On-delay.** The value stayed beyond the setpoint for some time at most, from the first reading beyond it to the next
  one that is not. An on-delay longer than that raises nothing.
* **No-data time**, of a limit on silence: longer than the longest time between two readings.

Each is rounded up to a number that a person would write, and given only if the readings, judged again with it, do not
chatter. A value that really swings far, or stays beyond the limit for long, is no matter for either: then neither is
given, for its cause has to be found.
"""

from __future__ import annotations

__all__ = ["ChatterAdvice", "advise"]

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final, NamedTuple

from alerts.watch import level
from alerts.watch.chatter import MOST_RAISES
from alerts.watch.level import LevelTrack
from alerts.watch.turn_inputs import WatchReading, may_be_judged
from ingest.cellar import EffectiveLimit, difference_in_unit

# A value that swings farther than this is not restless but changes; by the quantity's name, in its unit. Some five
# times the usual deadband; this project's choice.
_MOST_DEADBAND: Final = {"pressure": 10.0, "barometric_pressure": 1.0, "temperature": 2.0, "pH": 0.15}
# An alarm that waits longer is no help: of high priority, and any other. This project's choice.
_MOST_DELAY_S: Final = {"high": 300.0, "medium": 1800.0, "low": 1800.0}
_MOST_SILENCE_S: Final = 86_400.0

_STEPS: Final = (1.0, 1.5, 2.0, 3.0, 5.0, 7.0, 10.0)
_MINUTES: Final = (0.25, 0.5, 1, 2, 3, 5, 10, 15, 20, 30, 60, 120, 240, 480)
_DELAYS_S: Final = tuple(60.0 * minutes for minutes in _MINUTES)


class ChatterAdvice(NamedTuple):
    """What would end a chatter.

    deadband: in the quantity's unit; on_delay_s, no_data_s: seconds; None where it would not help. depth: how far the
    value came back between its excursions, in the quantity's unit; excursion_s: the longest of them; None if unknown.
    """

    deadband: float | None = None
    on_delay_s: float | None = None
    no_data_s: float | None = None
    depth: float | None = None
    excursion_s: float | None = None


def advise(limit: EffectiveLimit, readings: Sequence[WatchReading], *, fresh_s: float) -> ChatterAdvice:
    """Find what would keep these readings from chattering.

    readings: those of the limit's probe over the time in which it chattered, oldest first; fresh_s: the probe's no-data
    time in seconds. Without readings, or for a limit on anything but a value or silence, nothing is advised.
    """
    if limit.kind == "no data":
        return _on_silence(limit, readings)
    if limit.kind not in ("low", "high"):
        return ChatterAdvice()
    good = [reading for reading in readings if may_be_judged(reading.value, reading.quality)]
    sign = 1.0 if limit.kind == "high" else -1.0
    beyond = [sign * (reading.value - limit.setpoint) for reading in good]
    places = [place for place, distance in enumerate(beyond) if distance > 0]
    if not places:
        return ChatterAdvice()
    depth = max(0.0, -min(beyond[places[0] : places[-1] + 1]))
    excursion_s = _longest_excursion_s(good, beyond)
    deadband = _deadband(limit, depth)
    if deadband is not None and _chatters(replace(limit, deadband=deadband), good, fresh_s):
        deadband = None
    delay_s = _rounded_delay(excursion_s, limit.on_delay_s, _MOST_DELAY_S[limit.priority])
    if delay_s is not None and _chatters(replace(limit, on_delay_s=delay_s), good, fresh_s):
        delay_s = None
    return ChatterAdvice(deadband=deadband, on_delay_s=delay_s, depth=depth, excursion_s=excursion_s)


def _on_silence(limit: EffectiveLimit, readings: Sequence[WatchReading]) -> ChatterAdvice:
    if not limit.probe or limit.role:
        return ChatterAdvice()
    pairs = pairwise(readings)
    longest_s = max((later.at_ms - earlier.at_ms for earlier, later in pairs), default=0) / 1000
    return ChatterAdvice(no_data_s=_rounded_delay(longest_s, limit.setpoint, _MOST_SILENCE_S))


def _longest_excursion_s(readings: Sequence[WatchReading], beyond: Sequence[float]) -> float:
    longest_ms = 0
    began_ms: int | None = None
    for reading, distance in zip(readings, beyond, strict=True):
        if began_ms is not None:
            longest_ms = max(longest_ms, reading.at_ms - began_ms)
        if distance <= 0:
            began_ms = None
        elif began_ms is None:
            began_ms = reading.at_ms
    return longest_ms / 1000


def _deadband(limit: EffectiveLimit, depth: float) -> float | None:
    """The next number in the limit's own unit that is no less than the depth; None beyond what a deadband is for."""
    unit_size = abs(difference_in_unit(limit.quantity, 1.0, limit.unit_text))
    most = _MOST_DEADBAND.get(limit.quantity)
    if most is None or depth <= 0:
        return None
    number = _next_step(depth * unit_size)
    deadband = number / unit_size
    return deadband if limit.deadband < deadband <= most else None


def _next_step(number: float) -> float:
    """The next of 1, 1.5, 2, 3, 5, 7 and their tenfolds that is no less than the number."""
    power = 1.0
    while power * 10.0 <= number:
        power *= 10.0
    while power > number:
        power /= 10.0
    return next(float(f"{step * power:.6g}") for step in _STEPS if step * power >= number * (1 - 1e-12))


def _rounded_delay(longest_s: float, present_s: float, most_s: float) -> float | None:
    if longest_s <= 0:
        return None
    longer: Iterable[float] = (delay for delay in _DELAYS_S if delay > max(longest_s, present_s))
    delay_s = next(iter(longer), None)
    return delay_s if delay_s is not None and delay_s <= most_s else None


def _chatters(limit: EffectiveLimit, readings: Sequence[WatchReading], fresh_s: float) -> bool:
    """Whether the limit, judged afresh, raises an alarm so often on these readings that it would be called chatter."""
    _, changes = level.judge(LevelTrack(), limit, readings, fresh_s=fresh_s, mono=0.0)
    return sum(change.active for change in changes) > MOST_RAISES
