"""The watch over one vessel's gas: points and episodes go in by their times, a judgement comes out. Pure.

A vented sensor moves with the weather. Where a barometer falls silent, the air's pressure is held for a while; then the
watch goes on as for a cellar without a barometer, until it is back. Both are changes of instruments.
"""

from __future__ import annotations

__all__ = ["BAROMETER_HELD_MS", "Detector", "Instruments", "VesselWatch"]

import logging
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Final, Protocol
from zlib import crc32

from alerts.blanket.episodes import BlanketEpisode, Timeline, episode_at
from alerts.errors import OutOfRange
from alerts.gas.blanket_facts import BlanketFacts, BlanketJudgement, BlanketPoint
from alerts.gas.blanket_watch import BlanketWatch
from alerts.gas.common_air import AirWitness

log = logging.getLogger("alerts")

# The weather moves the air's pressure by some 0.1 kPa an hour (common practice, no source).
BAROMETER_HELD_MS: Final = 2 * 3_600_000

# Detectors do their longest work all at the same minute, unless it is spread over so many.
_SPREAD_MINUTES: Final = 12


class Detector(Protocol):
    """Makes what detects."""

    def __call__(self, facts: BlanketFacts, *, later_ms: int, silent_ms: int) -> BlanketWatch:
        """Begin with what is known; later_ms, silent_ms: as ``BlanketWatch`` takes them."""


Instruments = tuple[int, ...]
"""Which instruments read a point, and by which of their calibrations: another value is another set of them."""


