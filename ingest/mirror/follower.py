"""The mirror's thread: follows the store and sends what changed, again until it is taken.

First of all it sends what is stored already. Then, every few seconds, the changes since the last time; what is more
than that (a stretch without a server, a year that was re-scaled) is put off as spans and sent a batch at a time in
between, so that the newest readings need not wait for old ones. A place moves on only after the server has said that it
took a batch. The thread has a connection of its own to the store.
"""

from __future__ import annotations

__all__ = ["Follower", "Pace", "destination_of", "follower_of"]

import logging
import sqlite3
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from hashlib import sha256
from itertools import islice
from pathlib import Path
from typing import Final, NamedTuple

from ingest.backoff import Backoff
from ingest.cellar import Cellar, MirrorSettings
from ingest.errors import IngestError, StoreError
from ingest.mirror.backlog import Backlog
from ingest.mirror.client import NETWORK, Reply, ReplyMeaning, meaning_of, retry_after_s
from ingest.mirror.records import Records
from ingest.mirror.sending import Sender
from ingest.mirror.standing import MirrorProgress, MirrorState, MirrorWord
from ingest.mirror.store_lines import StoreLines
from ingest.store import Store, open_existing
from ingest.store.change_feed import Touch, cursor, set_cursor, touched_after
from ingest.store.mirror_queue import (
    FOLLOWER,
    Unsent,
    backlog,
    begin_anew,
    behind_since,
    feed_behind,
    follows,
    joined,
    keep_behind_since,
    next_span,
    put_off,
)
from ingest.store.readings.undated import KNOWN

log = logging.getLogger("ingest.mirror")

# Changes that are taken up together.
AT_ONCE: Final = 5000

# A span longer than a day is put off.
LONG_MS: Final = 86_400_000

# Between two batches of a backlog, so that the threads that read probes get their turn.
BREATH_S: Final = 0.05


@dataclass(frozen=True, slots=True)
class Pace:
    """Seconds between tries: from first_s to longest_s while nobody knows, shut_s when the server will not have us."""

    first_s: float = 1.0
    longest_s: float = 60.0
    shut_s: float = 120.0


def destination_of(settings: MirrorSettings) -> int:
    """A number for where the mirror goes; with another one everything is sent anew."""
    text = "\n".join((settings.url, settings.org, settings.bucket))
    return int.from_bytes(sha256(text.encode()).digest()[:8], "big") >> 1


def follower_of(
    cellar: Cellar, environ: Mapping[str, str], clock: Callable[[], int], monotonic: Callable[[], float]
) -> Follower | None:
    """The follower that a cellar file asks for, None without ``[mirror]``. Raises IngestError, see ``Follower``."""
    settings = cellar.mirror
    if settings is None:
        return None
    return Follower(
        store_path=cellar.store_path,
        base=cellar.base,
        settings=settings,
        token=lambda: settings.token(environ, cellar.base),
        clock=clock,
        monotonic=monotonic,
    )


class _Work(NamedTuple):
    """What the thread works with: its own connection to the store, and what reads and sends through it."""

    store: Store
    lines: StoreLines
    backlog: Backlog
    records: Records


