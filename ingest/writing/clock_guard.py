"""The writer's turns under a clock that may be wrong: wait, estimate, date."""

from __future__ import annotations

__all__ = ["ClockGuard"]

import logging
import sqlite3
from collections.abc import Callable

from ingest.machine_clock import boot_id
from ingest.store import Store
from ingest.store.change_feed import cursor, set_cursor
from ingest.store.readings.undated import KNOWN, Anchor, open_anchor
from ingest.writing.batch import Timing
from ingest.writing.board_clock import BoardClock, ClockState
from ingest.writing.writer import Writer

log = logging.getLogger("ingest")


class ClockGuard:
    """Knows what the board's clock is worth, and what to do with readings until it comes right."""

    def __init__(self, store: Store, wall_ms: int, mono: float, boot: str | None = None) -> None:
        self._boot = boot_id() if boot is None else boot
        self._anchor = open_anchor(store, self._boot)
        known_ms = cursor(store, KNOWN) or 0
        self._clock = BoardClock.at_start(known_ms, wall_ms, mono)
        if self._anchor is not None:
            # This boot has made estimates before; they go on from the same anchor, and there is no second wait.
            self._clock = BoardClock(self._anchor.known_ms, self._anchor.known_mono)
        self._trusted_mono = float("-inf")
        self._logged = ClockState.RIGHT

    @property
    def verdict(self) -> ClockState:
        """What the clock was worth at the last turn."""
        return self._clock.verdict

    def gather(self, writer: Writer, wall_ms: int, mono: float) -> bool:
        """Let the writer make readings of what waits; False while the clock is in doubt, which only a turn resolves."""
        if self._clock.verdict is not ClockState.RIGHT or self._anchor is not None:
            return False
        if self._clock.look(wall_ms, mono) is not ClockState.RIGHT:
            return False
        writer.gather(Timing(ClockState.RIGHT, wall_ms - mono * 1000, self._trusted_mono))
        self._clock.committed(wall_ms, mono)
        return True

    def turn(
        self, writer: Writer, write_pulse: Callable[[sqlite3.Connection], None] | None, wall_ms: int, mono: float
    ) -> bool:
        """Make one turn of the writer; True when all that may be stored is. Raises only what the writer raises."""
        before = self._clock.verdict
        verdict = self._clock.look(wall_ms, mono)
        self._log_change(verdict)
        if verdict is ClockState.WAITING:
            # What waits does not call for a turn, or they would follow each other without a pause.
            writer.wake.clear()
            writer.arrived.clear()
            return write_pulse is None or writer.commit_pulse(wall_ms, write_pulse)
        if verdict is ClockState.UNKNOWN:
            if self._anchor is None:
                self._anchor = Anchor(self._boot, self._clock.known_ms, self._clock.known_mono)
            timing = Timing(verdict, self._clock.estimate(0.0))
            return writer.turn(self._clock.estimate(mono), write_pulse, timing, self._anchor)
        if before is not ClockState.RIGHT:
            self._trusted_mono = mono
        if self._anchor is not None:
            shift_ms = self._clock.shift(wall_ms, mono)
            moved = writer.date(self._anchor, shift_ms, wall_ms)
            log.warning("the clock is right again: %d readings were dated again, by %+.0f s", moved, shift_ms / 1000)
            self._anchor = None
        timing = Timing(verdict, wall_ms - mono * 1000, self._trusted_mono)
        stored = writer.turn(wall_ms, self._with_known(write_pulse, wall_ms), timing)
        if stored:
            self._clock.committed(wall_ms, mono)
        if stored and not writer.waiting:
            self._trusted_mono = float("-inf")
        return stored

    @staticmethod
    def _with_known(
        write_pulse: Callable[[sqlite3.Connection], None] | None, wall_ms: int
    ) -> Callable[[sqlite3.Connection], None] | None:
        if write_pulse is None:
            return None

        def statements(connection: sqlite3.Connection) -> None:
            set_cursor(connection, KNOWN, wall_ms)
            write_pulse(connection)

        return statements

    def _log_change(self, verdict: ClockState) -> None:
        if verdict is self._logged:
            return
        self._logged = verdict
        if verdict is ClockState.WAITING:
            log.warning("the board's clock is behind what is stored already; readings wait up to two minutes for it")
        elif verdict is ClockState.UNKNOWN:
            log.warning("the board's clock is behind what is stored already; readings are stored with estimated times")
