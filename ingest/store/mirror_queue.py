"""What the mirror has yet to send of readings and of the alarm journal, and what its server would not take.

Its place in the change feed is the cursor "mirror". What is more than one round's work (all that was there at the
start, a year that was re-scaled, a day without a server) stands in ``mirror_span`` as spans that shrink while they are
sent; so the feed can be pruned, and a restart goes on where it stopped.
"""

from __future__ import annotations

__all__ = [
    "ENTRIES",
    "ENTRIES_COUNTED",
    "FOLLOWER",
    "JOIN_MS",
    "STRIKES",
    "TRANSITIONS",
    "RefusedLine",
    "Unsent",
    "add_refused",
    "backlog",
    "begin_anew",
    "behind_since",
    "feed_behind",
    "follows",
    "joined",
    "keep_behind_since",
    "newest_refused",
    "next_span",
    "put_off",
    "shrink",
    "transitions_after",
    "unsent_transitions",
]

import sqlite3
from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

from ingest.store.alarms.alarm_record import TransitionRow
from ingest.store.change_feed import cursor, set_cursor
from ingest.store.connection import Store

FOLLOWER: Final = "mirror"
TRANSITIONS: Final = "mirror transitions"
ENTRIES: Final = "mirror entries"
ENTRIES_COUNTED: Final = "mirror entries counted"
STRIKES: Final = "mirror strikes"
_DESTINATION: Final = "mirror destination"
_BEHIND_SINCE: Final = "mirror behind since"

# Spans of a series that are this near to each other become one: what lies between is sent again, which changes nothing.
JOIN_MS: Final = 3_600_000

MOST_REFUSED: Final = 500
_LONGEST_KEPT: Final = 2000

_Interval = tuple[int, int]


class Unsent(NamedTuple):
    """Readings of ``series`` from from_ms to to_ms, both included, are still to be sent."""

    series: int
    from_ms: int
    to_ms: int


class RefusedLine(NamedTuple):
    """A line that the server would not take, or the first of a batch of which it left something out."""

    line: str
    status: int
    said: str


def joined(intervals: Iterable[_Interval]) -> list[_Interval]:
    """Intervals in order of time, those that meet or nearly meet as one."""
    made: list[_Interval] = []
    for from_ms, to_ms in sorted(intervals):
        if made and from_ms - made[-1][1] <= JOIN_MS:
            made[-1] = (made[-1][0], max(made[-1][1], to_ms))
        else:
            made.append((from_ms, to_ms))
    return made


def follows(store: Store, destination: int) -> bool:
    """Whether the mirror's place in the feed holds for this destination and nothing after it was pruned away."""
    place = cursor(store, FOLLOWER)
    if place is None or cursor(store, _DESTINATION) != destination:
        return False
    oldest = store.connection.execute("SELECT min(seq) FROM touched").fetchone()[0]
    return oldest is None or oldest <= place + 1


def begin_anew(store: Store, destination: int) -> None:
    """All that is stored is to be sent, readings and both journals; from here on the feed is followed."""
    newest = int(store.connection.execute("SELECT max(seq) FROM touched").fetchone()[0] or 0)
    # After the newest change was looked up, so that what comes meanwhile is in the feed or here.
    rows = store.connection.execute(
        "SELECT series, min(first), max(last) FROM"
        " (SELECT series, min(at) AS first, max(at) AS last FROM fresh GROUP BY series"
        " UNION ALL SELECT series, min(from_ms), max(to_ms) FROM block GROUP BY series) GROUP BY series"
    ).fetchall()
    with store.write() as connection:
        connection.execute("DELETE FROM mirror_span")
        connection.executemany("INSERT INTO mirror_span (series, from_ms, to_ms) VALUES (?, ?, ?)", rows)
        set_cursor(connection, FOLLOWER, newest)
        set_cursor(connection, TRANSITIONS, 0)
        set_cursor(connection, ENTRIES, 0)
        set_cursor(connection, ENTRIES_COUNTED, 0)
        # Entries are sent as they are then, struck or not.
        newest_strike = connection.execute("SELECT coalesce(max(id), 0) FROM strike").fetchone()[0]
        set_cursor(connection, STRIKES, int(newest_strike))
        set_cursor(connection, _DESTINATION, destination)


