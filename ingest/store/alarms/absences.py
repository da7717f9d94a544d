"""When the owner is away, and who gets the messages instead. Of several, the one that was written last counts."""

from __future__ import annotations

__all__ = ["LONGEST_ABSENCE_MS", "Absence", "absence_at", "begin_absence", "end_absence", "last_absence"]

import sqlite3
from typing import Final, NamedTuple

from ingest.errors import TextRefused
from ingest.plain_text import line_problem
from ingest.store.connection import Store

LONGEST_ABSENCE_MS: Final = 366 * 86_400_000
_LONGEST_TEXT: Final = 200


class Absence(NamedTuple):
    """An absence. from_ms, until_ms: UTC ms, until as planned; helper: the id of a person; who: wrote it down;
    ended_ms: when it was ended before its time, None where it was not.
    """

    id: int
    from_ms: int
    until_ms: int
    helper: str
    who: str
    ended_ms: int | None

    @property
    def over_ms(self) -> int:
        """When it is over [UTC ms]."""
        return self.until_ms if self.ended_ms is None else min(self.until_ms, self.ended_ms)


def begin_absence(store: Store, helper: str, who: str, from_ms: int, until_ms: int) -> None:
    """Write an absence down, which takes the place of one that is not over. Raises TextRefused, ValueError."""
    if not from_ms < until_ms <= from_ms + LONGEST_ABSENCE_MS:
        raise ValueError("an absence ends after it begins, and lasts at most a year")
    for name, text in (("helper", helper), ("who", who)):
        problem = line_problem(text, _LONGEST_TEXT)
        if problem:
            raise TextRefused(f"{name}: {problem}. Nothing was written")
    with store.write() as connection:
        _end(connection, from_ms)
        connection.execute(
            "INSERT INTO absence (from_ms, until_ms, helper, who, written_ms) VALUES (?, ?, ?, ?, ?)",
            (from_ms, until_ms, helper, who, from_ms),
        )
        _hold_until(connection, until_ms)


def end_absence(store: Store, now_ms: int) -> Absence | None:
    """End the absence that is not over at now_ms [UTC ms], and give it; None where there is none."""
    with store.write() as connection:
        absence = absence_at(connection, now_ms)
        _end(connection, now_ms)
        _hold_until(connection, now_ms)
    return absence


def absence_at(connection: sqlite3.Connection, now_ms: int) -> Absence | None:
    """Read the absence that is not over at now_ms [UTC ms]."""
    absence = last_absence(connection)
    return absence if absence is not None and absence.from_ms <= now_ms < absence.over_ms else None


def last_absence(connection: sqlite3.Connection) -> Absence | None:
    """Read the absence that was written last, whether it is over or not."""
    row = connection.execute(
        "SELECT id, from_ms, until_ms, helper, who, ended_ms FROM absence ORDER BY id DESC LIMIT 1"
    ).fetchone()
    return None if row is None else Absence(*row)


def _hold_until(connection: sqlite3.Connection, until_ms: int) -> None:
    """Let the messages that wait for the owner wait until then, and no longer."""
    connection.execute(
        "UPDATE message SET not_before_ms = ?, next_try_ms = ?"
        " WHERE state = 'waiting' AND attempts = 0 AND hold = 'away'",
        (until_ms, until_ms),
    )


def _end(connection: sqlite3.Connection, now_ms: int) -> None:
    connection.execute("UPDATE absence SET ended_ms = ? WHERE ended_ms IS NULL AND until_ms > ?", (now_ms, now_ms))
