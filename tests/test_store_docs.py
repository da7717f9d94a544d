"""docs/data.md tells every table and column of the store, and none that does not exist; its examples work."""

from __future__ import annotations

import re
from pathlib import Path

from alerts.watch.alarm_table import Occasion, State
from ingest.reading import Quality, Reason
from ingest.store import Store
from ingest.store.rejects import MOST_REJECT_ROWS

_TEXT = (Path(__file__).parent.parent / "docs" / "data.md").read_text(encoding="utf-8")


def _told() -> dict[str, list[str]]:
    """Table -> its columns, as the page tells them; each with a meaning."""
    parts = re.split(r"^### `(\w+)`$", _TEXT, flags=re.MULTILINE)
    assert len(parts[1::2]) == len(set(parts[1::2])), "a table is told twice"
    told = {}
    for name, section in zip(parts[1::2], parts[2::2], strict=True):
        introduction, _, rows = section.partition("| column | meaning |\n|---|---|\n")
        assert introduction.strip(), f"{name} has no words"
        told[name] = re.findall(r"^\| `(\w+)` \| \S.* \|$", rows, flags=re.MULTILINE)
        assert len(told[name]) == len([line for line in rows.splitlines() if line.startswith("|")]), name
    return told


def _existing(store: Store) -> dict[str, list[str]]:
    names = store.connection.execute(
        "SELECT name FROM sqlite_master WHERE type IN ('table', 'view') AND name NOT LIKE 'sqlite%' ORDER BY rowid"
    ).fetchall()
    return {name: [row[1] for row in store.connection.execute(f"PRAGMA table_info({name})")] for (name,) in names}


def test_the_page_and_the_store_have_the_same_tables(store: Store) -> None:
    assert set(_told()) == set(_existing(store))


def test_each_table_is_told_column_by_column_in_its_order(store: Store) -> None:
    assert _told() == _existing(store)


def test_each_query_of_the_page_works(store: Store) -> None:
    queries = re.findall(r"```sql\n(.+?)```", _TEXT, flags=re.DOTALL)
    queries += re.findall(r'"(SELECT .+?)"', _TEXT)
    assert len(queries) == 4
    for query in queries:
        store.connection.execute(query)


def test_each_class_and_reason_of_quality_is_told() -> None:
    for quality in Quality:
        assert f"| {int(quality)} {quality.name.lower()} |" in _TEXT
    for reason in Reason:
        name = "" if reason is Reason.NONE else " " + reason.name.lower().replace("_", " ")
        assert f"| {int(reason)}{name} |" in _TEXT


def test_words_and_numbers_of_the_page_are_those_of_the_code() -> None:
    for word in (*State, *Occasion):
        assert f"`{word}`" in _TEXT
    assert f"past {MOST_REJECT_ROWS} rows" in _TEXT
