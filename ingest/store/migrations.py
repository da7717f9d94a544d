"""Numbered migrations: each runs in one transaction together with the row that records it.

A failure leaves the migration pending and the store as it was. A migration that has been released is never edited;
the next change is the next number.
"""

from __future__ import annotations

__all__ = ["MIGRATIONS", "Migration", "migrate", "refuse_foreign", "require_known_version", "version_of"]

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Final, NamedTuple

from ingest.errors import StoreError, StoreTooNew
from ingest.store.connection import Store
from ingest.store.journal_schema import IDEMPOTENCY_SCHEMA, JOURNAL_SCHEMA, LOT_LOCATIONS_SCHEMA
from ingest.store.schema import (
    ABSENCE_SCHEMA,
    FIRST_SCHEMA,
    JUDGEMENT_SCHEMA,
    MIRROR_SCHEMA,
    RING_SCHEMA,
    SETTLED_SCHEMA,
)


class Migration(NamedTuple):
    """number: 1, 2, 3, ...; name: what it does; apply: does it, inside a transaction of the caller's."""

    number: int
    name: str
    apply: Callable[[sqlite3.Connection], None]


def _first_schema(connection: sqlite3.Connection) -> None:
    for statement in FIRST_SCHEMA:
        connection.execute(statement)


def _settled(connection: sqlite3.Connection) -> None:
    for statement in SETTLED_SCHEMA:
        connection.execute(statement)


def _mirror(connection: sqlite3.Connection) -> None:
    for statement in MIRROR_SCHEMA:
        connection.execute(statement)


def _journal(connection: sqlite3.Connection) -> None:
    for statement in JOURNAL_SCHEMA:
        connection.execute(statement)


def _lean(connection: sqlite3.Connection) -> None:
    """Save two pages to write with each commit: the feed's, and that of the packet ids, which go with the readings."""
    connection.execute("ALTER TABLE fresh ADD COLUMN came INTEGER")
    connection.execute("DROP TABLE delivered")
    # Until now every reading entered the feed with its own commit.
    connection.execute(
        "INSERT OR REPLACE INTO cursor (name, value) SELECT 'fed fresh', coalesce(max(id), 0) FROM fresh"
    )


def _stays(connection: sqlite3.Connection) -> None:
    # Filled by the next process that works on the store: `leeside run` at its start, or the next entry.
    for statement in LOT_LOCATIONS_SCHEMA:
        connection.execute(statement)


def _first_stores(connection: sqlite3.Connection) -> None:
    """Bring stores of the first two commits to the shape that the first schema has had since: they had one kind of
    scale, and no table of readings with estimated times."""
    columns = {row[1] for row in connection.execute("PRAGMA table_info(scale)")}
    if "kind" in columns:
        return
    connection.execute("DROP VIEW fresh_reading")
    connection.execute("DROP INDEX scale_by_series")
    connection.execute("CREATE TEMP TABLE scale_before AS SELECT * FROM scale")
    connection.execute("DROP TABLE scale")
    for statement in FIRST_SCHEMA:
        if statement.split()[2] in ("scale", "scale_by_series", "undated", "fresh_reading"):
            connection.execute(statement)
    connection.execute(
        "INSERT INTO scale (id, series, from_ms, kind, gain, offset, unit, because, written_ms)"
        " SELECT id, series, from_ms, 'file', gain, offset, unit, because, written_ms FROM scale_before"
    )
    connection.execute("DROP TABLE scale_before")


def _judgements(connection: sqlite3.Connection) -> None:
    """Give judgements columns instead of JSON. No version has written any so far, so nothing is lost."""
    for table in ("judgement", "judgement_hour"):
        connection.execute(f"DROP TABLE {table}")
    for statement in JUDGEMENT_SCHEMA:
        connection.execute(statement)
    connection.execute("ALTER TABLE transition ADD COLUMN finding TEXT NOT NULL DEFAULT ''")


def _held_messages(connection: sqlite3.Connection) -> None:
    connection.execute("ALTER TABLE message ADD COLUMN hold TEXT NOT NULL DEFAULT ''")
    connection.execute("ALTER TABLE message ADD COLUMN priority TEXT NOT NULL DEFAULT ''")
    connection.execute("UPDATE message SET hold = 'waking' WHERE state = 'waiting' AND not_before_ms > created_ms")
    connection.execute(
        "CREATE INDEX message_of_flood ON message (recipient, id) WHERE occasion IN ('flood', 'flood over')"
    )


def _kinds_renamed(connection: sqlite3.Connection) -> None:
    """Give three kinds of entries, and the keys of one, the names that people use. Nothing of what was said changes."""
    trigger = connection.execute("SELECT sql FROM sqlite_master WHERE name = 'entry_no_update'").fetchone()[0]
    connection.execute("DROP TRIGGER entry_no_update")
    for former, present in (("fill", "first-filling"), ("look", "inspection"), ("state", "vessel-status")):
        connection.execute("UPDATE entry SET kind = ? WHERE kind = ?", (present, former))
    for former, present in (("state", "status"), ("lock_liquid_seen", "airlock_liquid_seen")):
        connection.execute(
            "UPDATE entry SET body = replace(body, ?, ?) WHERE kind = 'vessel-status'",
            (f'"{former}":', f'"{present}":'),
        )
    connection.execute(trigger)


