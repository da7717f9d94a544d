"""The change feed and the places of those who follow it."""

from __future__ import annotations

from pathlib import Path

from a_store import NOW, new_store

from ingest.store import open_existing
from ingest.store.change_feed import Touch, cursor, set_cursor, touched_after
from ingest.store.readings.fresh import Appender


def test_a_follower_gets_each_change_once_and_in_order(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        appender = Appender(store)
        for step in range(5):
            appender.append([(1, NOW + step, 0.0, 0)])
        seen: list[Touch] = []
        while changes := touched_after(store, seen[-1].seq if seen else 0, limit=2):
            assert len(changes) <= 2
            seen.extend(changes)
        assert seen == [Touch(step + 1, 1, NOW + step, NOW + step) for step in range(5)]
        appender.append([(1, NOW, 0.0, 0)])
        assert touched_after(store, 5) == []


def test_a_place_is_kept_over_restarts_and_only_with_its_transaction(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        assert cursor(store, "mirror") is None
        with store.write() as connection:
            set_cursor(connection, "mirror", 7)
            set_cursor(connection, "page", 1)
        try:
            with store.write() as connection:
                set_cursor(connection, "mirror", 9)
                raise KeyError
        except KeyError:
            pass
    with open_existing(store.path) as store:
        assert (cursor(store, "mirror"), cursor(store, "page")) == (7, 1)
        with store.write() as connection:
            set_cursor(connection, "mirror", 3)
        assert cursor(store, "mirror") == 3
