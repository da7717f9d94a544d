"""A request that is sent again writes nothing twice, and one key never stands for two requests."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest
from a_store import NOW
from journal_entries import journal_cellar

from ingest.amending import prepare_amendment, write_amendment
from ingest.entering import Answers, Prepared, enter, prepare, write
from ingest.entering_several import write_several
from ingest.errors import EntryRefused
from ingest.journal.entry import Entry
from ingest.store import Store, create_or_open
from ingest.store.journal.entries import entries
from ingest.store.journal.idempotency_keys import KeyUsed, Once, key_used

CELLAR = journal_cellar()
STATUS: Mapping[str, str] = {"vessel": "K1", "status": "cleaned"}
ONCE = Once("k-1", "cleaned")


def _prepared(store: Store, answers: Answers = STATUS) -> Prepared:
    return prepare(store, CELLAR, "vessel-status", answers, who="Ana", now_ms=NOW)


def _written(store: Store, once: Once | None, now_ms: int = NOW) -> Entry:
    return write(store, CELLAR, _prepared(store), now_ms=now_ms, once=once)


def test_the_same_request_again_gives_the_same_entry(store: Store, tmp_path: Path) -> None:
    first = _written(store, ONCE)
    assert _written(store, ONCE, NOW + 60_000) == first
    with create_or_open(store.path, NOW) as after_a_restart:
        assert _written(after_a_restart, ONCE) == first
        assert key_used(after_a_restart, ONCE) == [first]
    assert entries(store) == [first]


def test_requests_without_a_key_or_with_another_one_each_write(store: Store) -> None:
    numbers = [_written(store, once).id for once in (None, None, ONCE, Once("k-2", "cleaned"))]
    assert numbers == [1, 2, 3, 4]
    assert key_used(store, Once("k-3", "cleaned")) == []


def test_a_key_of_another_request_is_refused_and_names_what_that_wrote(store: Store) -> None:
    first = _written(store, ONCE)
    for act in (lambda: _written(store, Once("k-1", "emptied")), lambda: key_used(store, Once("k-1", "emptied"))):
        with pytest.raises(KeyUsed, match=r"has written no\. 1 already") as caught:
            act()
        assert caught.value.entries == (first,)
    assert len(entries(store)) == 1


def test_a_request_that_was_refused_may_come_again_with_its_key(store: Store) -> None:
    sample = prepare(store, CELLAR, "sample", {"vessel": "K1", "volume": "60 mL"}, who="Ana", now_ms=NOW)
    enter(store, CELLAR, "vessel-status", {"vessel": "K1", "status": "emptied"}, who="Ana", now_ms=NOW - 1)
    with pytest.raises(EntryRefused):
        write(store, CELLAR, sample, now_ms=NOW, once=ONCE)
    assert key_used(store, ONCE) == []
    assert _written(store, ONCE).id == 2


def test_several_entries_of_one_request_are_given_together(store: Store) -> None:
    drafts = [_prepared(store).draft, _prepared(store, {**STATUS, "vessel": "C1"}).draft]
    first = write_several(store, CELLAR, drafts, now_ms=NOW, once=ONCE)
    assert [entry.place for entry in first] == ["K1", "C1"]
    assert write_several(store, CELLAR, drafts, now_ms=NOW, once=ONCE) == first
    assert len(entries(store)) == 2


def test_an_amendment_that_is_sent_again_gives_the_new_entry(store: Store) -> None:
    old = _written(store, None)
    amendment = prepare_amendment(store, CELLAR, old.id, {"status": "in use"}, who="Ana", now_ms=NOW)
    new = write_amendment(store, CELLAR, amendment, now_ms=NOW, once=ONCE)
    assert write_amendment(store, CELLAR, amendment, now_ms=NOW, once=ONCE) == new
    assert [entry.id for entry in entries(store)] == [1, 2]


def test_keys_are_forgotten_long_after_anybody_would_try_again(store: Store) -> None:
    _written(store, ONCE)
    _written(store, Once("k-2", "cleaned"), NOW + 401 * 86_400_000)
    assert [row[0] for row in store.connection.execute("SELECT key FROM idempotency_key")] == ["k-2"]
