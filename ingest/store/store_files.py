"""Whether the files that a connection has open are still those at the store's path."""

from __future__ import annotations

__all__ = ["StoreFiles"]

import os
from pathlib import Path

from ingest.errors import StoreGone

_NOTHING_MORE = "nothing is stored or acknowledged any more, and messages by MQTT at QoS 1 wait at the broker"
_FROM_BACKUP = "stop leeside, run `leeside restore` with the newest backup, and start leeside again"


class StoreFiles:
    """The store's file and its log as they were opened, by device and inode.

    A file that was deleted or replaced goes on taking what is written into it, and loses it when the process ends.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._log = f"{path}-wal"
        self._file_id = _identity(str(path))
        self._log_id: tuple[int, int] | None = None

    def check(self, *, log_is_open: bool = False) -> None:
        """Raise StoreGone if another file, or none, is at a path now.

        log_is_open: SQLite has the log open at present, so it can be noted which one that is.
        """
        file_id = _identity(str(self._path))
        if file_id is None:
            raise StoreGone(
                f"{self._path}: the store was deleted or moved away under the running leeside; {_NOTHING_MORE}. Move "
                f"it back with its -wal file if you can, and leeside goes on by itself; otherwise {_FROM_BACKUP}"
            )
        if file_id != self._file_id:
            raise StoreGone(
                f"{self._path}: another file has taken the store's place under the running leeside; {_NOTHING_MORE}. "
                f"If this file is the right one, restart leeside; otherwise {_FROM_BACKUP}"
            )
        log_id = _identity(self._log)
        if self._log_id is None and log_is_open:
            self._log_id = log_id
        if self._log_id is not None and log_id != self._log_id:
            raise StoreGone(
                f"{self._log}: the store's log was deleted or replaced under the running leeside; {_NOTHING_MORE}. "
                f"Restart leeside, then run `leeside check --store`; if it finds damage, {_FROM_BACKUP}"
            )


def _identity(path: str) -> tuple[int, int] | None:
    try:
        status = os.stat(path)  # noqa: PTH116  at each commit, and the log's path is the store's with a suffix
    except OSError:
        return None
    return status.st_dev, status.st_ino
