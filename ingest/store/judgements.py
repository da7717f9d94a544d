"""Judgements: the newest of each, which the turn reads, and one an hour for charts.

They can be worked out again from readings and the journal at any time, so no strike or import touches them: the next
answer of their judge replaces them.
"""

from __future__ import annotations

__all__ = [
    "HOUR_MS",
    "KEEP_HOURS_MS",
    "MOST_DETAILS",
    "JudgedSpan",
    "drop_old_judgements",
    "judged_numbers",
    "judgement_count",
    "judgement_history",
    "judgement_spans",
    "keep_judgements",
    "newest_judgements",
]

import json
import math
import sqlite3
from collections.abc import Collection, Sequence
from typing import Any, Final, NamedTuple

from ingest.errors import StoreError
from ingest.judgement import FINDINGS, UNDECIDED, Judgement
from ingest.store.change_feed import cursor, set_cursor
from ingest.store.connection import Store

HOUR_MS: Final = 3_600_000
# So that a winter can be laid beside the one before: 400 days. docs/data.md states this number.
KEEP_HOURS_MS: Final = 400 * 24 * HOUR_MS
# A judge that answers each minute renews the row of an hour so often, or when its finding changes: each row lies on a
# page of its own, and a card wears out by pages.
_HOUR_STEP_MS: Final = 9 * 60_000
# Details are for a card and a message, in characters of JSON.
MOST_DETAILS: Final = 4000

# Counts the answers that were kept: a reader asks only for what came after the one it has seen.
_COUNT: Final = "judgements"
_AT_ONCE: Final = 500
_COLUMNS: Final = "SELECT place, name, at_ms, value, low, high, finding, lot, details FROM judgement WHERE answer > ?"
_NUMBERS: Final = "SELECT place, name, at_ms, value, NULL, NULL, finding, lot FROM judgement WHERE answer > ?"
_NUMBERS_AT: Final = (
    "SELECT place, name, at_ms, value, NULL, NULL, finding, lot FROM judgement"
    " WHERE answer > ? AND place IN (SELECT value FROM json_each(?))"
)
_NEWEST: Final = _COLUMNS + " ORDER BY place, name"
_NEWEST_AT: Final = _COLUMNS + " AND place = ? ORDER BY place, name"


def keep_judgements(connection: sqlite3.Connection, judge: str, judgements: Sequence[Judgement]) -> None:
    """Keep a judge's whole answer; call inside a transaction. What it judged before and does not name now is forgotten,
    but not its history.

    Raises StoreError, before anything is written, for a number that is not finite, an unknown finding, and details that
    are too long.
    """
    rows = [_row(judgement) for judgement in judgements]
    count = _count(connection) + 1
    connection.executemany(
        "INSERT INTO judgement (place, name, lot, judge, at_ms, value, low, high, finding, details, answer)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (place, name) DO UPDATE SET lot = excluded.lot,"
        " judge = excluded.judge, at_ms = excluded.at_ms, value = excluded.value, low = excluded.low,"
        " high = excluded.high, finding = excluded.finding, details = excluded.details, answer = excluded.answer",
        [(*row[:3], judge, *row[3:], count) for row in rows],
    )
    connection.execute("DELETE FROM judgement WHERE judge = ? AND answer < ?", (judge, count))
    connection.executemany(
        "INSERT INTO judgement_hour (place, name, lot, hour_ms, at_ms, value, low, high, finding)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (place, name, lot, hour_ms) DO UPDATE SET"
        " at_ms = excluded.at_ms, value = excluded.value, low = excluded.low, high = excluded.high,"
        " finding = excluded.finding WHERE excluded.at_ms - judgement_hour.at_ms >= ?"
        " OR excluded.at_ms < judgement_hour.at_ms OR excluded.finding <> judgement_hour.finding",
        [(*row[:3], row[3] - row[3] % HOUR_MS, *row[3:8], _HOUR_STEP_MS) for row in rows],
    )
    set_cursor(connection, _COUNT, count)


def judgement_count(store: Store) -> int:
    """How many answers were kept so far; it changes with each."""
    return cursor(store, _COUNT) or 0


def newest_judgements(store: Store, after: int = 0, place: str | None = None) -> list[Judgement]:
    """Read the newest of each place and name, by place and name; after: only those of later answers; place: of one."""
    rows = store.connection.execute(
        _NEWEST if place is None else _NEWEST_AT, (after,) if place is None else (after, place)
    )
    return [Judgement(*row[:8])._replace(details=json.loads(row[8])) for row in rows]


