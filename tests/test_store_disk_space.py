"""Room on the store's disk."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from ingest.store.disk_space import DiskWatch, log_size, space_of, wanted_bytes

MB = 1_000_000
GB = 1_000_000_000


def test_500_mb_or_a_twentieth_whichever_is_more() -> None:
    assert wanted_bytes(4 * GB) == 500 * MB
    assert wanted_bytes(10 * GB) == 500 * MB
    assert wanted_bytes(64 * GB) == 3200 * MB


def test_a_disk_that_hovers_at_the_bound_is_low_once() -> None:
    low, seen = False, []
    for free in (501, 500, 499, 501, 499, 550, 599, 600, 599, 501, 499):
        low = space_of(free * MB, 4 * GB, was_low=low).low
        seen.append(low)
    assert seen == [False, False, True, True, True, True, True, False, False, False, True]


def test_the_disk_is_that_of_the_stores_folder(tmp_path: Path) -> None:
    room = DiskWatch(tmp_path / "cellar.db").look(0.0)
    assert room is not None
    assert room.total_bytes == shutil.disk_usage(tmp_path).total


def test_no_folder_no_room_to_tell(tmp_path: Path) -> None:
    assert DiskWatch(tmp_path / "gone" / "cellar.db").look(0.0) is None
    assert log_size(tmp_path / "gone" / "cellar.db") == 0


def test_a_disk_that_is_low_alarms_after_ten_minutes_and_one_with_nearly_nothing_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    free = 400_000_000
    monkeypatch.setattr(shutil, "disk_usage", lambda _: (8_000_000_000, 0, free))
    watch = DiskWatch(tmp_path / "cellar.db")

    def alarming(mono: float) -> bool:
        room = watch.look(mono)
        assert room is not None
        return room.alarming

    assert [alarming(mono) for mono in (0.0, 590.0, 600.0)] == [False, False, True]
    free = 4_000_000_000
    assert not alarming(610.0)
    # Low once more: the ten minutes begin again.
    free = 400_000_000
    assert [alarming(mono) for mono in (620.0, 1210.0)] == [False, False]
    free = 4_000_000_000
    assert not alarming(1215.0)
    free = 1_000_000
    assert alarming(1220.0)
