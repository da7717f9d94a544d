"""The watch over the gas in every vessel of a cellar: follows the store, and feeds each vessel's watch.

Only what is new is read: rows of fresh readings by their ids, the journal when it changed. A vessel whose past changed
(an entry of an earlier time, a strike, readings that came late, a calibration) is built again from its history. Times
are those of the readings; a minute is fed when it is over.
"""

from __future__ import annotations

__all__ = ["BUILD_S", "WINDOW_MS", "CellarWatch", "VesselJudged"]

import time
from bisect import bisect_right
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np

from alerts.blanket.episodes import BlanketEpisode, Timeline
from alerts.blanket.instruments import InstrumentSeries, VesselInstruments, vessel_instruments
from alerts.blanket.points import instrument_id, is_usable, joined, minute_arrays, moment_point
from alerts.blanket.series_minutes import MINUTE_MS, MinuteMean, SeriesMinutes
from alerts.blanket.setting import BlanketSetting, blanket_settings
from alerts.blanket.stored_episodes import stored_timelines
from alerts.blanket.vessel_watch import VesselWatch
from alerts.gas.blanket_facts import BlanketFacts, BlanketJudgement, BlanketPoint
from alerts.gas.blanket_watch import BlanketWatch
from ingest.cellar import Cellar
from ingest.reading import Scale
from ingest.store import Store
from ingest.store.change_feed import SETTLED, cursor
from ingest.store.journal.journal_version import journal_version
from ingest.store.readings.block import Arrays
from ingest.store.readings.series_history import fresh_after, numbers_together
from ingest.store.readings.summaries import summary
from ingest.store.readings.undated import DATED

_DAY_MS: Final = 86_400_000
# So much of the past is read at a start.
WINDOW_MS: Final = 21 * _DAY_MS
# Of that, so much minute by minute.
FINE_MS: Final = 6 * 3_600_000
# A minute is over when the readings of its end have been committed.
_COMMITTED_MS: Final = 5_000
# Readings that are later than this change what was judged; a vessel is built again for it so often at most.
_LATE_MINUTES: Final = 10
_AGAIN_MS: Final = 600_000
# A probe's own clock may be ahead by as much as the store lets in.
_AHEAD_MS: Final = 600_000
# So long one call may build vessels; the others follow with the next one.
BUILD_S: Final = 10.0
# Vessels whose history is read in one look at the store, so that the look stays short.
_AT_ONCE: Final = 8
_ROWS: Final = 20_000
# The interpreter is left to the turn for a moment after so much work.
_WORK_S: Final = 0.002
_REST_S: Final = 0.001


class VesselJudged(NamedTuple):
    """The judgement of a vessel's gas, and what it rests on: the episode, the newest point, when the pressure was last
    read (UTC ms; None: never).
    """

    setting: BlanketSetting
    episode: BlanketEpisode
    judgement: BlanketJudgement
    point: BlanketPoint | None
    pressure_ms: int | None


@dataclass(slots=True)
class _FollowedVessel:
    """One vessel. stale: its watch must be built from its history; fed: the last minute that was fed."""

    setting: BlanketSetting
    instruments: VesselInstruments
    timeline: Timeline
    watch: VesselWatch | None = None
    stale: bool = True
    built_ms: int | None = None
    fed: int = 0
    pressure_ms: int | None = None


@dataclass(slots=True)
class _Seen:
    """How far the store has been followed."""

    row: int = -1
    journal: tuple[int, ...] = ()
    part: int = 0
    series: tuple[int, ...] = ()
    dated: int | None = None
    touched: int = 0


@dataclass(slots=True)
class _Turns:
    """Leaves the interpreter to other threads now and then."""

    began: float = field(default_factory=time.monotonic)

    def give_way(self) -> None:
        if time.monotonic() - self.began > _WORK_S:
            time.sleep(_REST_S)
            self.began = time.monotonic()


