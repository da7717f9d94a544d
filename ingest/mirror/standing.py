"""How the mirror does: what the daemon tells of it, and since when it has not been up to date."""

from __future__ import annotations

__all__ = ["MirrorProgress", "MirrorState", "MirrorWord"]

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

MirrorWord = Literal["starting", "up to date", "catching up", "waiting", "shut"]


@dataclass(frozen=True, slots=True)
class MirrorState:
    """How the mirror does.

    state: since since_mono, ``waiting`` for a server that is away or busy, ``shut`` while it will not have us; behind:
    changes of the feed not taken up; spans, oldest_unsent_ms: what was put off; records: alarm changes, entries and
    strikes not sent; newest_sent_ms: time of the newest reading sent since the start; sent, refused, left_out: lines
    since the start, readings without a line; behind_since_ms: since when (UTC ms) something has been unsent, kept
    through restarts, None while it is up to date.
    """

    state: MirrorWord
    since_mono: float
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


class MirrorProgress:
    """Holds the state of now. Only the mirror's thread changes it; any thread may read it."""

    def __init__(self, monotonic: Callable[[], float]) -> None:
        self._monotonic = monotonic
        self.now = MirrorState("starting", monotonic())

    def say(self, word: MirrorWord, *, last_error: str | None) -> None:
        """From now on it does so."""
        since = self.now.since_mono if word == self.now.state else self._monotonic()
        self.now = replace(self.now, state=word, since_mono=since, last_error=last_error)

    def measured(self, *, behind: int, spans: int, records: int, oldest_unsent_ms: int | None) -> None:
        """What is still to be sent."""
        self.now = replace(self.now, behind=behind, spans=spans, records=records, oldest_unsent_ms=oldest_unsent_ms)

    def counted(self, *, sent: int = 0, refused: int = 0, left_out: int = 0) -> None:
        """Add to the counts."""
        now = self.now
        self.now = replace(now, sent=now.sent + sent, refused=now.refused + refused, left_out=now.left_out + left_out)

    def reached(self, newest_ms: int) -> None:
        """A reading of that time is sent."""
        if newest_ms > (self.now.newest_sent_ms or 0):
            self.now = replace(self.now, newest_sent_ms=newest_ms)

    def behind_since(self, since_ms: int | None) -> None:
        """Since when something has been unsent."""
        self.now = replace(self.now, behind_since_ms=since_ms)
