"""The mirror's thread: follows the store and sends what changed, again until it is taken.

First of all it sends what is stored already. Then, every few seconds, the changes since the last time. Alarms, entries
and readings that were put off go in between, a portion at a time, so that the newest readings need not wait for old
ones. The thread has a connection of its own to the store.
"""

from __future__ import annotations

__all__ = ["Follower", "MirrorProgress", "Pace", "destination_of"]

import logging
import sqlite3
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from hashlib import sha256
from itertools import islice
from pathlib import Path
from typing import Final, Literal

from ingest.backoff import Backoff
from ingest.cellar import MirrorSettings
from ingest.errors import IngestError, StoreError
from ingest.mirror.client import ReplyMeaning, deliver, meaning_of, open_client
from ingest.mirror.encoder import alarm_line, entry_lines, reading_lines, reading_ms
from ingest.mirror.names import PointNames
from ingest.mirror.reply import NETWORK, Reply
from ingest.pulse import MirrorPulse
from ingest.retry_after import retry_after_s
from ingest.store import open_existing
from ingest.store.mirror_queue import MirrorQueue, Portion

log = logging.getLogger("ingest.mirror")

# Between two portions of what is left, so that the threads that read probes get their turn.
BREATH_S: Final = 0.05

MirrorWord = Literal["starting", "up to date", "catching up", "waiting", "shut"]


@dataclass(frozen=True, slots=True)
class Pace:
    """Seconds between tries: from first_s to longest_s while nobody knows, shut_s when the server will not have us."""

    first_s: float = 1.0
    longest_s: float = 60.0
    shut_s: float = 120.0


@dataclass(slots=True)
class MirrorProgress:
    """How far the mirror is, as in ``MirrorPulse``. Only its thread changes it; any thread may read it."""

    since_mono: float
    state: MirrorWord = "starting"
    behind: int = 0
    spans: int = 0
    records: int = 0
    oldest_unsent_ms: int | None = None
    newest_sent_ms: int | None = None
    sent: int = 0
    refused: int = 0
    left_out: int = 0
    last_error: str | None = None
    behind_since_ms: int | None = None

    def say(self, state: MirrorWord, now_mono: float, last_error: str | None = None) -> None:
        """Note how it does. Its time counts from when it first did so."""
        if state != self.state:
            self.state, self.since_mono = state, now_mono
        self.last_error = last_error

    def reached(self, newest_ms: int) -> None:
        """Note that a reading of that time is sent."""
        self.newest_sent_ms = max(newest_ms, self.newest_sent_ms or 0)

    def pulse(self, now_mono: float) -> MirrorPulse:
        """Return it as the pulse carries it."""
        fields = asdict(self)
        return MirrorPulse(for_s=round(now_mono - fields.pop("since_mono"), 1), **fields)


def destination_of(settings: MirrorSettings) -> int:
    """Return a number for where the mirror goes; with another one everything is sent again."""
    text = "\n".join((settings.url, settings.org, settings.bucket))
    return int.from_bytes(sha256(text.encode()).digest()[:8], "big") >> 1


