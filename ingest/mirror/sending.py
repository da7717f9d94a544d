"""Sending: lines to one server, in batches that it takes, with what came of them kept."""

from __future__ import annotations

__all__ = ["Sender", "influx_of"]

import logging
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ingest.cellar import MirrorSettings
from ingest.errors import IngestError
from ingest.mirror.client import NETWORK, Reply
from ingest.mirror.delivery import deliver
from ingest.mirror.encoder import reading_ms
from ingest.mirror.standing import MirrorProgress
from ingest.store import Store
from ingest.store.mirror_queue import add_refused

if TYPE_CHECKING:
    from ingest.mirror.influx import Influx

log = logging.getLogger("ingest.mirror")


def influx_of(settings: MirrorSettings, base: Path) -> Influx:
    """The client for a ``[mirror]`` table. base: the cellar file's folder. Raises IngestError without its library."""
    try:
        from ingest.mirror.influx import Influx
    except ModuleNotFoundError as error:
        raise IngestError(
            f"[mirror] needs the library {error.name}, which is not installed; install leeside with its extra: "
            "pip install 'leeside[mirror]'"
        ) from None
    return Influx(
        url=settings.url,
        org=settings.org,
        bucket=settings.bucket,
        timeout_s=settings.timeout_s,
        ca_file=None if settings.ca_file is None else base / settings.ca_file,
    )


class Sender:
    """Sends what it is given until the server has it, refused it, or wants to be left alone.

    batch: the most lines in one request; it shrinks where the server takes fewer. Raises IngestError, see
    ``influx_of``.
    """

    def __init__(
        self,
        settings: MirrorSettings,
        base: Path,
        standing: MirrorProgress,
        clock: Callable[[], int],
        stopping: threading.Event,
    ) -> None:
        self._influx = influx_of(settings, base)
        self._standing = standing
        self._clock = clock
        self._stopping = stopping
        self._trusted = False
        self.batch = settings.batch
        self.token: str | None = None

    def send(self, store: Store, lines: Sequence[str]) -> Reply | None:
        """Send lines, in several requests if they are many; the reply that stopped it, None if they are delivered."""
        rest = lines
        while rest:
            # As many as it takes now: it may want fewer from one request to the next.
            part, rest = rest[: self.batch], rest[self.batch :]
            stopped = self._deliver(store, part)
            if stopped is not None:
                return stopped
        return None

    def _deliver(self, store: Store, lines: Sequence[str]) -> Reply | None:
        made = deliver(lines, self._post, trusted=self._trusted)
        self._trusted = self._trusted or made.taken > 0
        if made.largest is not None:
            self.batch = min(self.batch, made.largest)
        self._standing.counted(sent=made.taken)
        if made.stopped is not None:
            return made.stopped
        for at_ms in map(reading_ms, lines):
            if at_ms is not None:
                self._standing.reached(at_ms)
        if made.refused:
            self._standing.counted(refused=len(made.refused))
            log.warning("mirror: the server refuses %d times: %s", len(made.refused), made.refused[0].said)
            with store.write() as connection:
                add_refused(connection, made.refused, self._clock())
        return None

    def _post(self, lines: Sequence[str]) -> Reply:
        if self._stopping.is_set():
            return Reply(NETWORK, "leeside stops")
        return self._influx.post(lines, self.token)

    def close(self) -> None:
        """Close the connection."""
        self._influx.close()
