"""One vessel as its readings come: fed minute by minute, and built from its history when its past has changed. Pure."""

from __future__ import annotations

__all__ = ["AHEAD_MS", "FINE_MS", "FollowedVessel", "VesselJudged", "value_in_scale"]

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np

from alerts.blanket.episodes import BlanketEpisode, Timeline
from alerts.blanket.instruments import InstrumentSeries, VesselInstruments
from alerts.blanket.points import instrument_id, is_usable, joined, minute_arrays, moment_point
from alerts.blanket.series_minutes import MINUTE_MS, MinuteMean, SeriesMinutes
from alerts.blanket.setting import BlanketSetting
from alerts.blanket.vessel_watch import Detector, VesselWatch
from alerts.gas.blanket_facts import BlanketJudgement, BlanketPoint
from alerts.gas.common_air import AirWitness
from ingest.reading import Scale
from ingest.store.readings.block import Arrays

# A probe's own clock may be ahead by as much as the store lets in.
AHEAD_MS: Final = 600_000
# So much of the past is read minute by minute, even where nothing moved.
FINE_MS: Final = 6 * 3_600_000
# Readings that are later than this change what was judged; a vessel is built again for it so often at most.
_LATE_MINUTES: Final = 10
_AGAIN_MS: Final = 600_000


class VesselJudged(NamedTuple):
    """The judgement of a vessel's gas, and what it rests on: the episode, the newest point, when the pressure was last
    read (UTC ms; None: never).
    """

    setting: BlanketSetting
    episode: BlanketEpisode
    judgement: BlanketJudgement
    point: BlanketPoint | None
    pressure_ms: int | None

    @property
    def has_blanket(self) -> bool:
        """Whether a gas is kept over the wine, by the cellar file or the journal."""
        return self.setting.vessel.gas is not None or self.episode.gas_by_journal


class FollowedVessel:
    """A vessel with its watch. stale: its watch must be built from its history."""

    def __init__(
        self,
        setting: BlanketSetting,
        instruments: VesselInstruments,
        detector: Detector,
    ) -> None:
        self.setting = setting
        self.instruments = instruments
        self.stale = True
        self.built_ms: int | None = None
        self._timeline: Timeline = ()
        self._detector = detector
        self._watch: VesselWatch | None = None
        self._pressure_ms: int | None = None
        # The last minute of the pressure that was fed.
        self._fed = 0

    @property
    def can_be_built(self) -> bool:
        """Whether anything is known of it yet: a series of its pressure, and the journal."""
        return bool(self.instruments.pressure and self._timeline)

    @property
    def was_built(self) -> bool:
        """Whether it has a watch, be it a stale one."""
        return self._watch is not None

    def take_timeline(self, timeline: Timeline, since_ms: int) -> None:
        """Take what the journal says now; where it says something else since then, the vessel is stale."""
        self._timeline = timeline
        if self._watch is not None and not self._watch.extend(timeline, since_ms):
            self.stale = True

    def judge(self, now_ms: int) -> VesselJudged | None:
        """Judge as of now (UTC ms); None where the gas is not judged, or the vessel was never built."""
        watch = self._watch
        judgement = None if watch is None else watch.judge(now_ms)
        if watch is None or judgement is None:
            return None
        return VesselJudged(self.setting, watch.episode, judgement, watch.last, self._pressure_ms)

    # ---- the weather, where no barometer shows it

    @property
    def pressure_kpa(self) -> float | None:
        """The newest gauge pressure that was fed, None without one."""
        return None if self._watch is None or self._watch.last is None else self._watch.last.pressure_kpa

    @property
    def shows_air_to_kpa(self) -> float | None:
        """How well the gauge shows others the weather, as ``BlanketWatch`` has it; None for a vessel that is stale."""
        return None if self._watch is None or self.stale else self._watch.shows_air_to_kpa

    def air_witness(self) -> AirWitness | None:
        """Make what the gauge shows others of the weather."""
        return None if self._watch is None else self._watch.air_witness()

    def hear(self, witnesses: Sequence[AirWitness]) -> None:
        """Take what other vessels' gauges show of the weather."""
        if self._watch is not None:
            self._watch.hear(witnesses)

    # ---- readings as they come ----------------------------------------------------------------------------------

    def feed(self, minutes: Mapping[int, SeriesMinutes], before: int, now_ms: int) -> None:
        """Feed the minutes that are over. minutes: of each series; before: the first minute that is not over."""
        watch, instruments = self._watch, self.instruments
        if watch is None:
            return
        if watch.last is not None and watch.last.at_ms > now_ms + AHEAD_MS:
            # The clock was set back: what was fed lies in times that have yet to come.
            self.stale = True
            return

        def living(of_role: Sequence[InstrumentSeries]) -> SeriesMinutes | None:
            return minutes.get(of_role[-1].series) if of_role else None

        pressure, temperature = living(instruments.pressure), living(instruments.temperature)
        for series in (pressure, temperature):
            if series is not None and self._is_late(series, now_ms):
                self.stale = True
                return
        if pressure is None or temperature is None:
            return
        barometer, room = living(instruments.barometer), living(instruments.room)
        hold_ms = instruments.hold_ms
        for mean in pressure.between(self._fed, before):
            self._fed, self._pressure_ms = mean.minute, mean.at_ms
            celsius = _held(temperature, mean, hold_ms[0])
            if celsius is None:
                continue
            air, around = _held(barometer, mean, hold_ms[1]), _held(room, mean, hold_ms[2])
            point = moment_point(
                self.setting,
                mean.at_ms,
                mean.value,
                celsius.value,
                None if air is None else air.value,
                None if around is None else around.value,
            )
            by = (_read_by(instruments.pressure[-1], mean), _read_by(instruments.temperature[-1], celsius))
            watch.add(point, by)

    def _is_late(self, series: SeriesMinutes, now_ms: int) -> bool:
        """Whether readings came that belong before what was fed, and the vessel may be built again."""
        if series.earliest is None or series.earliest > self._fed - _LATE_MINUTES:
            series.note_taken()
            return False
        return now_ms - (self.built_ms or 0) >= _AGAIN_MS

    # ---- history ------------------------------------------------------------------------------------------------

    def build(self, read: Mapping[int, Arrays], after_id: int, before: int, now_ms: int) -> dict[int, SeriesMinutes]:
        """Build the watch from the past, and give the newest minutes of each series, to go on from.

        read: unscaled readings of each series, up to the row after_id; before: the first minute that is not over.
        """
        instruments, end_ms = self.instruments, before * MINUTE_MS

        def of_role(role: Iterable[InstrumentSeries]) -> list[tuple[int, Arrays, Sequence[Scale]]]:
            return [
                (each.series, _until(read[each.series], end_ms), each.scales) for each in role if each.series in read
            ]

        pressure = minute_arrays(of_role(instruments.pressure))
        temperature, barometer, room = (
            minute_arrays(of_role(role)) for role in (instruments.temperature, instruments.barometer, instruments.room)
        )
        is_read = len(pressure.at_ms) > 0
        watch = VesselWatch(
            self.setting.vessel.id,
            self._timeline,
            int(pressure.at_ms[0]) if is_read else end_ms,
            silent_ms=self.setting.silent_ms,
            barometer=self.setting.is_gauge and self.setting.barometer is not None,
            detector=self._detector,
        )
        fine_ms = end_ms - FINE_MS
        for point, by in joined(self.setting, pressure, temperature, barometer, room, instruments.hold_ms, fine_ms):
            watch.add(point, by)
        self._watch, self.stale, self.built_ms = watch, False, now_ms
        self._fed = int(pressure.minute[-1]) if is_read else before - 1
        self._pressure_ms = int(pressure.at_ms[-1]) if is_read else None
        from_ms = end_ms - max(instruments.hold_ms)
        return {each.series: _newest_minutes(each, read, after_id, from_ms) for each in instruments.all}


