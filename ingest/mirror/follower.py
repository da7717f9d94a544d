"""The mirror's thread: follows the store and sends what changed, again until it is taken.

First of all it sends what is stored already. Then, every few seconds, the changes since the last time; what is more
than that (a stretch without a server, a year that was re-scaled) is put off as spans and sent a batch at a time in
between, so that the newest readings need not wait for old ones. A place moves on only after the server has said that it
took a batch. The thread has a connection of its own to the store.
"""

from __future__ import annotations

__all__ = ["Follower", "MirrorState", "Pace", "destination_of", "follower_of"]

import logging
import threading
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from itertools import islice
from pathlib import Path
from typing import Final, Literal

from ingest.cellar import Cellar, MirrorSettings
from ingest.errors import IngestError, StoreError
from ingest.mirror.answers import NETWORK, Answer, Reply, answer_to, retry_after_s
from ingest.mirror.delivery import deliver
from ingest.mirror.points import Head, alarm_line, heads, reading_lines, reading_ms
from ingest.sources.patience import Patience
from ingest.store import Store, open_existing
from ingest.store.block import Arrays
from ingest.store.cellar_history import cellar_files
from ingest.store.feed import Touch, cursor, set_cursor, touched_after
from ingest.store.history import pieces, together
from ingest.store.series import all_series, former_names
from ingest.store.unsent import (
    FOLLOWER,
    TRANSITIONS,
    Unsent,
    add_refused,
    backlog,
    begin_anew,
    feed_behind,
    follows,
    joined,
    next_span,
    put_off,
    shrink,
    transitions_after,
)

log = logging.getLogger("ingest.mirror")

# Changes that are taken up together.
AT_ONCE: Final = 5000

# Spans that end within this time of the newest one are read in one look; a span longer than a day is put off.
NEAR_MS: Final = 10 * 60_000
LONG_MS: Final = 86_400_000

# Between two batches of a backlog, so that the threads that read probes get their turn.
BREATH_S: Final = 0.05

MirrorWord = Literal["starting", "up to date", "catching up", "waiting", "shut"]


@dataclass(frozen=True, slots=True)
class Pace:
    """Seconds between tries: from first_s to longest_s while nobody knows, shut_s when the server will not have us."""

    first_s: float = 1.0
    longest_s: float = 60.0
    shut_s: float = 120.0


@dataclass(frozen=True, slots=True)
class MirrorState:
    """How the mirror does.

    state: since since_mono, ``waiting`` for a server that is away or busy, ``shut`` while it will not have us; behind:
    changes of the feed not taken up; spans, oldest_unsent_ms: what was put off; newest_sent_ms: time of the newest
    reading sent since the start; sent, refused, left_out: lines since the start, readings without a line.
    """

    state: MirrorWord
    since_mono: float
    behind: int = 0
    spans: int = 0
    oldest_unsent_ms: int | None = None
    newest_sent_ms: int | None = None
    sent: int = 0
    refused: int = 0
    left_out: int = 0
    last_error: str | None = None


