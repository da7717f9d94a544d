"""Numbered migrations: each whole or not at all, and each once."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest
from a_store import NOW, new_store

from ingest.errors import StoreError
from ingest.journal.body import body_data
from ingest.store import Store, create_or_open, open_existing
from ingest.store.alarms.operator_events import append_event, waiting_events
from ingest.store.journal.entries import entries
from ingest.store.migrations import MIGRATIONS, Migration, migrate, version_of

NEXT = MIGRATIONS[-1].number + 1


def _adds_a_column(connection: sqlite3.Connection) -> None:
    connection.execute("ALTER TABLE operator_event ADD COLUMN shift TEXT")
    connection.execute("CREATE TABLE shift (name TEXT)")
    connection.execute("UPDATE operator_event SET shift = 'late'")


def _fails_late(connection: sqlite3.Connection) -> None:
    _adds_a_column(connection)
    connection.execute("INSERT INTO nowhere VALUES (1)")


def _breaks_off(connection: sqlite3.Connection) -> None:
    _adds_a_column(connection)
    raise ZeroDivisionError


GOOD = Migration(NEXT, "who was on shift", _adds_a_column)


def _schema(store: Store) -> list[tuple[str, str]]:
    return store.connection.execute("SELECT name, sql FROM sqlite_master ORDER BY name").fetchall()


def test_numbers_count_up_from_one() -> None:
    assert [migration.number for migration in MIGRATIONS] == list(range(1, len(MIGRATIONS) + 1))


def test_a_new_store_records_what_was_applied(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        rows = store.connection.execute("SELECT number, name, applied_ms FROM migration").fetchall()
    assert rows == [(migration.number, migration.name, NOW) for migration in MIGRATIONS]


def test_opening_again_applies_nothing(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        before = _schema(store)
    with create_or_open(store.path, NOW + 1) as store:
        assert migrate(store, NOW + 2) == []
        assert _schema(store) == before
        assert store.connection.execute("SELECT DISTINCT applied_ms FROM migration").fetchall() == [(NOW,)]


@pytest.mark.parametrize(
    ("apply", "error"), [(_fails_late, StoreError), (_breaks_off, ZeroDivisionError)], ids=["sql", "code"]
)
def test_a_failed_migration_leaves_the_store_as_it_was_and_pending(
    tmp_path: Path, apply: object, error: type[Exception]
) -> None:
    assert callable(apply)
    with new_store(tmp_path) as store:
        append_event(store, "acknowledge", "a2b", "Ana", "", NOW)
        before = _schema(store), waiting_events(store)
        with pytest.raises(error):
            migrate(store, NOW, (*MIGRATIONS, Migration(NEXT, "broken", apply)))
        assert (_schema(store), waiting_events(store)) == before
        assert version_of(store.connection) == NEXT - 1
        assert migrate(store, NOW, (*MIGRATIONS, GOOD)) == ["who was on shift"]
        assert version_of(store.connection) == NEXT
        assert store.connection.execute("SELECT target, shift FROM operator_event").fetchall() == [("a2b", "late")]


def test_what_another_process_applied_meanwhile_is_not_applied_again(tmp_path: Path) -> None:
    with new_store(tmp_path) as store, open_existing(store.path) as other:
        both = (*MIGRATIONS, GOOD, Migration(NEXT + 1, "second", lambda connection: None))

        applied: list[str] = []

        def other_is_faster(statement: str) -> None:
            # This one has looked, and is about to ask for the lock. (To take the callback away from within itself frees
            # what sqlite3 is still using.)
            if statement == "BEGIN IMMEDIATE" and not applied:
                applied.extend(migrate(other, NOW, both))

        store.connection.set_trace_callback(other_is_faster)
        assert migrate(store, NOW, both) == []
        assert applied == ["who was on shift", "second"]
        assert store.connection.execute("SELECT count(*) FROM migration").fetchone() == (NEXT + 1,)


def test_a_pending_store_is_no_store_for_the_commands(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        with store.write() as connection:
            connection.execute("DELETE FROM migration")
        with pytest.raises(StoreError, match="`leeside run` brings it up to date"):
            open_existing(store.path)


def test_kinds_of_entries_that_were_renamed_say_what_they_said(tmp_path: Path) -> None:
    """What was written under the former names reads under the new ones; no other word of it changes."""
    remark = 'a "state": with "lock_liquid_seen": in it'
    rows = [
        (1, "fill", "K1", "A", {"volume_l": 16.0}),
        (2, "look", "K1", None, {"clarity": "hazy", "remark": remark}),
        (3, "state", "K1", None, {"state": "cleaned", "lock_liquid_seen": True, "remark": remark}),
    ]
    with new_store(tmp_path) as store, store.write() as connection:
        for number, kind, place, lot, body in rows:
            connection.execute(
                "INSERT INTO entry (id, kind, at_ms, written_ms, who, place, lot, body)"
                " VALUES (?, ?, 5, 5, 'Ana', ?, ?, ?)",
                (number, kind, place, lot, json.dumps(body, separators=(",", ":"))),
            )
        renamed = next(each for each in MIGRATIONS if each.name == "kinds of entries renamed")
        renamed.apply(connection)
    with create_or_open(tmp_path / "cellar.db", NOW) as store:
        read = [(entry.kind, json.loads(body_data(entry.body))) for entry in entries(store)]
        with pytest.raises(StoreError, match="only added to"), store.write() as connection:
            connection.execute("UPDATE entry SET who = 'Ben'")
    assert read == [
        ("first-filling", {"volume_l": 16.0}),
        ("inspection", {"clarity": "hazy", "remark": remark}),
        ("vessel-status", {"status": "cleaned", "airlock_liquid_seen": True, "remark": remark}),
    ]