def value_in_scale(scales: Sequence[Scale], at_ms: int, number: float) -> float:
    """Turn a stored number into a value, by the scale that holds at its time."""
    scale = scales[_scale_place(scales, at_ms)]
    return scale.gain * number + scale.offset


def _scale_place(scales: Sequence[Scale], at_ms: int) -> int:
    """The place of the scale that holds at a time: the newest not after it, or the first there is."""
    return 0 if len(scales) == 1 else max(bisect_right(scales, at_ms, key=lambda scale: scale.from_ms) - 1, 0)


def _read_by(instrument: InstrumentSeries, mean: MinuteMean) -> int:
    return instrument_id(instrument.series, _scale_place(instrument.scales, mean.at_ms))


def _held(series: SeriesMinutes | None, at: MinuteMean, hold_ms: int) -> MinuteMean | None:
    """The newest mean of another quantity at a pressure's minute, None where it is too old."""
    newest = None if series is None else series.newest(at.minute)
    return newest if newest is not None and at.at_ms - newest.at_ms <= hold_ms else None


def _until(readings: Arrays, to_ms: int) -> Arrays:
    return readings.part(slice(0, int(np.searchsorted(readings.at_ms, to_ms))))


def _newest_minutes(
    instrument: InstrumentSeries, read: Mapping[int, Arrays], after_id: int, from_ms: int
) -> SeriesMinutes:
    """The minutes of a series from a time on."""
    minutes, readings = SeriesMinutes(after_id), read.get(instrument.series)
    if readings is not None:
        newest = readings.part(slice(int(np.searchsorted(readings.at_ms, from_ms)), None))
        for at_ms, number, quality in zip(*(column.tolist() for column in newest), strict=True):
            if is_usable(quality):
                minutes.add(at_ms, value_in_scale(instrument.scales, at_ms, number))
    minutes.note_taken()
    return minutes
