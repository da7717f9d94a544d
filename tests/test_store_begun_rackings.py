"""Rackings begun and not finished, from the stored journal; and an entry that cannot be read."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from journal_entries import journal_cellar

from ingest.entering import enter
from ingest.errors import StoreError
from ingest.journal.open_rackings import LONGEST_RACKING_MS
from ingest.store import Store, create_or_open
from ingest.store.journal.begun_rackings import begun_rackings
from ingest.store.journal.entries import entries, strike
from ingest.store.journal.vessel_use import VesselUseCache

NOW_MS = 1_795_599_600_000
CELLAR = journal_cellar()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with create_or_open(tmp_path / "cellar.db", NOW_MS) as opened:
        yield opened


def _racking(store: Store, at_ms: int, **told: object) -> int:
    return enter(store, CELLAR, "racking", told, who="Ana", now_ms=at_ms).id  # type: ignore[arg-type]  # a test's answers


def _begun(store: Store) -> list[int]:
    with store.read() as connection:
        return [one.entry for one in begun_rackings(connection)]


def test_vessels_are_quiet_from_the_begin_to_the_end_and_never_longer_than_some_hours(store: Store) -> None:
    vessel_use = VesselUseCache(store)
    assert vessel_use.at(NOW_MS).racking == frozenset()
    first = _racking(store, NOW_MS, **{"from": ["K1"], "to": ["K3"]}, begin=True)
    assert vessel_use.at(NOW_MS - 1).racking == frozenset()
    assert vessel_use.at(NOW_MS).racking == {"K1", "K3"}
    assert vessel_use.at(NOW_MS + LONGEST_RACKING_MS - 1).racking == {"K1", "K3"}
    assert vessel_use.at(NOW_MS + LONGEST_RACKING_MS).racking == frozenset()
    second = _racking(store, NOW_MS + 1, **{"from": ["C1"]}, begin=True)
    assert vessel_use.at(NOW_MS + 1).racking == {"K1", "K3", "C1"}
    assert _begun(store) == [second, first]
    done = _racking(store, NOW_MS + 2, **{"from": ["K1=3L"], "to": ["K3"]})
    assert vessel_use.at(NOW_MS + 2).racking == {"C1"}
    strike(store, done, "Ana", "not so", NOW_MS + 3)
    assert vessel_use.at(NOW_MS + 3).racking == {"K1", "K3", "C1"}
    strike(store, second, "Ana", "rain", NOW_MS + 4)
    assert vessel_use.at(NOW_MS + 4).racking == {"K1", "K3"}
    assert _begun(store) == [first]


def test_an_entry_that_cannot_be_read_is_told_by_its_number(store: Store) -> None:
    with store.write() as connection:
        connection.execute(
            "INSERT INTO entry (id, kind, at_ms, written_ms, who, body) VALUES (7, 'racking', 1, 1, 'Ana', ?)",
            ('{"stage":"begun","sources":[],"moon":"full"}',),
        )
    with pytest.raises(StoreError, match=r"entry no. 7 of the journal \(racking\) cannot be read: 2 validation errors"):
        entries(store)
