"""Backing up: one moment of the running store, checked, in one file.

SQLite's backup interface copies from one read transaction, so writers and readers go on. It copies in pieces, and each
piece is handed to the disk before the next: a copy that is left to the system's cache is written out all at once, and
then a commit waits behind it (here 400 ms for a store of 150 MB, against 50 ms in pieces; ``VACUUM INTO`` cannot be
stopped in between and waits as long). The read transaction holds back the folding of the log for as long as the copy
takes; what is written meanwhile is all that the log grows by.
"""

from __future__ import annotations

__all__ = ["back_up", "backups_since", "last_backup_ms", "rotate"]

import hashlib
import os
import shutil
import sqlite3
from pathlib import Path
from typing import Final

from ingest.errors import StoreError, StoreUnwritable
from ingest.store.backup.archive import FORM, Archive, Manifest, archives, stamp, store_name, take_out, write_archive
from ingest.store.change_feed import cursor, set_cursor
from ingest.store.connection import Store, translate
from ingest.store.health import check_copy, contents
from ingest.store.migrations import version_of
from ingest.store.opening import open_existing
from ingest.store.role_lock import RoleLock

_LAST: Final = "backup"
_SINCE: Final = "backups since"
_PIECE_BYTES: Final = 1 << 20
_SPARE_BYTES: Final = 50_000_000


def back_up(store_path: Path, folder: Path, now_ms: int, *, site: str, cellar_text: str) -> Archive:
    """Back up the store into a new file in a folder, which is made if it is not there. now_ms: UTC ms.

    The file gets its name only when it is whole: copied, checked by SQLite, packed, on disk, and read back. Raises
    StoreError; then nothing but perhaps a hidden ``.part`` file is left, and the next backup removes that.
    """
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise StoreUnwritable(f"{folder}: cannot be made ({error.strerror}); is the disk there?") from error
    with open_existing(store_path, older=True) as store, RoleLock(store_path, "backup"):
        try:
            return _back_up(store, folder, now_ms, site, cellar_text)
        except OSError as error:
            raise StoreUnwritable(f"{folder}: does not take the backup ({error.strerror}); free some space") from error
        finally:
            _remove_parts(folder, store_path)


def _back_up(store: Store, folder: Path, now_ms: int, site: str, cellar_text: str) -> Archive:
    _remove_parts(folder, store.path)
    if version_of(store.connection) == 0:
        raise StoreError(f"{store.path}: the store has no tables, so it was not backed up; restore the newest backup")
    pages, page_bytes = (
        store.connection.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "page_size")
    )
    _require_room(folder, 2 * pages * page_bytes + _SPARE_BYTES)
    copy = folder / f".{store.path.stem}-{stamp(now_ms)}.db.part"
    packed = folder / f".{store.path.stem}-{stamp(now_ms)}.tar.part"
    _copy(store, copy, max(1, _PIECE_BYTES // page_bytes))
    manifest = _examined(copy, now_ms, site)
    packed.touch(0o600)
    with packed.open("wb") as file:
        write_archive(file, manifest, cellar_text, copy)
        file.flush()
        os.fsync(file.fileno())
        # So that what is read back comes from the disk.
        os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
    copy.unlink()
    take_out(packed, None)
    path = folder / store_name(store.path, now_ms)
    packed.replace(path)
    sync_folder(folder)
    with store.write() as connection:
        set_cursor(connection, _LAST, now_ms)
    return Archive(path, now_ms, path.stat().st_size)


def last_backup_ms(store: Store) -> int | None:
    """Read when the newest backup that succeeded was made, UTC ms; None if there never was one."""
    return cursor(store, _LAST)


def backups_since(store: Store, now_ms: int) -> int:
    """Read when backups of this store were first asked for, UTC ms; that is now if they never were."""
    since = cursor(store, _SINCE)
    if since is None:
        since = now_ms
        with store.write() as connection:
            set_cursor(connection, _SINCE, since)
    return since


def rotate(folder: Path, store_path: Path, keep: int, made: Archive) -> list[Path]:
    """Remove all but the newest ``keep`` backups of this store, and return those. The one just made always stays."""
    removed = []
    # By their names: a backup whose name is in the future, from a wrong clock, must not push the new one out.
    for old in archives(folder, store_path)[keep:]:
        if old.path != made.path:
            old.path.unlink(missing_ok=True)
            removed.append(old.path)
    return removed


def _require_room(folder: Path, needed_bytes: int) -> None:
    free_bytes = shutil.disk_usage(folder).free
    if free_bytes < needed_bytes:
        raise StoreUnwritable(
            f"{folder}: a backup needs {needed_bytes / 1e6:.0f} MB while it is made, there are "
            f"{free_bytes / 1e6:.0f} MB; free some space or choose another folder"
        )


def _copy(store: Store, target: Path, pages: int) -> None:
    target.touch(0o600)
    handle = os.open(target, os.O_RDWR)
    try:
        # Only this process has the copy open, and on a network share SQLite's locks may not work.
        copy = sqlite3.connect(f"{target.absolute().as_uri()}?mode=rw&nolock=1", uri=True, isolation_level=None)
        try:
            copy.execute("PRAGMA synchronous=OFF")
            copy.execute("PRAGMA journal_mode=OFF").fetchall()
            with store.read() as connection:
                # From here on the connection sees one moment; without it each foreign commit would restart the copy.
                connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
                connection.backup(copy, pages=pages, progress=lambda *_: os.fdatasync(handle), sleep=0)
        finally:
            copy.close()
        os.fsync(handle)
    except sqlite3.Error as error:
        raise translate(error, target) from error
    finally:
        os.close(handle)


def _examined(copy: Path, now_ms: int, site: str) -> Manifest:
    """Have SQLite check the copy, and note what it holds."""
    connection = sqlite3.connect(f"{copy.absolute().as_uri()}?mode=ro&immutable=1", uri=True)
    try:
        faults = check_copy(connection, copy.stat().st_size)
        if faults:
            raise StoreError(
                f"the store is damaged ({'; '.join(faults[:3])}), so it was not backed up; restore the newest backup"
            )
        held = contents(connection)
        schema = version_of(connection)
    except sqlite3.Error as error:
        raise translate(error, copy) from error
    finally:
        connection.close()
    digest = hashlib.sha256()
    with copy.open("rb") as file:
        while piece := file.read(_PIECE_BYTES):
            digest.update(piece)
    return Manifest(
        form=FORM,
        site=site,
        made_ms=now_ms,
        schema=schema,
        readings=held.readings,
        from_ms=held.oldest_ms,
        to_ms=held.newest_ms,
        store_bytes=copy.stat().st_size,
        store_sha256=digest.hexdigest(),
    )


def _remove_parts(folder: Path, store_path: Path) -> None:
    """Remove what a backup that was broken off has left."""
    for part in folder.glob(".*.part"):
        if part.name.startswith(f".{store_path.stem}-"):
            part.unlink(missing_ok=True)


def sync_folder(folder: Path) -> None:
    """Put the names in a folder on disk, so that a rename survives a power cut."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
