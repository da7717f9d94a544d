"""Room on the store's disk."""

from __future__ import annotations

import shutil
from pathlib import Path

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
    room = DiskWatch(tmp_path / "cellar.db").look()
    assert room is not None
    assert room.total_bytes == shutil.disk_usage(tmp_path).total


def test_no_folder_no_room_to_tell(tmp_path: Path) -> None:
    assert DiskWatch(tmp_path / "gone" / "cellar.db").look() is None
    assert log_size(tmp_path / "gone" / "cellar.db") == 0
