"""The watch over the gas in every vessel of a cellar: follows the store, and feeds each vessel.

Only what is new is read: rows of fresh readings by their ids, the journal when it changed. A vessel whose past changed
(an entry of an earlier time, a strike, readings that came late, a calibration) is built again from its history. Times
are those of the readings; a minute is fed when it is over.
"""

from __future__ import annotations

__all__ = ["BUILD_S", "WINDOW_MS", "CellarWatch"]

import time
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from alerts.blanket.followed_vessel import AHEAD_MS, FollowedVessel, VesselJudged, value_in_scale
from alerts.blanket.instruments import vessel_instruments
from alerts.blanket.points import is_usable
from alerts.blanket.series_minutes import MINUTE_MS, SeriesMinutes
from alerts.blanket.setting import BlanketSetting, blanket_settings
from alerts.blanket.shared_air import share_air
from alerts.blanket.stored_episodes import stored_timelines
from alerts.blanket.vessel_watch import Detector
from alerts.gas.blanket_watch import BlanketWatch
from ingest.cellar import Cellar
from ingest.reading import Scale
from ingest.store import Store
from ingest.store.change_feed import SETTLED, cursor
from ingest.store.journal.journal_version import journal_version
from ingest.store.readings.series_history import fresh_after, numbers_together
from ingest.store.readings.summaries import summary
from ingest.store.readings.undated import DATED
from ingest.times import END_OF_TIME_MS

_DAY_MS: Final = 86_400_000
# So much of the past is read at a start.
WINDOW_MS: Final = 21 * _DAY_MS
# A minute is over when the readings of its end have been committed.
_COMMITTED_MS: Final = 5_000
# Minutes that another quantity's newest value may be looked for in; longer ones are kept where they are the newest.
_KEPT_MINUTES: Final = 60
# So long one call may build vessels; the others follow with the next one.
BUILD_S: Final = 10.0
# Vessels whose history is read in one look at the store, so that the look stays short.
_AT_ONCE: Final = 8
_ROWS: Final = 20_000
# The interpreter is left to the turn for a moment after so much work.
_WORK_S: Final = 0.002
_REST_S: Final = 0.001