@dataclass(slots=True)
class _Walk:
    """A span on its way: from_ms is where its row begins now, rest what was read and is not sent yet."""

    series: int
    from_ms: int
    to_ms: int
    coming: Iterator[Arrays]
    rest: Arrays

    def take(self, most: int) -> Arrays:
        """The next readings, at most as many, none at the end."""
        while not len(self.rest.at_ms):
            piece = next(self.coming, None)
            if piece is None:
                return self.rest
            self.rest = piece
        taken = self.rest.part(slice(0, most))
        self.rest = self.rest.part(slice(most, None))
        return taken


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
        try:
            from ingest.mirror.influx import Influx
        except ModuleNotFoundError as error:
            raise IngestError(
                f"[mirror] needs the library {error.name}, which is not installed; install leeside with its extra: "
                "pip install 'leeside[mirror]'"
            ) from None
        self._store_path = store_path
        self._settings = settings
        self._read_token = token
        self._clock = clock
        self._monotonic = monotonic
        self._pace = pace or Pace()
        self._influx = Influx(
            url=settings.url,
            org=settings.org,
            bucket=settings.bucket,
            timeout_s=settings.timeout_s,
            ca_file=None if settings.ca_file is None else base / settings.ca_file,
        )
        self._token: str | None = None
        self._patience = Patience(self._pace.first_s, self._pace.longest_s)
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._state = MirrorState("starting", monotonic())
        self._batch = settings.batch
        self._trusted = False
        self._calm = True
        self._changes_due = monotonic()
        self._walk: _Walk | None = None
        self._heads: dict[int, list[Head]] = {}
        self._sites: list[tuple[int, str]] = []

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
        return self._state

    def _run(self) -> None:
        try:
            with open_existing(self._store_path) as store:
                while not self._stop.is_set():
                    self._stop.wait(self._safe_turn(store))
        except StoreError as error:
            # The thread ends; who looks after it starts it again.
            self._set("waiting", last_error=str(error))
        finally:
            self._influx.close()

    def _safe_turn(self, store: Store) -> float:
        try:
            return self._turn(store)
        except Exception:
            log.exception("a turn of the mirror failed; it is tried again")
            self._walk = None
            self._set("waiting", last_error="a turn failed; see the log")
            return self._pace.longest_s

    def _turn(self, store: Store) -> float:
        """Send what is due; the seconds until there is more to do."""
        if not follows(store, destination_of(self._settings)):
            log.info(
                "mirror: everything that is stored is sent to %s, bucket %s", self._settings.url, self._settings.bucket
            )
            begin_anew(store, destination_of(self._settings))
            self._walk = None
        try:
            self._token = self._read_token()
        except IngestError as error:
            stopped: Reply | None = Reply(401, str(error))
        else:
            stopped = self._send(store)
        if stopped is not None and not self._stop.is_set():
            wait_s = self._after(stopped)
            self._keep_feed_short(store)
        else:
            wait_s = self._rested(store)
        self._measure(store)
        return wait_s

    def _send(self, store: Store) -> Reply | None:
        now = self._monotonic()
        stopped = None
        # While the server is away one batch is enough to find out that it is back.
        if self._calm and now >= self._changes_due:
            self._changes_due = now + self._settings.every_s
            stopped = self._send_changes(store)
        return stopped or self._send_transitions(store) or self._send_backlog(store)

    def _after(self, reply: Reply) -> float:
        self._calm = False
        if answer_to(reply.status) is Answer.AGAIN:
            word: MirrorWord = "waiting"
            asked_s = retry_after_s(reply.retry_after, self._clock())
            wait_s = self._patience.next_wait_s()
            if asked_s:
                wait_s = asked_s
        else:
            word, wait_s = "shut", self._pace.shut_s
        told = reply.said if reply.status == NETWORK else f"{reply.status}: {reply.said}".rstrip(": ")
        if self._state.last_error is None:
            log.warning("mirror: %s; leeside goes on trying", told)
        self._set(word, last_error=told)
        return wait_s

    def _rested(self, store: Store) -> float:
        if not self._calm:
            log.info("mirror: the server takes what is sent again")
        self._calm = True
        self._patience.reset()
        more = next_span(store) is not None
        self._set("catching up" if more else "up to date", last_error=None)
        return BREATH_S if more else max(0.0, self._changes_due - self._monotonic())

    def _set(self, word: MirrorWord, *, last_error: str | None) -> None:
        since = self._state.since_mono if word == self._state.state else self._monotonic()
        self._state = replace(self._state, state=word, since_mono=since, last_error=last_error)

    def _measure(self, store: Store) -> None:
        spans, oldest = backlog(store)
        self._state = replace(self._state, behind=feed_behind(store), spans=spans, oldest_unsent_ms=oldest)

    def _send_changes(self, store: Store) -> Reply | None:
        touches = touched_after(store, cursor(store, FOLLOWER) or 0, AT_ONCE)
        if not touches:
            return None
        spans = self._taken_up(touches)
        reached = touches[-1].seq
        if len(touches) == AT_ONCE or any(span.to_ms - span.from_ms > LONG_MS for span in spans):
            put_off(store, spans, reached)
            return None
        lines = self._lines_of(store, spans)
        while batch := list(islice(lines, self._batch)):
            stopped = self._deliver(store, batch)
            if stopped is not None:
                return stopped
        with store.write() as connection:
            set_cursor(connection, FOLLOWER, reached)
        return None

    def _taken_up(self, touches: Sequence[Touch]) -> list[Unsent]:
        """Changes as spans, overlapping ones as one."""
        by_series: dict[int, list[tuple[int, int]]] = {}
        for touch in touches:
            by_series.setdefault(touch.series, []).append((touch.from_ms, touch.to_ms))
            walk = self._walk
            if walk is not None and touch.series == walk.series and touch.from_ms <= walk.to_ms:
                # What was read ahead may be the value of before.
                self._walk = None
        return [Unsent(series, *ends) for series, intervals in by_series.items() for ends in joined(intervals)]

    def _keep_feed_short(self, store: Store) -> None:
        """Put changes off although they cannot be sent, so that a server that is away for weeks costs a few rows."""
        while touches := touched_after(store, cursor(store, FOLLOWER) or 0, AT_ONCE):
            put_off(store, self._taken_up(touches), touches[-1].seq)

    def _lines_of(self, store: Store, spans: Sequence[Unsent]) -> Iterator[str]:
        newest = max(span.to_ms for span in spans)
        near = [span for span in spans if span.from_ms >= newest - NEAR_MS]
        for series, readings in together(store, near):
            yield from self._lines(store, series, readings)
        for span in spans:
            if span.from_ms < newest - NEAR_MS:
                for readings in pieces(store, span.series, span.from_ms, span.to_ms + 1):
                    yield from self._lines(store, span.series, readings)

    def _lines(self, store: Store, series: int, readings: Arrays) -> list[str]:
        made = reading_lines(readings, self._heads_of(store, series))
        self._state = replace(self._state, left_out=self._state.left_out + made.left_out)
        return made.lines

    def _heads_of(self, store: Store, series: int) -> list[Head]:
        if series not in self._heads:
            for row in all_series(store):
                former = former_names(store, row.id)
                self._heads[row.id] = heads((row.probe, row.place), former, row.quantity, self._sites_of(store))
        return self._heads[series]

    def _sites_of(self, store: Store) -> list[tuple[int, str]]:
        if not self._sites:
            self._sites = [(from_ms, str(_site_in(text))) for from_ms, text in cellar_files(store)]
        return self._sites

    def _send_transitions(self, store: Store) -> Reply | None:
        place = cursor(store, TRANSITIONS) or 0
        rows = transitions_after(store, place, self._batch)
        if not rows:
            return None
        sites = self._sites_of(store)
        lines = [alarm_line(id, row, _site_at(sites, row.at_ms)) for id, row in rows]
        stopped = self._deliver(store, lines)
        if stopped is None:
            with store.write() as connection:
                set_cursor(connection, TRANSITIONS, rows[-1][0])
        return stopped

    def _send_backlog(self, store: Store) -> Reply | None:
        walk = self._walk or self._next_walk(store)
        if walk is None:
            return None
        # Until the batch is delivered and its place kept, what was read counts for nothing.
        self._walk = None
        readings = walk.take(self._batch)
        next_ms = walk.to_ms + 1
        if len(readings.at_ms):
            stopped = self._deliver(store, self._lines(store, walk.series, readings))
            if stopped is not None:
                return stopped
            next_ms = int(readings.at_ms[-1]) + 1
        if shrink(store, walk.series, walk.from_ms, next_ms) and next_ms <= walk.to_ms:
            walk.from_ms = next_ms
            self._walk = walk
        return None

    def _next_walk(self, store: Store) -> _Walk | None:
        span = next_span(store)
        if span is None:
            return None
        coming = pieces(store, span.series, span.from_ms, span.to_ms + 1)
        return _Walk(span.series, span.from_ms, span.to_ms, coming, Arrays.empty())

    def _deliver(self, store: Store, lines: Sequence[str]) -> Reply | None:
        """Deliver a batch; the reply that stopped it, or None."""
        made = deliver(lines, self._post, trusted=self._trusted)
        self._trusted = self._trusted or made.taken > 0
        if made.largest is not None:
            self._batch = min(self._batch, made.largest)
        self._state = replace(self._state, sent=self._state.sent + made.taken)
        if made.stopped is None:
            times = [reading_ms(line) for line in lines]
            newest = max([self._state.newest_sent_ms, *times], key=lambda at_ms: at_ms or 0, default=None)
            self._state = replace(self._state, newest_sent_ms=newest)
        if made.stopped is None and made.refused:
            self._state = replace(self._state, refused=self._state.refused + len(made.refused))
            log.warning("mirror: the server refuses %d times: %s", len(made.refused), made.refused[0].said)
            with store.write() as connection:
                add_refused(connection, made.refused, self._clock())
        return made.stopped

    def _post(self, lines: Sequence[str]) -> Reply:
        if self._stop.is_set():
            return Reply(NETWORK, "leeside stops")
        return self._influx.post(lines, self._token)


def _site_in(text: str) -> object:
    """The site's name in a cellar file that ran, and so was found right."""
    return tomllib.loads(text.removeprefix("\N{ZERO WIDTH NO-BREAK SPACE}"))["site"]["name"].strip()


def _site_at(sites: Iterable[tuple[int, str]], at_ms: int) -> str:
    name = ""
    for from_ms, site in sites:
        if not name or from_ms <= at_ms:
            name = site
    return name
