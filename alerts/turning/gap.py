"""A gap in the watch: noticed, waited for until what there is has been judged, and reported once with what is found.

While the report is being prepared, alarms of medium and low priority are held back for it, so that a start after a
power cut is one message and not a dozen. Alarms of high priority go out at once, and stand in the report too.
"""

from __future__ import annotations

__all__ = ["AWAY_S", "SETTLE_S", "Gap"]

import logging
import sqlite3
from collections.abc import Iterable, Mapping
from typing import Final

from alerts.message.gap_report import Found, NotJudged, not_judged, put_gap_report
from alerts.message.standing import standing_alarms, standing_line
from alerts.message.subject import is_beyond
from alerts.view.format import duration_text, limit_value_text, local_time, measured_name, setpoint_text
from alerts.watch.level import LevelTrack
from alerts.watch.turn_inputs import Now, WatchReading, may_be_judged
from alerts.watch.watch_state import LimitRecord, WatchState
from ingest.cellar import Cellar, EffectiveLimit
from ingest.store import Store
from ingest.store.change_feed import SETTLED, cursor, set_cursor

log = logging.getLogger("alerts")

# When no limit was judged for longer than this, a message says so; docs/operations.md states this number. A restart or
# an update takes less.
AWAY_S: Final = 600.0
# A shorter gap is logged, from here on.
LOGGED_S: Final = 60.0
# So long the watch goes on before it reports: a broker has delivered its backlog, and most probes have reported.
SETTLE_S: Final = 60.0
# A report does not wait longer for a backlog to be judged.
LATEST_S: Final = 600.0

_FROM: Final = "gap from"
_TO: Final = "gap to"


class Gap:
    """A gap from when it is noticed until its report is in the outbox. A restart in between goes on with it."""

    def __init__(self, cellar: Cellar, store: Store, limits: Mapping[str, EffectiveLimit], now: Now) -> None:
        self._cellar = cellar
        self._store = store
        self._limits = limits
        self._on_value: dict[str, list[EffectiveLimit]] = {}
        from_ms = cursor(store, _FROM)
        self._open = NotJudged(from_ms, cursor(store, _TO) or now.utc_ms) if from_ms else None
        self._noticed = now
        self._is_kept = True
        self._worst: dict[str, float] = {}
        self.watch(limits)

    def watch(self, limits: Mapping[str, EffectiveLimit]) -> None:
        """Take the limits that are watched from now on."""
        self._limits = limits
        self._on_value = {}
        for limit in limits.values():
            if limit.kind in ("low", "high"):
                self._on_value.setdefault(limit.probe, []).append(limit)

    @property
    def report_by_ms(self) -> int | None:
        """Until when (UTC ms) messages are held back for the report at the latest, None without a gap."""
        return None if self._open is None else self._noticed.utc_ms + round(LATEST_S * 1000)

    @property
    def has_news(self) -> bool:
        """Whether a gap was noticed that the store does not know of yet."""
        return not self._is_kept

    def notice(self, away_s: float, judged_id: int, now: Now) -> None:
        """Take that no limit was judged for so long before now, in seconds. judged_id: the last row judged before."""
        if away_s <= LOGGED_S or not self._is_kept:
            return
        if away_s <= AWAY_S:
            log.warning("no limit was judged for %s", duration_text(away_s))
            return
        from_ms = now.utc_ms - round(away_s * 1000)
        if self._open is not None:
            from_ms = min(from_ms, self._open.from_ms)
        settled = (cursor(self._store, SETTLED) or 0) > judged_id
        self._open = NotJudged(from_ms, now.utc_ms, settled)
        self._noticed, self._is_kept = now, False
        log.warning("no limit was judged for %s; what is found is reported", duration_text(away_s))

    def see(self, readings: Iterable[WatchReading]) -> None:
        """Look at what is judged while the report is prepared: how far values went beyond their limits."""
        if self._open is None:
            return
        for reading in readings:
            if reading.at_ms < self._open.from_ms or not may_be_judged(reading.value, reading.quality):
                continue
            for limit in self._on_value.get(reading.probe, ()):
                sign = 1 if limit.kind == "high" else -1
                if sign * reading.value > sign * self._worst.get(limit.key, limit.setpoint):
                    self._worst[limit.key] = reading.value

    def is_ready(self, now: Now, *, is_caught_up: bool) -> bool:
        """Whether the report is due. is_caught_up: everything that is stored has been judged."""
        if self._open is None:
            return False
        waited_s = now.mono - self._noticed.mono
        return (waited_s >= SETTLE_S and is_caught_up) or waited_s >= LATEST_S

    def keep(self, connection: sqlite3.Connection, state: WatchState, now: Now, *, report: bool) -> int:
        """Note an open gap, and report it if that is due; inside a turn's transaction. Gives the number of messages."""
        if self._open is not None and not self._is_kept:
            set_cursor(connection, _FROM, self._open.from_ms)
            set_cursor(connection, _TO, self._open.to_ms)

        return self._report(connection, state, now) if report else 0

    def _report(self, connection: sqlite3.Connection, state: WatchState, now: Now) -> int:
        assert self._open is not None
        set_cursor(connection, _FROM, 0)
        text = not_judged(self._open, self._found(state, now), self._cellar.file, self._cellar.site.zone)
        return put_gap_report(connection, text, self._open, self._cellar, now.utc_ms)

    def kept(self, *, reported: bool) -> None:
        """The transaction was committed. reported: with the report in it."""
        self._is_kept = True
        if reported:
            self._open = None
            self._worst.clear()

    def _found(self, state: WatchState, now: Now) -> Found:
        zone = self._cellar.site.zone
        standing = standing_alarms(state.records, self._limits)
        # A limit on wine may have gone since, with its wine.
        worst = [
            _worst_line(self._limits[key], value, state.records.get(key))
            for key, value in self._worst.items()
            if key not in standing and key in self._limits
        ]
        silent = []
        for limit in self._limits.values():
            if limit.kind != "no data" or limit.role == "bad measurement" or not limit.probe:
                continue
            clock = state.clocks.get(limit.probe)
            newest_ms = None if clock is None else clock.newest_ms
            if newest_ms is None:
                silent.append(f"{limit.probe} at {limit.at}: no reading so far")
            elif now.utc_ms - newest_ms > limit.setpoint * 1000:
                silent.append(f"{limit.probe} at {limit.at}: last {local_time(newest_ms, zone, now.utc_ms)}")
        high = sum(self._limits[key].priority == "high" for key in standing)
        return Found(
            tuple(standing_line(state.records[key], self._limits[key], zone) for key in standing),
            high,
            tuple(worst),
            tuple(silent),
        )


def _worst_line(limit: EffectiveLimit, value: float, record: LimitRecord | None) -> str:
    """How far a value was beyond a limit whose alarm does not stand, and where it is now."""
    worst = "highest" if limit.kind == "high" else "lowest"
    line = f"{limit.at} {measured_name(limit)}: {worst} {limit_value_text(value, limit)}, limit {setpoint_text(limit)}"
    if record is None or not isinstance(record.track, LevelTrack) or record.track.value is None:
        return line
    line += f", now {limit_value_text(record.track.value, limit)}"
    if not record.alarm.mutes or not is_beyond(limit, record.track.value):
        return line
    because = record.alarm.suppressed_because
    return f"{line}, muted: {because}" if because else f"{line}, muted"
