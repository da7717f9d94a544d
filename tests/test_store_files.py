"""A store that is deleted, replaced or loses its log while it is open takes and acknowledges nothing more."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest
from a_store import NOW, declared, new_store
from samples import a_binding, a_sample

from ingest.errors import StoreGone
from ingest.probes.decode import Decoder
from ingest.sources.sample import Ticket
from ingest.store import Store, open_existing
from ingest.store.readings.series import declare
from ingest.store.readings.series_history import raw
from ingest.writing.writer import Writer


def _delete(path: Path) -> None:
    path.unlink()


def _replace(path: Path) -> None:
    copy = path.with_name("copy.db")
    shutil.copyfile(path, copy)
    copy.replace(path)


def _delete_log(path: Path) -> None:
    path.with_name(f"{path.name}-wal").unlink()


def _delete_folder(path: Path) -> None:
    shutil.rmtree(path.parent)


LOSSES = [
    (_delete, "the store was deleted or moved away"),
    (_replace, "another file has taken the store's place"),
    (_delete_log, "the store's log was deleted or replaced"),
    (_delete_folder, "the store was deleted or moved away"),
]


def _writer(store: Store) -> tuple[Writer, list[Ticket]]:
    series = declare(store, [declared()], NOW)["k1-pressure"]
    acknowledged: list[Ticket] = []

    def take(tickets: Sequence[Ticket]) -> None:
        acknowledged.extend(tickets)

    return Writer(store, Decoder([a_binding(series=series)]), take, lambda: 1000), acknowledged


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "store"
    folder.mkdir()
    return folder


@pytest.mark.parametrize(("lose", "words"), LOSSES)
def test_nothing_is_acknowledged_into_a_file_that_is_gone(
    folder: Path, lose: Callable[[Path], None], words: str
) -> None:
    with new_store(folder) as store:
        writer, acknowledged = _writer(store)
        writer.offer(a_sample("55", packet=1))
        assert writer.turn(NOW)
        assert len(acknowledged) == 1
        lose(store.path)
        writer.offer(a_sample("no number", packet=3))
        assert not writer.turn(NOW)
        writer.offer(a_sample("56", packet=2))
        assert not writer.turn(NOW)
        assert not writer.turn(NOW)
        assert len(acknowledged) == 1
        assert words in (writer.counters.last_error or "")
        with pytest.raises(StoreGone, match=words), store.write():
            pass


@pytest.mark.parametrize(("lose", "words"), LOSSES)
def test_a_loss_in_the_middle_of_a_commit_is_noticed_too(
    folder: Path, lose: Callable[[Path], None], words: str
) -> None:
    with new_store(folder) as store, pytest.raises(StoreGone, match=words), store.write() as connection:
        connection.execute("INSERT INTO cursor VALUES ('a', 1)")
        lose(store.path)


def test_a_store_that_is_moved_back_goes_on_and_keeps_each_reading(folder: Path) -> None:
    with new_store(folder) as store:
        writer, acknowledged = _writer(store)
        aside = folder.parent / "aside"
        writer.offer(a_sample("55", packet=1))
        assert writer.turn(NOW)
        folder.rename(aside)
        writer.offer(a_sample("56", packet=2))
        assert not writer.turn(NOW + 1)
        aside.rename(folder)
        assert writer.turn(NOW + 2)
        assert len(acknowledged) == 2
    with open_existing(folder / "cellar.db") as store:
        assert [round(row.value / 6.894757) for row in raw(store, 1)] == [55, 56]


def test_a_batch_that_was_committed_as_the_store_went_is_there_once_it_is_back(folder: Path) -> None:
    with new_store(folder) as store:
        writer, acknowledged = _writer(store)
        aside = folder.parent / "aside"
        writer.offer(a_sample("55", packet=1))

        def lose_it(connection: sqlite3.Connection) -> None:
            folder.rename(aside)

        assert not writer.turn(NOW, lose_it)
        assert not acknowledged
        aside.rename(folder)
        writer.offer(a_sample("56", packet=2))
        assert writer.turn(NOW + 1)
        assert writer.turn(NOW + 2)
        assert len(acknowledged) == 2
    with open_existing(folder / "cellar.db") as store:
        assert [round(row.value / 6.894757) for row in raw(store, 1)] == [55, 56]
