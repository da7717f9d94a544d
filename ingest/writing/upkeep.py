"""The store's upkeep: settling, summaries, retention, pruning; a slice at a time, between the writer's turns.

Nothing here is urgent. A slice takes a few milliseconds of the store's lock, so that neither a reading nor a person who
writes something down waits long. What the work needs is imported when it is due for the first time: numpy among it, for
which the first readings after a start should not wait.
"""

from __future__ import annotations

__all__ = ["Upkeep", "UpkeepSettings"]

import logging
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Final, NamedTuple

from ingest.errors import StoreError
from ingest.store import Store
from ingest.store.change_feed import prune_feed

if TYPE_CHECKING:
    from ingest.store.readings.settling import Settler
    from ingest.store.readings.summaries import CatchUp

log = logging.getLogger("ingest")

SETTLE_EVERY_S: Final = 3600.0
# Each time the summaries of the running day are written again, some 15 kB for a probe. Nobody waits for them: a query
# works out itself what is not summarised yet.
FOLLOW_EVERY_S: Final = 7200.0
TIDY_EVERY_S: Final = 3600.0
# Not all at once at the start, when the first readings are wanted.
FIRST_S: Final = 60.0
# Without a time server, the clock is sure after so long in which nobody set it by more than this.
SURE_AFTER_S: Final = 86_400.0
SET_MS: Final = 60_000.0
# How long one call may go on with short slices.
BUDGET_S: Final = 0.05


class UpkeepSettings(NamedTuple):
    """What the owner wants. settle_after_s: how old readings are packed; keep_raw_s, keep_minutes_s, keep_hours_s: how
    long each is kept, None for ever."""

    settle_after_s: float
    keep_raw_s: float | None = None
    keep_minutes_s: float | None = None
    keep_hours_s: float | None = None


class Upkeep:
    """Does what is due. ``work`` is called between turns with the time as arguments."""

    def __init__(
        self,
        store: Store,
        wishes: UpkeepSettings,
        mono: float,
        followers: tuple[str, ...],
        *,
        network_sets_clock: Callable[[], bool | None] = lambda: True,
    ) -> None:
        self._store = store
        self._network_sets_clock = network_sets_clock
        # Since when (monotonic seconds) the wall clock has gone on evenly, and how far it was ahead of the even one.
        self._even_since = mono
        self._ahead_ms: float | None = None
        self._wishes = wishes
        self._followers = followers
        self._settler: Settler | None = None
        self._following: CatchUp | None = None
        self._settle_due = mono + 2 * FIRST_S
        self._follow_due = mono + FIRST_S
        self._tidy_due = mono + 3 * FIRST_S
        self._busy: Callable[[], bool] | None = None
        self.last_error: str | None = None

    def work(self, now_ms: int, mono: float) -> bool:
        """Do what is due, for at most about BUDGET_S; True if there is more to do at once.

        A store that cannot be written to does not stop it: what is due is tried again a minute later.
        """
        end = time.perf_counter() + BUDGET_S
        try:
            while time.perf_counter() < end:
                if self._busy is None:
                    self._busy = self._next(now_ms, mono)
                    if self._busy is None:
                        return False
                if not self._busy():
                    self._busy = None
                self.last_error = None
        except StoreError as error:
            self.last_error = str(error)
            self._busy = None
            again = mono + FIRST_S
            self._follow_due = min(self._follow_due, again)
            self._settle_due = min(self._settle_due, again)
            self._tidy_due = min(self._tidy_due, again)
            log.warning("the store's upkeep is put off: %s", error)
            return False
        return True

    def _is_time_sure(self, now_ms: int, mono: float) -> bool:
        """Whether what is old by the wall clock may be dropped for good.

        A time server steers the clock, or it has gone on for a day without being set. A board that believes in 2100 for
        an hour would otherwise drop everything.
        """
        ahead_ms = now_ms - mono * 1000
        if self._ahead_ms is None or abs(ahead_ms - self._ahead_ms) > SET_MS:
            self._even_since, self._ahead_ms = mono, ahead_ms
        return self._network_sets_clock() is True or mono - self._even_since >= SURE_AFTER_S

    def _next(self, now_ms: int, mono: float) -> Callable[[], bool] | None:
        if mono >= self._follow_due:
            self._follow_due = mono + FOLLOW_EVERY_S
            if self._following is None:
                from ingest.store.readings.summaries import CatchUp

                self._following = CatchUp(self._store)
            return self._following.slice
        if mono >= self._settle_due:
            self._settle_due = mono + SETTLE_EVERY_S
            if self._settler is None:
                from ingest.store.readings.settling import Settler

                self._settler = Settler(self._store)
            self._settler.begin(now_ms - round(self._wishes.settle_after_s * 1000))
            return self._settler.slice
        if mono >= self._tidy_due:
            self._tidy_due = mono + TIDY_EVERY_S
            return lambda: self._tidy(now_ms, mono)
        return None

    def _tidy(self, now_ms: int, mono: float) -> bool:
        """Do one piece of tidying; False when nothing is left."""
        from ingest.store.readings.retention import drop_old

        if prune_feed(self._store, self._followers):
            return True
        return self._is_time_sure(now_ms, mono) and drop_old(
            self._store,
            now_ms,
            self._wishes.keep_raw_s,
            self._wishes.keep_minutes_s,
            self._wishes.keep_hours_s,
        )
