"""Readings whose times are estimates, because the board's clock could not be believed, and their dating later on."""

from __future__ import annotations

__all__ = [
    "DATED",
    "FORGOTTEN",
    "FORGOTTEN_FUTURE",
    "KNOWN",
    "Anchor",
    "date_estimates",
    "note_estimates",
    "open_anchor",
]

import sqlite3
from typing import Final, NamedTuple

from ingest.reading import ESTIMATED, Quality, Reason, quality_code
from ingest.store.change_feed import touch
from ingest.store.connection import Store

# Followers that keep a newest time in memory look at this cursor: it grows with each dating.
DATED: Final = "dated"

# The newest moment (UTC ms) that was committed under a believed clock.
KNOWN: Final = "clock"

# When (UTC ms) a wrong future was last forgotten, and what had been believed before that.
FORGOTTEN: Final = "clock forgotten"
FORGOTTEN_FUTURE: Final = "clock forgotten future"

_CLOCK: Final = quality_code(Quality.UNCERTAIN, Reason.CLOCK)
_GOOD: Final = quality_code(Quality.GOOD)


class Anchor(NamedTuple):
    """What estimated times count from: at known_mono (monotonic seconds of this boot) it was known_ms (UTC ms).

    boot: the kernel's id of the boot; another boot's monotonic seconds mean nothing to this one.
    """

    boot: str
    known_ms: int
    known_mono: float

    def shift(self, wall_ms: int, mono: float) -> int:
        """By how many ms estimated times are to be moved, now that wall_ms is believed."""
        return wall_ms - self.known_ms - round((mono - self.known_mono) * 1000)


def note_estimates(connection: sqlite3.Connection, anchor: Anchor, after_id: int) -> None:
    """Rows after after_id may have estimated times; call inside the transaction of the first of them."""
    connection.execute(
        "INSERT INTO undated (boot, known_ms, known_mono, after_id) VALUES (?, ?, ?, ?)", (*anchor, after_id)
    )


def open_anchor(store: Store, boot: str) -> Anchor | None:
    """The anchor of estimates that this boot made in another life of the process and that are not dated yet."""
    row = store.connection.execute(
        "SELECT boot, known_ms, known_mono FROM undated WHERE boot = ? AND dated_ms IS NULL ORDER BY id DESC LIMIT 1",
        (boot,),
    ).fetchone()
    return Anchor(*row) if row else None


def date_estimates(store: Store, anchor: Anchor, shift_ms: int, now_ms: int) -> int:
    """Move the estimated times of an anchor by shift_ms and call them good; gives how many readings moved."""
    with store.write() as connection:
        row = connection.execute(
            "SELECT min(after_id) FROM undated WHERE boot = ? AND known_ms = ? AND known_mono = ? AND dated_ms IS NULL",
            anchor,
        ).fetchone()
        if row[0] is None:
            return 0
        spans = connection.execute(
            "SELECT series, min(at), max(at) FROM fresh WHERE id > ? AND quality >= ? GROUP BY series",
            (row[0], ESTIMATED),
        ).fetchall()
        moved = connection.execute(
            "UPDATE fresh SET at = at + ?, quality = CASE quality WHEN ? THEN ? ELSE quality - ? END"
            " WHERE id > ? AND quality >= ?",
            (shift_ms, _CLOCK + ESTIMATED, _GOOD, ESTIMATED, row[0], ESTIMATED),
        ).rowcount
        for series, first, last in spans:
            touch(connection, [(series, first, last), (series, first + shift_ms, last + shift_ms)])
        connection.execute(
            "UPDATE undated SET dated_ms = ? WHERE boot = ? AND known_ms = ? AND known_mono = ?", (now_ms, *anchor)
        )
        connection.execute(
            "INSERT INTO cursor (name, value) VALUES (?, 1) ON CONFLICT (name) DO UPDATE SET value = value + 1",
            (DATED,),
        )
    return int(moved)
