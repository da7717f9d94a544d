"""Why the store takes no writes, asked from outside: by a command, the page, or a start."""

from __future__ import annotations

__all__ = ["store_trouble"]

import os
import shutil
from pathlib import Path
from typing import Final

_ROLES: Final = ("ingest", "alerts")
# With less SQLite can hardly write.
_NOTHING_LEFT_BYTES: Final = 100_000


def store_trouble(path: Path) -> str:
    """Say why the running daemons cannot write the store, by what they note in their locks and by a look at the disk.

    "" where nothing is known to be wrong; a store that nobody works on has no trouble of this kind.
    """
    notes = [_note(path.with_name(f"{path.name}.{role}.lock")) for role in _ROLES]
    running = [note for note in notes if note is not None]
    if not running:
        return ""
    if not path.exists():
        return (
            f"{path}: the store was deleted or moved away under the running leeside. Move it back with its -wal "
            "file if you can, and leeside goes on by itself; otherwise stop leeside and run `leeside restore`"
        )
    noted = next((note for note in running if note), "")
    return noted or _trouble_of_disk(path)


def _trouble_of_disk(path: Path) -> str:
    try:
        if os.statvfs(path).f_flag & os.ST_RDONLY:
            return f"{path}: the store's disk is read-only; look at the system's log, it may be failing"
        free_bytes = shutil.disk_usage(path.parent).free
    except OSError as error:
        return f"{path}: the store's disk cannot be looked at: {error.strerror}"
    if free_bytes < _NOTHING_LEFT_BYTES:
        return f"{path}: the store's disk is full; free some space, leeside goes on by itself"
    return ""


def _note(lock: Path) -> str | None:
    """What the daemon that holds a lock has noted, None if it does not run."""
    try:
        process, _, note = lock.read_text(encoding="utf-8", errors="replace").partition("\n")
        os.kill(int(process.removeprefix("process ")), 0)
    except PermissionError:
        return ""  # it runs as another user
    except (OSError, ValueError):
        return None
    return note.strip()