@dataclass(slots=True)
class _Seen:
    """How far the store has been followed: the last row of fresh readings, the versions of the rest."""

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
    """All vessels whose gas is judged. detector: makes the detector of a vessel; build_s: for how long one call may
    build vessels from their history.
    """

    def __init__(
        self,
        cellar: Cellar,
        *,
        detector: Detector = BlanketWatch,
        build_s: float = BUILD_S,
    ) -> None:
        self._cellar = cellar
        self._settings = blanket_settings(cellar)
        self._line_of = {vessel: line.id for line in cellar.gas_line for vessel in line.vessels}
        self._detector = detector
        self._build_s = build_s
        self._vessels: dict[str, FollowedVessel] = {}
        self._minutes: dict[int, SeriesMinutes] = {}
        self._scales: dict[int, tuple[Scale, ...]] = {}
        self._seen = _Seen()

    def judged(self, store: Store, now_ms: int) -> list[VesselJudged]:
        """Follow the store up to now (UTC ms), and judge each vessel that has wine under gas and has been built."""
        if not self._settings:
            return []
        turns = _Turns()
        self._follow(store, now_ms)
        self._take_fresh(store, now_ms, turns)
        before = (now_ms - _COMMITTED_MS) // MINUTE_MS
        for vessel in self._vessels.values():
            if not vessel.stale:
                vessel.feed(self._minutes, before, now_ms)
                turns.give_way()
        self._build(store, now_ms, before, turns)
        share_air([*self._vessels.values()], self._line_of)
        judged = []
        for vessel in self._vessels.values():
            answer = vessel.judge(now_ms)
            if answer is not None:
                judged.append(answer)
            turns.give_way()
        for minutes in self._minutes.values():
            minutes.forget(before - _KEPT_MINUTES)
        return judged

    @property
    def unbuilt(self) -> frozenset[str]:
        """The vessels that have yet to be built from their history for the first time."""
        return frozenset(id for id, vessel in self._vessels.items() if vessel.can_be_built and not vessel.was_built)

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
            # Rows were settled that nobody looked at here.
            self._all_stale()
            seen.row = -1
        self._take_touched(store, now_ms)

    def _all_stale(self) -> None:
        for vessel in self._vessels.values():
            vessel.stale = True

    def _take_instruments(self, store: Store) -> None:
        settings = {id: _with_station(store, setting) for id, setting in self._settings.items()}
        if settings != self._settings:
            # A mean air pressure that was not known before: what is known of each episode changes with it.
            self._settings, self._seen.journal = settings, ()
        found = vessel_instruments(store, settings.values())
        for id, instruments in found.items():
            vessel = self._vessels.get(id)
            if vessel is None:
                self._vessels[id] = FollowedVessel(settings[id], instruments, self._detector)
            elif (vessel.instruments, vessel.setting) != (instruments, settings[id]):
                vessel.instruments, vessel.setting, vessel.stale = instruments, settings[id], True
        self._scales = {each.series: each.scales for instruments in found.values() for each in instruments.all}

    def _take_journal(self, store: Store, now_ms: int) -> None:
        from_ms = now_ms - WINDOW_MS
        with store.read() as connection:
            timelines = stored_timelines(connection, self._cellar, self._settings, from_ms, now_ms)
        for id, vessel in self._vessels.items():
            vessel.take_timeline(timelines[id], from_ms)

    def _take_touched(self, store: Store, now_ms: int) -> None:
        """Notice readings of earlier days that were brought in or dated again."""
        rows = store.connection.execute(
            "SELECT DISTINCT series FROM touched WHERE seq > ? AND to_ms < ? AND to_ms >= ?",
            (self._seen.touched, now_ms - _DAY_MS, now_ms - WINDOW_MS),
        ).fetchall()
        self._seen.touched = store.connection.execute("SELECT coalesce(max(seq), 0) FROM touched").fetchone()[0]
        touched = {series for (series,) in rows}
        for vessel in self._vessels.values():
            if touched and not touched.isdisjoint(each.series for each in vessel.instruments.all):
                vessel.stale = True

    def _take_fresh(self, store: Store, now_ms: int, turns: _Turns) -> None:
        """Take the rows since the last call into the minutes of their series."""
        if self._seen.row < 0:
            self._seen.row = store.connection.execute("SELECT coalesce(max(id), 0) FROM fresh").fetchone()[0]
            return
        latest_ms = now_ms + AHEAD_MS
        while True:
            rows = fresh_after(store, self._seen.row, _ROWS)
            for id, series, at_ms, number, quality in rows:
                minutes = self._minutes.get(series)
                if minutes is None or id <= minutes.after_id or at_ms > latest_ms or not is_usable(quality):
                    continue
                minutes.add(at_ms, value_in_scale(self._scales[series], at_ms, number))
            if rows:
                self._seen.row = rows[-1][0]
            turns.give_way()
            if len(rows) < _ROWS:
                return

    def _build(self, store: Store, now_ms: int, before: int, turns: _Turns) -> None:
        """Build vessels from their history, as many as there is time for, those first that never were."""
        ends = time.monotonic() + self._build_s
        waiting = [vessel for vessel in self._vessels.values() if vessel.stale and vessel.can_be_built]
        waiting.sort(key=lambda vessel: vessel.built_ms or 0)
        window = (now_ms - WINDOW_MS, now_ms + AHEAD_MS)
        for begin in range(0, len(waiting), _AT_ONCE):
            vessels = waiting[begin : begin + _AT_ONCE]
            wanted = sorted({each.series for vessel in vessels for each in vessel.instruments.all})
            with store.read() as connection:
                last_id = connection.execute("SELECT coalesce(max(id), 0) FROM fresh").fetchone()[0]
                read = dict(numbers_together(store, [(series, *window) for series in wanted]))
            for vessel in vessels:
                minutes = vessel.build(read, last_id, before, now_ms)
                own = {each.series for each in (*vessel.instruments.pressure, *vessel.instruments.temperature)}
                # A barometer is shared: once begun it is followed.
                self._minutes |= {id: each for id, each in minutes.items() if id in own or id not in self._minutes}
                turns.give_way()
            if time.monotonic() > ends:
                return


def _with_station(store: Store, setting: BlanketSetting) -> BlanketSetting:
    """Where no altitude says the mean air pressure, take what the barometer read so far. Once found, it stays."""
    if setting.station_kpa is not None or setting.barometer is None:
        return setting
    row = store.connection.execute(
        "SELECT id FROM series WHERE probe = ? AND place = ?", (setting.barometer.id, setting.barometer.at)
    ).fetchone()
    if row is None:
        return setting
    days = summary(store, row[0], 0, END_OF_TIME_MS, "day").mean
    known = days[~np.isnan(days)]
    return setting._replace(station_kpa=float(known.mean())) if len(known) else setting
