"""The writer's turns under a clock that may be wrong: wait, estimate, date."""

from __future__ import annotations

__all__ = ["ClockGuard"]

import logging
import sqlite3
from collections.abc import Callable

from ingest.errors import StoreError
from ingest.machine_clock import boot_id
from ingest.store import Store
from ingest.store.change_feed import cursor, set_cursor
from ingest.store.readings.undated import FORGOTTEN, KNOWN, Anchor, open_anchor
from ingest.times import iso_utc
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
        if self._anchor is not None and wall_ms < known_ms:
            # This boot has made estimates before; they go on from the same anchor, and there is no second wait.
            self._clock = BoardClock(self._anchor.known_ms, self._anchor.known_mono)
            # The first pulse is written before the first turn; it must not call the clock right.
            self._clock.look(wall_ms, mono)
        self._store = store
        self._forgotten = cursor(store, FORGOTTEN)
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
        self,
        writer: Writer,
        write_pulse: Callable[[sqlite3.Connection], None] | None,
        wall_ms: int,
        mono: float,
        steered: bool | None = None,
    ) -> bool:
        """Make one turn of the writer; True when all that may be stored is. Raises only what the writer raises.

        steered: whether the network steers the wall clock, None where that is unknown.
        """
        before = self._clock.verdict
        verdict = self._clock.look(wall_ms, mono, steered)
        if self._clock.future_is_wrong:
            self._forget_future(wall_ms)
        try:
            if (forgotten := cursor(self._store, FORGOTTEN)) != self._forgotten:
                # Just now, or by the owner's word.
                writer.remember()
                self._clock = BoardClock.at_start(cursor(self._store, KNOWN) or 0, wall_ms, mono)
                self._forgotten = forgotten
                verdict = self._clock.look(wall_ms, mono, steered)
        except sqlite3.Error:
            pass  # a store that cannot be read is the writer's to report; the next turn looks again
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
            shift_ms = self._anchor.shift(wall_ms, mono)
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

    def _forget_future(self, wall_ms: int) -> None:
        # Imported when it is needed: numpy is among what it brings.
        from ingest.store.readings.wrong_future import forget_future

        future_ms = self._clock.known_ms
        try:
            marked = forget_future(self._store, wall_ms, self._boot)
        except StoreError as error:
            log.warning("the clock is right again, but that could not be stored; it is tried again: %s", error)
            return
        log.warning(
            "the clock had been ahead, up to %s, and is right again by the network: %d readings of times that have not "
            "come yet are marked as uncertain",
            iso_utc(future_ms),
            marked,
        )

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
            log.warning(
                "the board's clock is behind what is stored already, or has jumped ahead; readings are stored with "
                "estimated times"
            )
