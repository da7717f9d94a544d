"""Upkeep, settling and summaries on a full disk."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_store import NOW, fill_up, make_room, noisy_store

from ingest.errors import StoreUnwritable
from ingest.store.readings.series_history import raw
from ingest.store.readings.settling import Settler
from ingest.store.readings.summaries import CatchUp
from ingest.writing.upkeep import Upkeep, UpkeepSettings

DAY = 86_400_000


def test_upkeep_on_a_full_disk_loses_nothing_and_goes_on_when_there_is_room(tmp_path: Path) -> None:
    store, series = noisy_store(tmp_path, settled=False)
    with store:
        before = list(raw(store, series))
        work = Upkeep(store, UpkeepSettings(600.0), 0.0, ("summaries",))
        fill_up(store)
        for mono in (100.0, 1000.0, 3000.0):
            work.work(NOW + 3 * DAY, mono)
        assert "free some space" in str(work.last_error)
        assert list(raw(store, series)) == before
        make_room(store)
        mono = 5000.0
        while work.work(NOW + 3 * DAY, mono):
            mono += 0.05
        assert not work.last_error
        assert store.connection.execute("SELECT count(*) FROM fresh").fetchone() == (0,)
        assert list(raw(store, series)) == before


def test_settling_and_summaries_stand_still_on_a_full_disk(tmp_path: Path) -> None:
    store, series = noisy_store(tmp_path, settled=False)
    with store:
        before = list(raw(store, series))
        settler, catching_up = Settler(store), CatchUp(store)
        settler.begin(NOW + 19 * 6_000_000)
        settler.slice()
        catching_up.slice()
        fill_up(store)
        for piece in (settler.slice, catching_up.slice):
            with pytest.raises(StoreUnwritable, match="the disk does not take more"):
                while piece():
                    pass
            assert list(raw(store, series)) == before
        make_room(store)
        for piece in (settler.slice, catching_up.slice):
            while piece():
                pass
        assert list(raw(store, series)) == before