class CellarWatch:
    """All vessels whose gas is judged. detector: makes the detector of a vessel."""

    def __init__(
        self,
        cellar: Cellar,
        *,
        detector: Callable[[BlanketFacts], BlanketWatch] = BlanketWatch,
        build_s: float = BUILD_S,
    ) -> None:
        self._cellar = cellar
        self._settings = blanket_settings(cellar)
        self._detector = detector
        self._build_s = build_s
        self._vessels: dict[str, _FollowedVessel] = {}
        self._means: dict[int, SeriesMinutes] = {}
        self._scales: dict[int, tuple[Scale, ...]] = {}
        self._seen = _Seen()

    def judged(self, store: Store, now_ms: int) -> list[VesselJudged]:
        """Follow the store up to now (UTC ms), and judge each vessel that has wine under gas and has been built."""
        if not self._settings:
            return []
        turns = _Turns()
        self._follow(store, now_ms)
        self._take_fresh(store, now_ms, turns)
        minute = (now_ms - _COMMITTED_MS) // MINUTE_MS
        for followed in self._vessels.values():
            if not followed.stale:
                self._feed(followed, minute, now_ms)
                turns.give_way()
        self._build(store, now_ms, minute, turns)
        judged = []
        for followed in self._vessels.values():
            found = self._judge(followed, now_ms)
            if found is not None:
                judged.append(found)
            turns.give_way()
        for means in self._means.values():
            means.forget(minute - 60)
        return judged

    @property
    def unbuilt(self) -> frozenset[str]:
        """The vessels that have yet to be built from their history for the first time."""
        return frozenset(vessel for vessel, followed in self._vessels.items() if followed.watch is None)

    def _judge(self, followed: _FollowedVessel, now_ms: int) -> VesselJudged | None:
        watch = followed.watch
        judgement = None if watch is None else watch.judge(now_ms)
        if watch is None or judgement is None:
            return None
        return VesselJudged(followed.setting, watch.episode, judgement, watch.last, followed.pressure_ms)

    # ---- following the store ------------------------------------------------------------------------------------

    def _follow(self, store: Store, now_ms: int) -> None:
        """Look for what is not a new reading: entries, instruments, calibrations, times that came right."""
        seen, connection = self._seen, store.connection
        series = connection.execute("SELECT count(*), count(ended_ms) FROM series").fetchone()
        part = connection.execute(
            "SELECT max(id) FROM scale WHERE id > ? AND kind <> 'barometer'", (seen.part,)
        ).fetchone()[0]
        if series != seen.series or part is not None:
            self._take_instruments(store)
            seen.series, seen.part = series, seen.part if part is None else part
        version = journal_version(store)
        if version != seen.journal:
            self._take_journal(store, now_ms)
            seen.journal = version
        dated = cursor(store, DATED)
        if dated != seen.dated:
            self._all_stale()
            seen.dated = dated
        if seen.row >= 0 and (cursor(store, SETTLED) or 0) > seen.row:
            self._all_stale()
            seen.row = -1
        self._take_touched(store, now_ms)

    def _all_stale(self) -> None:
        for followed in self._vessels.values():
            followed.stale = True

    def _take_instruments(self, store: Store) -> None:
        # The air pressure of a place where none was known: once found, it stays.
        self._settings = {vessel: _with_station(store, setting) for vessel, setting in self._settings.items()}
        found = vessel_instruments(store, self._settings.values())
        for vessel, instruments in found.items():
            followed = self._vessels.get(vessel)
            if followed is None:
                self._vessels[vessel] = _FollowedVessel(self._settings[vessel], instruments, ())
            elif followed.instruments != instruments:
                followed.instruments, followed.stale = instruments, True
        self._scales = {each.series: each.scales for instruments in found.values() for each in instruments.all}

    def _take_journal(self, store: Store, now_ms: int) -> None:
        from_ms = now_ms - WINDOW_MS
        with store.read() as connection:
            timelines = stored_timelines(connection, self._cellar, self._settings, from_ms, now_ms)
        for vessel, followed in self._vessels.items():
            followed.timeline = timelines[vessel]
            if followed.watch is not None and not followed.watch.extend(followed.timeline, from_ms):
                followed.stale = True

    def _take_touched(self, store: Store, now_ms: int) -> None:
        """Notice readings of earlier days that were brought in or dated again."""
        rows = store.connection.execute(
            "SELECT DISTINCT series FROM touched WHERE seq > ? AND to_ms < ? AND to_ms >= ?",
            (self._seen.touched, now_ms - _DAY_MS, now_ms - WINDOW_MS),
        ).fetchall()
        self._seen.touched = store.connection.execute("SELECT coalesce(max(seq), 0) FROM touched").fetchone()[0]
        touched = {series for (series,) in rows}
        for followed in self._vessels.values():
            if touched and not touched.isdisjoint(each.series for each in followed.instruments.all):
                followed.stale = True

    # ---- readings as they come ----------------------------------------------------------------------------------

    def _take_fresh(self, store: Store, now_ms: int, turns: _Turns) -> None:
        """Take the rows since the last call into the means of their minutes."""
        if self._seen.row < 0:
            self._seen.row = store.connection.execute("SELECT coalesce(max(id), 0) FROM fresh").fetchone()[0]
            return
        latest_ms = now_ms + _AHEAD_MS
        while True:
            rows = fresh_after(store, self._seen.row, _ROWS)
            for id, series, at_ms, number, quality in rows:
                means = self._means.get(series)
                if means is None or id <= means.after_id or at_ms > latest_ms or not is_usable(quality):
                    continue
                scales = self._scales[series]
                scale = scales[_scale_place(scales, at_ms)]
                means.add(at_ms, scale.gain * number + scale.offset)
            if rows:
                self._seen.row = rows[-1][0]
            turns.give_way()
            if len(rows) < _ROWS:
                return

    def _feed(self, followed: _FollowedVessel, minute: int, now_ms: int) -> None:
        """Feed the minutes that are over; minute: the first one that is not."""
        watch, instruments = followed.watch, followed.instruments
        assert watch is not None
        if watch.last is not None and watch.last.at_ms > now_ms + _AHEAD_MS:
            # The clock was set back: what was fed lies in times that have yet to come.
            followed.stale = True
            return
        pressure = self._living(instruments.pressure)
        temperature = self._living(instruments.temperature)
        if pressure is None:
            return
        for means in (pressure, temperature):
            if means is not None and means.earliest is not None:
                if means.earliest <= followed.fed - _LATE_MINUTES and now_ms - (followed.built_ms or 0) >= _AGAIN_MS:
                    followed.stale = True
                    return
                means.note_taken()
        barometer, room = self._living(instruments.barometer), self._living(instruments.room)
        hold_ms = instruments.hold_ms
        for mean in pressure.between(followed.fed, minute):
            followed.pressure_ms = mean.at_ms
            celsius = _held(temperature, mean, hold_ms[0])
            if celsius is None or temperature is None:
                continue
            air, around = _held(barometer, mean, hold_ms[1]), _held(room, mean, hold_ms[2])
            point = moment_point(
                followed.setting,
                mean.at_ms,
                mean.value,
                celsius.value,
                None if air is None else air.value,
                None if around is None else around.value,
            )
            by = instrument_id(*_calibration(instruments.pressure[-1], mean.at_ms))
            watch.add(point, (by, instrument_id(*_calibration(instruments.temperature[-1], celsius.at_ms))))
        followed.fed = max(followed.fed, minute - 1)

    def _living(self, of_role: Sequence[InstrumentSeries]) -> SeriesMinutes | None:
        return self._means.get(of_role[-1].series) if of_role else None

    # ---- history ------------------------------------------------------------------------------------------------

    def _build(self, store: Store, now_ms: int, minute: int, turns: _Turns) -> None:
        """Build vessels from their history, as many as there is time for, those first that never were."""
        ends = time.monotonic() + self._build_s
        waiting = [
            followed
            for followed in self._vessels.values()
            if followed.stale and followed.instruments.pressure and followed.timeline
        ]
        waiting.sort(key=lambda followed: followed.built_ms or 0)
        for begin in range(0, len(waiting), _AT_ONCE):
            several = waiting[begin : begin + _AT_ONCE]
            spans = {each.series for followed in several for each in followed.instruments.all}
            with store.read() as connection:
                last_id = connection.execute("SELECT coalesce(max(id), 0) FROM fresh").fetchone()[0]
                window = (now_ms - WINDOW_MS, now_ms + _AHEAD_MS)
                read = dict(numbers_together(store, [(series, *window) for series in sorted(spans)]))
            for followed in several:
                self._build_vessel(followed, read, last_id, minute, now_ms)
                turns.give_way()
            if time.monotonic() > ends:
                return

    def _build_vessel(
        self, followed: _FollowedVessel, read: dict[int, Arrays], last_id: int, minute: int, now_ms: int
    ) -> None:
        upto_ms, instruments = minute * MINUTE_MS, followed.instruments

        def means_of(role: Iterable[InstrumentSeries]) -> list[tuple[int, Arrays, Sequence[Scale]]]:
            return [
                (each.series, _before(read[each.series], upto_ms), each.scales) for each in role if each.series in read
            ]

        pressure = minute_arrays(means_of(instruments.pressure))
        temperature, barometer, room = (
            minute_arrays(means_of(role)) for role in (instruments.temperature, instruments.barometer, instruments.room)
        )
        begin_ms = int(pressure.at_ms[0]) if len(pressure.at_ms) else upto_ms
        watch = VesselWatch(
            followed.timeline,
            begin_ms,
            silent_ms=followed.setting.silent_ms,
            barometer=followed.setting.is_gauge and followed.setting.barometer is not None,
            detector=self._detector,
        )
        fine_ms = upto_ms - FINE_MS
        for point, by in joined(followed.setting, pressure, temperature, barometer, room, instruments.hold_ms, fine_ms):
            watch.add(point, by)
        followed.watch, followed.stale, followed.built_ms, followed.fed = watch, False, now_ms, minute - 1
        followed.pressure_ms = int(pressure.at_ms[-1]) if len(pressure.at_ms) else None
        own = {each.series for each in (*instruments.pressure, *instruments.temperature)}
        hold_minutes = max(instruments.hold_ms) // MINUTE_MS
        for each in instruments.all:
            # A barometer is shared: it is begun once, and then followed.
            if each.series in own or each.series not in self._means:
                self._means[each.series] = self._begun(each, read, last_id, minute - hold_minutes)

    def _begun(
        self, instrument: InstrumentSeries, read: dict[int, Arrays], last_id: int, from_minute: int
    ) -> SeriesMinutes:
        """Begin the means of a series with its newest readings."""
        means = SeriesMinutes(last_id)
        readings = read.get(instrument.series)
        if readings is not None:
            newest = readings.part(slice(int(np.searchsorted(readings.at_ms, from_minute * MINUTE_MS)), None))
            for at_ms, number, quality in zip(*(column.tolist() for column in newest), strict=True):
                if is_usable(quality):
                    scale = instrument.scales[_scale_place(instrument.scales, at_ms)]
                    means.add(at_ms, scale.gain * number + scale.offset)
        means.note_taken()
        return means