class Follower:
    """Follows one store in a thread of its own.

    base: the cellar file's folder; token: read again for each turn; clock: UTC ms; monotonic: seconds. Raises
    IngestError where the client library is missing.
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
        self._client = open_client(settings, base)
        self._read_token = token
        self._token: str | None = None
        self._clock = clock
        self._monotonic = monotonic
        self._pace = pace or Pace()
        self._backoff = Backoff(self._pace.first_s, self._pace.longest_s)
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._changes_due = monotonic()
        # Whether the last turn got through; whether the server has ever taken a line; lines in a request, fewer where
        # it takes fewer.
        self._calm = True
        self._trusted = False
        self._batch = settings.batch
        self._progress = MirrorProgress(monotonic())

    def start(self) -> None:
        """Start the thread."""
        self._stop.clear()
        self._thread = threading.Thread(target=self._run, name="mirror", daemon=True)
        self._thread.start()

    def stop(self, within_s: float) -> None:
        """Let the thread end and wait for it, but no longer than this: a request may still hang."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(within_s)

    def alive(self) -> bool:
        """Whether the thread runs."""
        return self._thread is not None and self._thread.is_alive()

    def state(self) -> MirrorPulse:
        """Return how it does; may be asked from any thread."""
        return self._progress.pulse(self._monotonic())

    def _run(self) -> None:
        try:
            with open_existing(self._store_path) as store:
                queue = MirrorQueue(store, destination_of(self._settings))
                names = PointNames(store)
                self._progress.behind_since_ms = queue.behind_since()
                while not self._stop.is_set():
                    self._stop.wait(self._safe_turn(queue, names))
        except StoreError as error:
            # The thread ends; the daemon starts it again.
            self._say("waiting", str(error))
        finally:
            self._client.close()

    def _safe_turn(self, queue: MirrorQueue, names: PointNames) -> float:
        try:
            return self._turn(queue, names)
        except Exception:
            log.exception("a turn of the mirror failed; it is tried again")
            self._say("waiting", "a turn failed; see the log")
            # A turn that fails each time must not look like one that has nothing to send.
            with suppress(StoreError, sqlite3.Error):
                self._note_behind(queue)
            return self._pace.longest_s

    def _turn(self, queue: MirrorQueue, names: PointNames) -> float:
        """Send what is due; return the seconds until there is more to do."""
        if queue.begin():
            log.info(
                "mirror: everything that is stored is sent to %s, bucket %s", self._settings.url, self._settings.bucket
            )
        stopped = self._send_due(queue, names)
        if self._stop.is_set():
            return 0.0
        if stopped is not None:
            queue.put_off_changes()
        progress = self._progress
        progress.behind, progress.spans, progress.records, progress.oldest_unsent_ms = queue.unsent()
        wait_s = self._after_success() if stopped is None else self._after(stopped)
        self._note_behind(queue)
        return wait_s

    def _send_due(self, queue: MirrorQueue, names: PointNames) -> Reply | None:
        """Send the next portions; return the reply that stopped it, None if all are delivered."""
        try:
            self._token = self._read_token()
        except IngestError as error:
            return Reply(401, str(error))
        now = self._monotonic()
        # While the server is away one batch is enough to find out that it is back.
        changes = self._calm and now >= self._changes_due
        if changes:
            self._changes_due = now + self._settings.every_s
        for portion in queue.portions(self._batch, changes=changes):
            lines = self._lines(portion, names)
            while batch := list(islice(lines, self._batch)):
                stopped = self._send(batch, queue)
                if stopped is not None:
                    return stopped
            queue.sent(portion)
        return None

    def _lines(self, portion: Portion, names: PointNames) -> Iterator[str]:
        for series, readings in portion.readings:
            lines = reading_lines(readings, names.heads_of(series))
            self._progress.left_out += len(readings.at_ms) - len(lines)
            yield from lines
        for id, transition in portion.transitions:
            yield alarm_line(id, transition, names.site_at(transition.at_ms))
        for entry in portion.entries:
            # An entry may lie a little ahead of the clock; the site of that time could still change.
            yield from entry_lines(entry, names.site_at(min(entry.at_ms, entry.written_ms)))

    def _send(self, lines: Sequence[str], queue: MirrorQueue) -> Reply | None:
        delivery = deliver(lines, self._post, trusted=self._trusted)
        self._trusted = self._trusted or delivery.taken > 0
        if delivery.largest is not None:
            self._batch = min(self._batch, delivery.largest)
        self._progress.sent += delivery.taken
        if delivery.stopped is not None:
            return delivery.stopped
        for at_ms in map(reading_ms, lines):
            if at_ms is not None:
                self._progress.reached(at_ms)
        if delivery.refused:
            self._progress.refused += len(delivery.refused)
            log.warning("mirror: the server refuses %d times: %s", len(delivery.refused), delivery.refused[0].said)
            queue.keep_refused(delivery.refused, self._clock())
        return None

    def _post(self, lines: Sequence[str]) -> Reply:
        if self._stop.is_set():
            return Reply(NETWORK, "leeside stops")
        return self._client.post(lines, self._token)

    def _after(self, reply: Reply) -> float:
        self._calm = False
        error = reply.text if reply.status == NETWORK else f"{reply.status}: {reply.text}".rstrip(": ")
        if self._progress.last_error is None:
            log.warning("mirror: %s; leeside goes on trying", error)
        if meaning_of(reply.status) is not ReplyMeaning.AGAIN:
            self._say("shut", error)
            return self._pace.shut_s
        self._say("waiting", error)
        wait_s = self._backoff.next_wait_s()
        return retry_after_s(reply.retry_after, self._clock()) or wait_s

    def _after_success(self) -> float:
        if not self._calm:
            log.info("mirror: the server takes what is sent again")
        self._calm = True
        self._backoff.reset()
        more = self._progress.spans > 0 or self._progress.records > 0
        self._say("catching up" if more else "up to date")
        return BREATH_S if more else max(0.0, self._changes_due - self._monotonic())

    def _say(self, word: MirrorWord, last_error: str | None = None) -> None:
        self._progress.say(word, self._monotonic(), last_error)

    def _note_behind(self, queue: MirrorQueue) -> None:
        self._progress.behind_since_ms = queue.note_behind(self._progress.state != "up to date", self._clock())
