"""An advisory lock per store and role, so that a second daemon of a role can say who holds it."""

from __future__ import annotations

__all__ = ["RoleLock"]

import fcntl
import os
from pathlib import Path
from types import TracebackType
from typing import IO

from ingest.errors import StoreHeld, StoreUnwritable


class RoleLock:
    """Holds ``<store>.<role>.lock`` until closed; the kernel lets go of it when the process dies, however it dies.

    The file itself stays: to remove it would let two processes lock two files of one name.
    """

    def __init__(self, store_path: Path, role: str) -> None:
        self.path = store_path.with_name(f"{store_path.name}.{role}.lock")
        try:
            self._file: IO[str] = self.path.open("a+", encoding="utf-8")
        except OSError as error:
            raise StoreUnwritable(
                f"{self.path}: cannot be written ({error.strerror}); the store's folder must be writable"
            ) from error
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            self._file.seek(0)
            holder = self._file.read().strip() or "another process"
            self._file.close()
            raise StoreHeld(
                f"{store_path}: {role} is already running on this store ({holder}); stop that one first"
            ) from error
        self._file.seek(0)
        self._file.truncate()
        self._file.write(f"process {os.getpid()}\n")
        self._file.flush()

    def close(self) -> None:
        """Let go; safe to call twice."""
        self._file.close()

    def __enter__(self) -> RoleLock:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