def put_off(store: Store, changes: Sequence[Unsent], reached: int) -> None:
    """Take changes up to ``reached`` out of the feed's hands, to be sent later."""
    by_series: dict[int, list[_Interval]] = {}
    for series, from_ms, to_ms in changes:
        by_series.setdefault(series, []).append((from_ms, to_ms))
    with store.write() as connection:
        for series, intervals in by_series.items():
            known = connection.execute("SELECT from_ms, to_ms FROM mirror_span WHERE series = ?", (series,)).fetchall()
            wanted = joined([*known, *intervals])
            if wanted == sorted(known):
                continue
            connection.execute("DELETE FROM mirror_span WHERE series = ?", (series,))
            connection.executemany(
                "INSERT INTO mirror_span (series, from_ms, to_ms) VALUES (?, ?, ?)",
                [(series, from_ms, to_ms) for from_ms, to_ms in wanted],
            )
        set_cursor(connection, FOLLOWER, reached)


def next_span(store: Store) -> Unsent | None:
    """The span to send next, None if nothing is left but the feed."""
    row = store.connection.execute(
        "SELECT series, from_ms, to_ms FROM mirror_span ORDER BY series, from_ms LIMIT 1"
    ).fetchone()
    return Unsent(*row) if row else None


def shrink(store: Store, series: int, from_ms: int, next_ms: int) -> bool:
    """What begins at from_ms is sent up to before next_ms; False if no span begins there any more."""
    with store.write() as connection:
        row = connection.execute(
            "SELECT to_ms FROM mirror_span WHERE series = ? AND from_ms = ?", (series, from_ms)
        ).fetchone()
        if row is None:
            return False
        connection.execute("DELETE FROM mirror_span WHERE series = ? AND from_ms = ?", (series, from_ms))
        if next_ms <= row[0]:
            # Another span can begin at next_ms only if it lies inside of this one; the longer one counts.
            connection.execute(
                "INSERT INTO mirror_span (series, from_ms, to_ms) VALUES (?, ?, ?) ON CONFLICT (series, from_ms)"
                " DO UPDATE SET to_ms = max(to_ms, excluded.to_ms)",
                (series, next_ms, row[0]),
            )
    return True


def backlog(store: Store) -> tuple[int, int | None]:
    """(spans, time of the oldest reading in them) that wait beside the feed."""
    count, oldest = store.connection.execute("SELECT count(*), min(from_ms) FROM mirror_span").fetchone()
    return int(count), None if oldest is None else int(oldest)


def feed_behind(store: Store) -> int:
    """How many changes of the feed were not taken up yet."""
    newest = store.connection.execute("SELECT max(seq) FROM touched").fetchone()[0]
    return max(0, int(newest or 0) - (cursor(store, FOLLOWER) or 0))


def behind_since(store: Store) -> int | None:
    """Since when (UTC ms) something has been unsent, None while the mirror is up to date."""
    return cursor(store, _BEHIND_SINCE) or None


def keep_behind_since(store: Store, since_ms: int | None) -> None:
    """Keep that moment through a restart; None: it is up to date."""
    with store.write() as connection:
        set_cursor(connection, _BEHIND_SINCE, since_ms or 0)


def unsent_transitions(store: Store) -> int:
    """How many rows of the alarm journal were not sent yet."""
    place = cursor(store, TRANSITIONS) or 0
    return int(store.connection.execute("SELECT count(*) FROM transition WHERE id > ?", (place,)).fetchone()[0])


def transitions_after(store: Store, after_id: int, limit: int) -> list[tuple[int, TransitionRow]]:
    """Up to ``limit`` rows of the alarm journal with a greater id, each with its id."""
    rows = store.connection.execute(
        "SELECT id, at_ms, key, occurrence, event, from_state, to_state, value, who, note FROM transition"
        " WHERE id > ? ORDER BY id LIMIT ?",
        (after_id, limit),
    )
    return [(row[0], TransitionRow(*row[1:])) for row in rows]


def add_refused(connection: sqlite3.Connection, refused: Iterable[RefusedLine], now_ms: int) -> None:
    """Keep what was refused, the newest of it; call inside a transaction."""
    for line, status, said in refused:
        connection.execute(
            "INSERT INTO mirror_refused (line, status, said, count, first_ms, last_ms) VALUES (?, ?, ?, 1, ?, ?)"
            " ON CONFLICT (line) DO UPDATE SET status = excluded.status, said = excluded.said, count = count + 1,"
            " last_ms = excluded.last_ms",
            (line[:_LONGEST_KEPT], status, said[:_LONGEST_KEPT], now_ms, now_ms),
        )
    connection.execute(
        "DELETE FROM mirror_refused WHERE id IN"
        " (SELECT id FROM mirror_refused ORDER BY last_ms DESC, id DESC LIMIT -1 OFFSET ?)",
        (MOST_REFUSED,),
    )


def newest_refused(store: Store, limit: int) -> list[RefusedLine]:
    """What was refused last."""
    rows = store.connection.execute(
        "SELECT line, status, said FROM mirror_refused ORDER BY last_ms DESC, id DESC LIMIT ?", (limit,)
    )
    return [RefusedLine(*row) for row in rows]
