"""An advisory lock per store and role, so that a second daemon of a role can say who holds it."""

from __future__ import annotations

__all__ = ["RoleLock"]

import fcntl
import os
from pathlib import Path
from types import TracebackType
from typing import IO, Final

from ingest.errors import StoreHeld, StoreUnwritable
from ingest.plain_text import one_line

_NOTE_BYTES: Final = 1000


class RoleLock:
    """Holds ``<store>.<role>.lock`` until closed; the kernel lets go of it when the process dies, however it dies.

    The file itself stays: to remove it would let two processes lock two files of one name.
    """

    def __init__(self, store_path: Path, role: str) -> None:
        self.path = store_path.with_name(f"{store_path.name}.{role}.lock")
        try:
            # Not for appending: ``note`` writes over what is there.
            descriptor = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o666)
            self._file: IO[str] = os.fdopen(descriptor, "r+", encoding="utf-8", errors="replace")
        except OSError as error:
            raise StoreUnwritable(
                f"{self.path}: cannot be written ({error.strerror}); the store's folder must be writable"
            ) from error
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            self._file.seek(0)
            holder = self._file.readline().strip() or "another process"
            self._file.close()
            raise StoreHeld(
                f"{store_path}: {role} is already running on this store ({holder}); stop that one first"
            ) from error
        self._noted: str | None = None
        self.note("")

    def note(self, trouble: str) -> None:
        """Write into the file why the store takes no writes, "" for nothing; ``store_trouble`` reads it.

        The file has its block on the disk since the start, so this works on a full one.
        """
        if trouble == self._noted:
            return
        text = f"process {os.getpid()}\n{one_line(trouble)}".encode()[:_NOTE_BYTES]
        try:
            os.pwrite(self._file.fileno(), text.ljust(_NOTE_BYTES), 0)
        except OSError:
            return  # read-only by now, which whoever asks finds out without the note
        self._noted = trouble

    def close(self) -> None:
        """Let go; safe to call twice."""
        self._file.close()

    def __enter__(self) -> RoleLock:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