def _before(readings: Arrays, to_ms: int) -> Arrays:
    return readings.part(slice(0, int(np.searchsorted(readings.at_ms, to_ms))))


def _scale_place(scales: Sequence[Scale], at_ms: int) -> int:
    """The place of the scale that holds at a time: the newest not after it, or the first there is."""
    return 0 if len(scales) == 1 else max(bisect_right(scales, at_ms, key=lambda scale: scale.from_ms) - 1, 0)


def _calibration(instrument: InstrumentSeries, at_ms: int) -> tuple[int, int]:
    return instrument.series, _scale_place(instrument.scales, at_ms)


def _held(means: SeriesMinutes | None, at: MinuteMean, hold_ms: int) -> MinuteMean | None:
    """The newest mean of another quantity at a pressure's minute, None where it is too old."""
    newest = None if means is None else means.newest(at.minute)
    return newest if newest is not None and at.at_ms - newest.at_ms <= hold_ms else None


def _with_station(store: Store, setting: BlanketSetting) -> BlanketSetting:
    """Where no altitude says the mean air pressure, take what the barometer read so far."""
    if setting.station_kpa is not None or setting.barometer is None:
        return setting
    row = store.connection.execute(
        "SELECT id FROM series WHERE probe = ? AND place = ?", (setting.barometer.id, setting.barometer.at)
    ).fetchone()
    if row is None:
        return setting
    days = summary(store, row[0], 0, 1 << 62, "day").mean
    known = days[~np.isnan(days)]
    return setting._replace(station_kpa=float(known.mean())) if len(known) else setting
