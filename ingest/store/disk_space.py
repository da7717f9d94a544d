"""Room on the store's disk: how much there is, and whether it is too little."""

from __future__ import annotations

__all__ = ["DiskSpace", "DiskWatch", "log_size", "space_of", "wanted_bytes"]

import os
import shutil
from pathlib import Path
from typing import Final, NamedTuple

# A year of one busy cellar, and time enough for a person to come by. Chosen for this project, no source.
_LEAST_BYTES: Final = 500_000_000
_LEAST_SHARE: Final = 0.05
# So little is filled in a moment: no time to wait whether the room comes back.
_NEARLY_NOTHING_BYTES: Final = 50_000_000
# A backup or an import fills the disk on its way, for no longer than this.
_PASSING_S: Final = 600.0
# Once low, the room must grow by a fifth over the bound, so that a disk which hovers there alarms once.
_AMPLE: Final = 1.2


class DiskSpace(NamedTuple):
    """free_bytes: what an ordinary user may still write; total_bytes: the whole disk; low: it is too little; alarming:
    it is nearly nothing, or has been too little for ten minutes."""

    free_bytes: int
    total_bytes: int
    low: bool
    alarming: bool = False


def wanted_bytes(total_bytes: int) -> int:
    """Return how much should stay free on a disk of that size: 500 MB or 5 %, whichever is more."""
    return max(_LEAST_BYTES, round(total_bytes * _LEAST_SHARE))


def space_of(free_bytes: int, total_bytes: int, *, was_low: bool) -> DiskSpace:
    """Judge the room that these numbers mean. was_low: whether it was too little at the look before."""
    bound = wanted_bytes(total_bytes) * (_AMPLE if was_low else 1.0)
    return DiskSpace(free_bytes, total_bytes, free_bytes < bound)


class DiskWatch:
    """Looks at the disk that holds a file, and remembers whether it was low."""

    def __init__(self, path: Path) -> None:
        self._folder = path.parent
        self._low_since: float | None = None

    def look(self, mono: float) -> DiskSpace | None:
        """Return the room now (mono: monotonic seconds); None where the system does not say."""
        try:
            total_bytes, _, free_bytes = shutil.disk_usage(self._folder)
        except OSError:
            return None
        room = space_of(free_bytes, total_bytes, was_low=self._low_since is not None)
        if not room.low:
            self._low_since = None
            return room
        if self._low_since is None:
            self._low_since = mono
        return room._replace(alarming=free_bytes < _NEARLY_NOTHING_BYTES or mono - self._low_since >= _PASSING_S)


def log_size(store_path: Path) -> int:
    """Return the bytes of SQLite's log beside the store; 0 if there is none."""
    try:
        return os.stat(f"{store_path}-wal").st_size  # noqa: PTH116  one call, since with_suffix would replace the suffix
    except OSError:
        return 0