def judged_numbers(store: Store, after: int, places: Collection[str] | None = None) -> list[Judgement]:
    """Read the same without interval and details, which makes it several times as quick; places: only of these."""
    rows = store.connection.execute(
        _NUMBERS if places is None else _NUMBERS_AT, (after,) if places is None else (after, json.dumps([*places]))
    )
    return [Judgement(*row) for row in rows]


def judgement_history(
    store: Store, places: Collection[str], name: str, from_ms: int, to_ms: int, lot: str = ""
) -> list[Judgement]:
    """Read the judgement of each hour, of its last ten minutes, oldest first, without details.

    places: the names of one place, former ones included; lot: "" for judgements on the place itself; from_ms, to_ms:
    UTC milliseconds, both included.
    """
    rows = store.connection.execute(
        "SELECT place, name, at_ms, value, low, high, finding, lot FROM judgement_hour WHERE lot = ? AND name = ?"
        " AND place IN (SELECT value FROM json_each(?)) AND at_ms BETWEEN ? AND ? AND hour_ms BETWEEN ? AND ?"
        " ORDER BY at_ms",
        (lot, name, json.dumps([*places]), from_ms, to_ms, from_ms - HOUR_MS, to_ms),
    )
    return [Judgement(*row) for row in rows]


class JudgedSpan(NamedTuple):
    """What was judged over a span of time that begins at from_ms (UTC ms): the mean, and the outermost ends of the
    intervals, in the quantity's unit.
    """

    from_ms: int
    mean: float
    low: float
    high: float


def judgement_spans(
    store: Store, places: Collection[str], name: str, from_ms: int, to_ms: int, span_ms: int
) -> list[JudgedSpan]:
    """Read the same over longer spans, for charts: those with a number that decides, oldest first; not of a lot.

    span_ms: a multiple of an hour; the spans that from_ms and to_ms (UTC ms, from and before) lie in are given whole.
    """
    rows = store.connection.execute(
        "SELECT hour_ms / :span * :span, avg(value), min(min(value, coalesce(low, value))),"
        " max(max(value, coalesce(high, value))) FROM judgement_hour"
        " WHERE lot = '' AND name = :name AND place IN (SELECT value FROM json_each(:places))"
        " AND hour_ms >= :from AND hour_ms < :to AND value IS NOT NULL"
        " AND finding NOT IN (SELECT value FROM json_each(:undecided)) GROUP BY 1 ORDER BY 1",
        {
            "span": span_ms,
            "name": name,
            "places": json.dumps([*places]),
            "from": from_ms // span_ms * span_ms,
            "to": -(-to_ms // span_ms) * span_ms,
            "undecided": json.dumps([*UNDECIDED]),
        },
    )
    return [JudgedSpan(*row) for row in rows]


def drop_old_judgements(store: Store, now_ms: int) -> bool:
    """Drop some hours of the history that are older than is kept; False when nothing is left to drop."""
    with store.write() as connection:
        dropped = connection.execute(
            "DELETE FROM judgement_hour WHERE (place, name, lot, hour_ms) IN"
            " (SELECT place, name, lot, hour_ms FROM judgement_hour WHERE hour_ms < ? LIMIT ?)",
            (now_ms - KEEP_HOURS_MS, _AT_ONCE),
        ).rowcount
    return dropped > 0


def _count(connection: sqlite3.Connection) -> int:
    row = connection.execute("SELECT value FROM cursor WHERE name = ?", (_COUNT,)).fetchone()
    return 0 if row is None else int(row[0])


def _row(judgement: Judgement) -> tuple[Any, ...]:
    """place, name, lot, at_ms, value, low, high, finding, details."""
    subject = f"{judgement.name} of {judgement.lot or judgement.place}"
    for number in (judgement.value, judgement.low, judgement.high):
        if number is not None and not math.isfinite(number):
            raise StoreError(f"the judgement {subject} is {number}: it must be a finite number, or none")
    if judgement.finding not in FINDINGS:
        known = ", ".join(sorted(FINDINGS - {""}))
        raise StoreError(f"the judgement {subject} finds '{judgement.finding}'; there are: {known}")
    details = json.dumps(dict(judgement.details), separators=(",", ":"), ensure_ascii=False)
    if len(details) > MOST_DETAILS:
        raise StoreError(
            f"the details of the judgement {subject} have {len(details)} characters of JSON, at most "
            f"{MOST_DETAILS} are kept"
        )
    return (
        judgement.place,
        judgement.name,
        judgement.lot,
        judgement.at_ms,
        judgement.value,
        judgement.low,
        judgement.high,
        judgement.finding,
        details,
    )