def _amended(connection: sqlite3.Connection) -> None:
    connection.execute("ALTER TABLE entry ADD COLUMN in_place_of INTEGER REFERENCES entry (id)")


def _idempotency_keys(connection: sqlite3.Connection) -> None:
    for statement in IDEMPOTENCY_SCHEMA:
        connection.execute(statement)


def _absences(connection: sqlite3.Connection) -> None:
    for statement in ABSENCE_SCHEMA:
        connection.execute(statement)


def _rings(connection: sqlite3.Connection) -> None:
    for statement in RING_SCHEMA:
        connection.execute(statement)


MIGRATIONS: tuple[Migration, ...] = (
    Migration(1, "the first schema", _first_schema),
    Migration(2, "settled readings and summaries", _settled),
    Migration(3, "what the mirror has yet to send", _mirror),
    Migration(4, "the journal", _journal),
    Migration(5, "less to write with each commit", _lean),
    Migration(6, "where lots lay", _stays),
    Migration(7, "what the first stores lack", _first_stores),
    Migration(8, "judgements, and what they find", _judgements),
    Migration(9, "why a message waits", _held_messages),
    Migration(10, "kinds of entries renamed", _kinds_renamed),
    Migration(11, "entries in the place of others", _amended),
    Migration(12, "keys of requests that wrote entries", _idempotency_keys),
    Migration(13, "when the owner is away", _absences),
    Migration(14, "test messages", _rings),
)

# One commit wrote the journal's schema under the number of the next migration.
_MISNUMBERED: Final = "number = 5 AND name = 'the journal'"


def version_of(connection: sqlite3.Connection) -> int:
    """Return the newest migration that the store has, 0 for an empty file."""
    known = connection.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'migration'").fetchone()
    if known is None:
        return 0
    row = connection.execute(f"SELECT max(number - ({_MISNUMBERED})) FROM migration").fetchone()  # noqa: S608  a constant
    return int(row[0] or 0)


def refuse_foreign(connection: sqlite3.Connection, path: Path) -> None:
    """Raise StoreError for another program's database; it reads only, so that one stays as it is."""
    # One statement, one look: between two, another process could have made this very store.
    tables, ours = connection.execute("SELECT count(*), total(name = 'migration') FROM sqlite_master").fetchone()
    if tables and not ours:
        raise StoreError(f"{path}: this is a database of another program; choose another [store] path")


def require_known_version(connection: sqlite3.Connection, path: Path, *, older: bool = False) -> None:
    """Raise StoreTooNew for a newer store, StoreError for one that `leeside run` has yet to bring up to date.

    older: that one is taken as well.
    """
    version = version_of(connection)
    newest = MIGRATIONS[-1].number
    if version > newest:
        raise StoreTooNew(_too_new(path, version, newest))
    if version < newest and not older:
        raise StoreError(
            f"{path}: the store has schema {version}, this leeside works with {newest}; "
            "`leeside run` brings it up to date"
        )


def migrate(store: Store, now_ms: int, migrations: tuple[Migration, ...] = MIGRATIONS) -> list[str]:
    """Apply what is pending; return the names applied. Raises StoreTooNew for a store of a newer leeside."""
    newest = migrations[-1].number
    refuse_foreign(store.connection, store.path)
    version = version_of(store.connection)
    if version > newest:
        raise StoreTooNew(_too_new(store.path, version, newest))
    applied = []
    for migration in migrations[version:]:
        with store.write() as connection:
            # Another process may have been faster while this one waited for the lock.
            if version_of(connection) >= migration.number:
                continue
            if version:
                connection.execute(f"UPDATE migration SET number = 4 WHERE {_MISNUMBERED}")  # noqa: S608  a constant
            migration.apply(connection)
            connection.execute(
                "INSERT INTO migration (number, name, applied_ms) VALUES (?, ?, ?)",
                (migration.number, migration.name, now_ms),
            )
        applied.append(migration.name)
    return applied


def schema_differences(connection: sqlite3.Connection) -> list[str]:
    """Compare the tables, indexes, views and triggers with those that the store's schema number stands for.

    Gives a line for each that is missing, is not one of ours, or reads otherwise; [] for a store as its number says.
    What SQLite itself adds, and another program's additions under names that begin with ``x_``, are not looked at.
    """
    expected = sqlite3.connect(":memory:", isolation_level=None)
    try:
        for migration in MIGRATIONS[: version_of(connection)]:
            migration.apply(expected)
        wanted, present = _objects(expected), _objects(connection)
    finally:
        expected.close()
    lines = [f"{kind} {name} is missing" for kind, name in sorted(wanted.keys() - present.keys())]
    lines += [f"{kind} {name} is not leeside's" for kind, name in sorted(present.keys() - wanted.keys())]
    both = sorted(wanted.keys() & present.keys())
    return lines + [
        f"{kind} {name} is not as this schema has it"
        for kind, name in both
        if wanted[kind, name] != present[kind, name]
    ]


def _objects(connection: sqlite3.Connection) -> dict[tuple[str, str], str]:
    """Read (type, name) -> its SQL in single spaces."""
    rows = connection.execute(
        "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'x\\_%' ESCAPE '\\'"
    )
    return {(kind, name): " ".join(sql.split()) for kind, name, sql in rows}


def _too_new(path: Path, version: int, newest: int) -> str:
    return (
        f"{path}: the store was written by a newer leeside (schema {version}; this one knows {newest}); update leeside"
    )