class VesselWatch:
    """A detector with the timeline of its vessel.

    vessel: its id; from_ms: where the points begin; silent_ms: a newest point that is older than this says nothing of
    now; barometer: whether one is meant to say the air's pressure to a vented sensor; detector: makes the detector from
    what is known.
    """

    def __init__(
        self,
        vessel: str,
        timeline: Timeline,
        from_ms: int,
        *,
        silent_ms: int,
        barometer: bool = False,
        detector: Detector = BlanketWatch,
    ) -> None:
        self.last: BlanketPoint | None = None
        self._vessel = vessel
        self._timeline = timeline
        self._needs_barometer = barometer
        self._silent_ms = silent_ms
        self._detector = detector
        self._later_ms = crc32(vessel.encode()) % _SPREAD_MINUTES * 60_000
        self._watch: BlanketWatch | None = None
        # Why nothing could be worked out last, "" if it could.
        self._trouble = ""
        self._instruments: Instruments | None = None
        self._air_kpa: float | None = None
        self._silent_since_ms: int | None = None
        self._weather_moves = False
        self._place = episode_at(timeline, from_ms)
        self._entered_ms = from_ms
        self._enter(from_ms)

    @property
    def episode(self) -> BlanketEpisode:
        """The episode that the watch is in."""
        return self._timeline[self._place]

    @property
    def facts(self) -> BlanketFacts | None:
        """What is known in it, None where the gas is not judged."""
        facts = self.episode.facts
        if facts is None or not self._weather_moves:
            return facts
        return replace(facts, weather_moves=True, station_kpa=self._air_kpa or facts.station_kpa)

    def extend(self, timeline: Timeline, since_ms: int) -> bool:
        """Take a newer timeline; False where it says something else of what was taken already, from since_ms on."""
        now_place = episode_at(timeline, self._reached_ms)
        old, new = self._timeline[: self._place + 1], timeline[: now_place + 1]
        if _since(old, since_ms) != _since(new, since_ms):
            return False
        self._timeline, self._place = timeline, now_place
        return True

    @property
    def _reached_ms(self) -> int:
        return self._entered_ms if self.last is None else max(self._entered_ms, self.last.at_ms)

    def add(self, point: BlanketPoint, instruments: Instruments) -> None:
        """Take a point; one that is not after the last, or from before the episode, is left out."""
        if self.last is not None and point.at_ms <= self.last.at_ms:
            return
        self._go_on(point.at_ms)
        if point.at_ms < self._entered_ms:
            return
        self.last = point
        if self.episode.facts is None:
            return
        changed = self._instruments is not None and self._instruments != instruments
        self._instruments = instruments
        if self._needs_barometer:
            was_moved = self._weather_moves
            point = self._with_air(point)
            changed = changed or was_moved != self._weather_moves
        facts, watch = self.facts, self._watch
        if facts is None or watch is None:
            return
        with self._noting_trouble():
            if changed:
                watch.begin_episode(point.at_ms, "probe changed", facts)
            watch.add(point)

    @property
    def shows_air_to_kpa(self) -> float | None:
        """How well the gauge shows others the weather, as ``BlanketWatch`` has it."""
        return None if self._watch is None or self.facts is None or self._trouble else self._watch.shows_air_to_kpa

    def air_witness(self) -> AirWitness | None:
        """Make what the gauge shows others of the weather."""
        if self._watch is None:
            return None
        witness = None
        with self._noting_trouble():
            witness = self._watch.air_witness()
        return witness

    def hear(self, witnesses: Sequence[AirWitness]) -> None:
        """Take what other vessels' gauges show of the weather."""
        if self._watch is not None:
            self._watch.hear(witnesses)

    def judge(self, at_ms: int) -> BlanketJudgement | None:
        """Judge as of a time (UTC ms); None where the gas is not judged then."""
        self._go_on(at_ms)
        last, watch = self.last, self._watch
        if self.facts is None or (watch is None and not self._trouble):
            return None
        raw_kpa = None if last is None else last.pressure_kpa
        if last is None or at_ms - last.at_ms > self._silent_ms:
            return BlanketJudgement(at_ms, "no judgement", raw_kpa=raw_kpa)
        if watch is not None and not self._trouble:
            with self._noting_trouble():
                return watch.judge(max(at_ms, self._reached_ms))
        return BlanketJudgement(at_ms, "no judgement", raw_kpa=raw_kpa, warnings=(self._trouble,))

    def _go_on(self, at_ms: int) -> None:
        """Enter the episodes that have begun by a time."""
        while self._place + 1 < len(self._timeline) and self._timeline[self._place + 1].at_ms <= at_ms:
            self._place += 1
            self._enter(self.episode.at_ms)

    def _enter(self, at_ms: int) -> None:
        self._entered_ms = at_ms
        facts = self.facts
        if facts is None:
            return
        with self._noting_trouble():
            if self._watch is None:
                self._watch = self._detector(facts, later_ms=self._later_ms, silent_ms=self._silent_ms)
            else:
                self._watch.begin_episode(at_ms, self.episode.cause, facts)

    @contextmanager
    def _noting_trouble(self) -> Iterator[None]:
        """Keep what cannot be worked out, so that one strange vessel does not silence the others."""
        try:
            yield
        except (ArithmeticError, OutOfRange, ValueError) as error:
            if not self._trouble:
                log.warning("the gas in %s cannot be worked out: %s", self._vessel, error)
            self._trouble = str(error) or type(error).__name__
        else:
            self._trouble = ""

    def _with_air(self, point: BlanketPoint) -> BlanketPoint:
        """Give a point the air's pressure: as it is read, else as it was read last; without it where the weather moves
        the sensor unseen.
        """
        if point.barometer_kpa is not None:
            self._air_kpa, self._silent_since_ms, self._weather_moves = point.barometer_kpa, None, False
            return point
        if self._silent_since_ms is None:
            self._silent_since_ms = point.at_ms
        if self._air_kpa is None or point.at_ms - self._silent_since_ms > BAROMETER_HELD_MS:
            self._weather_moves = True
            return point
        return point._replace(barometer_kpa=self._air_kpa)


def _since(timeline: Timeline, since_ms: int) -> tuple[BlanketFacts | BlanketEpisode | None, ...]:
    """What a timeline says from a time on: the facts that held then, and the episodes after it."""
    place = episode_at(timeline, since_ms)
    return (timeline[place].facts, *timeline[place + 1 :])