class Follower:
    """Follows one store in a thread of its own. token: read anew for each turn; clock: UTC ms; monotonic: seconds.

    Raises IngestError where the client library is missing.
    """

    def __init__(
        self,
        *,
        store_path: Path,
        base: Path,
        settings: MirrorSettings,
        token: Callable[[], str | None],
        clock: Callable[[], int],
        monotonic: Callable[[], float],
        pace: Pace | None = None,
    ) -> None:
        self._store_path = store_path
        self._settings = settings
        self._read_token = token
        self._clock = clock
        self._monotonic = monotonic
        self._pace = pace or Pace()
        self._patience = Backoff(self._pace.first_s, self._pace.longest_s)
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._calm = True
        self._changes_due = monotonic()
        self._standing = MirrorProgress(monotonic)
        self._sender = Sender(settings, base, self._standing, clock, self._stop)

    def start(self) -> None:
        """Start the thread."""
        self._stop.clear()
        self._thread = threading.Thread(target=self._run, name="mirror", daemon=True)
        self._thread.start()

    def stop(self, within_s: float) -> None:
        """Tell the thread to end and wait for it, but no longer than this: a request may still hang."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(within_s)

    def alive(self) -> bool:
        """Whether the thread runs."""
        return self._thread is not None and self._thread.is_alive()

    def state(self) -> MirrorState:
        """How it does; may be asked from any thread."""
        return self._standing.now

    def _run(self) -> None:
        try:
            with open_existing(self._store_path) as store:
                lines = StoreLines(store)
                work = _Work(
                    store,
                    lines,
                    Backlog(store, lines, self._sender, self._standing),
                    Records(store, lines, self._sender),
                )
                self._standing.behind_since(behind_since(store))
                while not self._stop.is_set():
                    self._stop.wait(self._safe_turn(work))
        except StoreError as error:
            # The thread ends; who looks after it starts it again.
            self._standing.say("waiting", last_error=str(error))
        finally:
            self._sender.close()

    def _safe_turn(self, work: _Work) -> float:
        try:
            return self._turn(work)
        except Exception:
            log.exception("a turn of the mirror failed; it is tried again")
            work.backlog.forget()
            self._standing.say("waiting", last_error="a turn failed; see the log")
            # A turn that fails each time must not look like one that has nothing to send.
            with suppress(StoreError, sqlite3.Error):
                self._keep_since(work)
            return self._pace.longest_s

    def _turn(self, work: _Work) -> float:
        """Send what is due; the seconds until there is more to do."""
        store = work.store
        if not follows(store, destination_of(self._settings)):
            log.info(
                "mirror: everything that is stored is sent to %s, bucket %s", self._settings.url, self._settings.bucket
            )
            begin_anew(store, destination_of(self._settings))
            work.backlog.forget()
        try:
            self._sender.token = self._read_token()
        except IngestError as error:
            stopped: Reply | None = Reply(401, str(error))
        else:
            stopped = self._send(work)
        if self._stop.is_set():
            return 0.0
        if stopped is None:
            wait_s = self._rested(work)
        else:
            wait_s = self._after(stopped)
            self._keep_feed_short(work)
        self._measure(work)
        return wait_s

    def _send(self, work: _Work) -> Reply | None:
        now = self._monotonic()
        stopped = None
        # While the server is away one batch is enough to find out that it is back.
        if self._calm and now >= self._changes_due:
            self._changes_due = now + self._settings.every_s
            stopped = self._send_changes(work)
        return stopped or work.records.send() or work.backlog.send()

    def _after(self, reply: Reply) -> float:
        self._calm = False
        if meaning_of(reply.status) is ReplyMeaning.AGAIN:
            word: MirrorWord = "waiting"
            asked_s = retry_after_s(reply.retry_after, self._clock())
            wait_s = self._patience.next_wait_s()
            if asked_s:
                wait_s = asked_s
        else:
            word, wait_s = "shut", self._pace.shut_s
        told = reply.said if reply.status == NETWORK else f"{reply.status}: {reply.said}".rstrip(": ")
        if self.state().last_error is None:
            log.warning("mirror: %s; leeside goes on trying", told)
        self._standing.say(word, last_error=told)
        return wait_s

    def _rested(self, work: _Work) -> float:
        if not self._calm:
            log.info("mirror: the server takes what is sent again")
        self._calm = True
        self._patience.reset()
        more = next_span(work.store) is not None or work.records.unsent() > 0
        self._standing.say("catching up" if more else "up to date", last_error=None)
        return BREATH_S if more else max(0.0, self._changes_due - self._monotonic())

    def _measure(self, work: _Work) -> None:
        spans, oldest = backlog(work.store)
        self._standing.measured(
            behind=feed_behind(work.store), spans=spans, records=work.records.unsent(), oldest_unsent_ms=oldest
        )
        self._keep_since(work)

    def _keep_since(self, work: _Work) -> None:
        behind = self.state().state != "up to date"
        if behind and self.state().behind_since_ms is None:
            # A board's clock can be in the past for a while after its start.
            since = max(self._clock(), cursor(work.store, KNOWN) or 0)
            keep_behind_since(work.store, since)
            self._standing.behind_since(since)
        elif not behind and self.state().behind_since_ms is not None:
            keep_behind_since(work.store, None)
            self._standing.behind_since(None)

    def _send_changes(self, work: _Work) -> Reply | None:
        store = work.store
        touches = touched_after(store, cursor(store, FOLLOWER) or 0, AT_ONCE)
        if not touches:
            return None
        spans = _taken_up(work, touches)
        reached = touches[-1].seq
        if len(touches) == AT_ONCE or any(span.to_ms - span.from_ms > LONG_MS for span in spans):
            put_off(store, spans, reached)
            return None
        lines = self._lines_of(work, spans)
        while batch := list(islice(lines, self._sender.batch)):
            stopped = self._sender.send(store, batch)
            if stopped is not None:
                return stopped
        with store.write() as connection:
            set_cursor(connection, FOLLOWER, reached)
        return None

    def _lines_of(self, work: _Work, spans: Sequence[Unsent]) -> Iterator[str]:
        for made in work.lines.spans(spans):
            self._standing.counted(left_out=made.left_out)
            yield from made.lines

    def _keep_feed_short(self, work: _Work) -> None:
        """Put changes off although they cannot be sent, so that a server that is away for weeks costs a few rows."""
        while touches := touched_after(work.store, cursor(work.store, FOLLOWER) or 0, AT_ONCE):
            put_off(work.store, _taken_up(work, touches), touches[-1].seq)


def _taken_up(work: _Work, touches: Sequence[Touch]) -> list[Unsent]:
    """Changes as spans, overlapping ones as one."""
    by_series: dict[int, list[tuple[int, int]]] = {}
    for touch in touches:
        by_series.setdefault(touch.series, []).append((touch.from_ms, touch.to_ms))
        work.backlog.touched(touch)
    return [Unsent(series, *ends) for series, intervals in by_series.items() for ends in joined(intervals)]
