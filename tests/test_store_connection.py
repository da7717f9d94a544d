"""The one way to open the store and the one way to write it."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from a_store import NOW, fill_up, make_room, new_store, start_script

from ingest.errors import StoreError, StoreMissing, StoreTooNew, StoreUnwritable
from ingest.store import Store, create_or_open, open_existing
from ingest.store.alarms.operator_events import append_event, waiting_events
from ingest.store.migrations import MIGRATIONS
from ingest.store.opening import PAGE_SIZE

_APPEND = """
import sys
from pathlib import Path
from ingest.store import create_or_open
from ingest.store.alarms.operator_events import append_event
print("ready", flush=True)
with create_or_open(Path(sys.argv[1]), 1) as store:
    for number in range(int(sys.argv[3])):
        append_event(store, "acknowledge", f"{sys.argv[2]}-{number}", "", "", number)
"""

_BOTH_WAYS: tuple[Callable[[Path], Store], ...] = (lambda path: create_or_open(path, NOW), open_existing)


def _pragma(store: Store, name: str) -> object:
    return store.connection.execute(f"PRAGMA {name}").fetchone()[0]


def test_a_commit_is_durable_and_readers_do_not_wait(tmp_path: Path) -> None:
    with new_store(tmp_path) as store, open_existing(store.path) as other:
        assert _pragma(store, "journal_mode") == "wal"
        assert _pragma(store, "page_size") == PAGE_SIZE
        for opened in (store, other):
            assert _pragma(opened, "synchronous") == 2  # FULL: sqlite.org/pragma.html#pragma_synchronous
            assert _pragma(opened, "foreign_keys") == 1
        with store.write():
            assert waiting_events(other) == []


def test_a_write_is_whole_or_nothing(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        with pytest.raises(KeyError), store.write() as connection:
            connection.execute("INSERT INTO cursor VALUES ('a', 1)")
            raise KeyError("broken off")
        with pytest.raises(StoreError, match=r"cellar\.db: UNIQUE constraint failed"), store.write() as connection:
            connection.execute("INSERT INTO cursor VALUES ('a', 1)")
            connection.execute("INSERT INTO cursor VALUES ('a', 2)")
        assert store.connection.execute("SELECT value FROM cursor WHERE name = 'a'").fetchall() == []
        with store.write() as connection:
            connection.execute("INSERT INTO cursor VALUES ('a', 3)")
        assert store.connection.execute("SELECT value FROM cursor WHERE name = 'a'").fetchall() == [(3,)]


def test_a_look_stays_the_same_while_others_write(tmp_path: Path) -> None:
    with new_store(tmp_path) as store, open_existing(store.path) as other:
        with other.read() as connection:
            assert connection.execute("SELECT count(*) FROM operator_event").fetchone() == (0,)
            append_event(store, "acknowledge", "a2b", "", "", NOW)
            assert connection.execute("SELECT count(*) FROM operator_event").fetchone() == (0,)
        assert len(waiting_events(other)) == 1
        with pytest.raises(StoreError, match="no such table"), other.read() as connection:
            connection.execute("SELECT 1 FROM nowhere")


def test_a_look_inside_a_look_or_a_write_is_of_that_moment(tmp_path: Path) -> None:
    with new_store(tmp_path) as store, open_existing(store.path) as other:
        with other.read() as connection:
            assert connection.execute("SELECT count(*) FROM operator_event").fetchone() == (0,)
            append_event(store, "acknowledge", "a2b", "", "", NOW)
            with other.read() as inner:
                assert inner.execute("SELECT count(*) FROM operator_event").fetchone() == (0,)
            # The inner one has not ended the outer one.
            assert connection.execute("SELECT count(*) FROM operator_event").fetchone() == (0,)
        with other.write() as connection:
            connection.execute("DELETE FROM operator_event")
            with other.read() as inner:
                assert inner.execute("SELECT count(*) FROM operator_event").fetchone() == (0,)
        assert waiting_events(store) == []


def test_two_threads_with_one_store_lose_nothing(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:

        def work(name: str) -> None:
            for number in range(50):
                append_event(store, "acknowledge", f"{name}-{number}", "", "", NOW)

        threads = [threading.Thread(target=work, args=(name,)) for name in ("a", "b", "c")]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert len({event.target for event in waiting_events(store)}) == 150


def test_a_store_that_several_make_at_the_same_moment_is_made_once_for_all(tmp_path: Path) -> None:
    makers = 4
    for number in range(40):  # the moment that they can meet in is short
        path = tmp_path / f"cellar-{number}.db"
        together = threading.Barrier(makers)

        def make(path: Path = path, together: threading.Barrier = together) -> bool:
            together.wait()
            with create_or_open(path, NOW) as store:
                append_event(store, "acknowledge", "a2b", "", "", NOW)
            return True

        with ThreadPoolExecutor(makers) as pool:
            assert all(maker.result() for maker in [pool.submit(make) for _ in range(makers)])
        with open_existing(path) as store:
            assert len(waiting_events(store)) == makers


def test_two_processes_that_make_and_write_one_store_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "cellar.db"
    writers = [start_script(_APPEND, path, name, 100) for name in ("a", "b")]
    for writer in writers:
        _, errors = writer.communicate(timeout=60)
        assert (writer.returncode, errors) == (0, "")
    with open_existing(path) as store:
        targets = [event.target for event in waiting_events(store)]
        assert sorted(targets) == sorted(f"{name}-{number}" for name in ("a", "b") for number in range(100))
        for name in ("a", "b"):  # each one's own order is kept
            assert [target for target in targets if target[0] == name] == [f"{name}-{number}" for number in range(100)]


def test_a_writer_that_never_lets_go_is_told_of(tmp_path: Path) -> None:
    with new_store(tmp_path) as store, open_existing(store.path) as other, store.write():
        other.busy_wait_s = 0.02
        with pytest.raises(StoreError, match="another program has held the store for more than 10 s"), other.write():
            pytest.fail("two writers at once")


def test_a_full_disk_is_told_and_the_store_goes_on(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        fill_up(store)
        with pytest.raises(StoreUnwritable, match=r"the disk does not take more.*leeside goes on by itself"):
            append_event(store, "acknowledge", "a2b", "", "x" * 5000, NOW)
        assert waiting_events(store) == []
        make_room(store)
        append_event(store, "acknowledge", "a2b", "", "x" * 5000, NOW)
        assert len(waiting_events(store)) == 1


def test_a_store_that_may_only_be_read_is_told(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        store.connection.execute("PRAGMA query_only=ON")
        with pytest.raises(StoreUnwritable, match="cannot be written"), store.write() as connection:
            connection.execute("INSERT INTO cursor VALUES ('a', 1)")


def test_where_no_store_can_be_is_told(tmp_path: Path) -> None:
    with pytest.raises(StoreUnwritable, match=r"there is no folder .*nowhere; make it first"):
        create_or_open(tmp_path / "nowhere" / "cellar.db", NOW)
    with pytest.raises(StoreUnwritable, match="this is a folder"):
        create_or_open(tmp_path, NOW)
    with pytest.raises(StoreUnwritable, match="cannot be opened; is its folder there and writable"):
        create_or_open(Path("/proc/cellar.db"), NOW)  # a folder that takes no files, from root neither
    with pytest.raises(StoreUnwritable, match="cannot be opened"):
        open_existing(tmp_path)
    (tmp_path / "file").touch()
    with pytest.raises(StoreUnwritable, match="there is no folder"):
        create_or_open(tmp_path / "file" / "cellar.db", NOW)


def test_a_store_that_is_not_there_yet(tmp_path: Path) -> None:
    with pytest.raises(StoreMissing, match="there is no store yet; `leeside run` makes it"):
        open_existing(tmp_path / "cellar.db")
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_no_database_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("Racked K1 today, it is clear now.\n" * 100)
    before = path.read_bytes()
    for way in _BOTH_WAYS:
        with pytest.raises(StoreError, match=r"not a readable leeside store .*restore a backup or choose another path"):
            way(path)
    assert path.read_bytes() == before


def test_a_database_of_another_program_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE invoice (id INTEGER)")
    connection.commit()
    connection.close()
    before = path.read_bytes()
    for way in _BOTH_WAYS:
        with pytest.raises(StoreError, match="a database of another program; choose another"):
            way(path)
    assert path.read_bytes() == before
    assert [file.name for file in tmp_path.iterdir()] == ["other.db"]


def test_a_store_of_a_newer_leeside_is_refused(tmp_path: Path) -> None:
    newest = MIGRATIONS[-1].number
    with new_store(tmp_path) as store:
        with store.write() as connection:
            connection.execute("INSERT INTO migration VALUES (?, 'from the future', 0)", (newest + 1,))
        for way in _BOTH_WAYS:
            with pytest.raises(StoreTooNew, match=rf"schema {newest + 1}; this one knows {newest}\); update leeside"):
                way(store.path)


def test_an_empty_file_becomes_a_store_but_only_for_run(tmp_path: Path) -> None:
    path = tmp_path / "cellar.db"
    path.touch()
    with pytest.raises(StoreError, match=r"schema 0.*`leeside run` brings it up to date"):
        open_existing(path)
    create_or_open(path, NOW).close()
    open_existing(path).close()


@pytest.mark.parametrize("name", ["a cellar.db", "50%41.db", "what?.db", "no#1.db", "žlahtno.db", "a&b=c.db"])
def test_any_name_is_the_name_of_the_file(tmp_path: Path, name: str) -> None:
    create_or_open(tmp_path / name, NOW).close()
    open_existing(tmp_path / name).close()
    assert [file.name for file in tmp_path.iterdir()] == [name]


def test_a_store_can_be_closed_twice(tmp_path: Path) -> None:
    store = new_store(tmp_path)
    store.close()
    store.close()
