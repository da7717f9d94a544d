"""Restoring: a backup becomes the store again. All checks come before anything is moved."""

from __future__ import annotations

__all__ = ["Restored", "restore"]

import os
import shutil
import sqlite3
from contextlib import ExitStack, closing
from pathlib import Path
from typing import Final, NamedTuple

from ingest.errors import StoreError, StoreTooNew, StoreUnwritable
from ingest.store.backup.archive import Manifest, read_manifest, stamp, take_out
from ingest.store.backup.making import sync_folder
from ingest.store.connection import translate
from ingest.store.health import check_copy
from ingest.store.migrations import MIGRATIONS, version_of
from ingest.store.role_lock import RoleLock

_BESIDE: Final = ("-wal", "-shm")
_SPARE_BYTES: Final = 50_000_000
# Alarms that were raised after the backup have short ids, which people know from mails; none is given twice.
_SKIPPED_OCCURRENCES: Final = 500


class Restored(NamedTuple):
    """manifest: of the backup; replaced: where the store of before is now, None if there was none."""

    manifest: Manifest
    replaced: Path | None


def restore(archive: Path, store_path: Path, now_ms: int, *, replace: bool = False) -> Restored:
    """Put the store of a backup in place. now_ms: UTC ms, for the name of what is replaced.

    Raises StoreHeld while leeside runs on the store, StoreTooNew for a backup of a newer leeside, StoreError for a
    damaged one or where there is a store and ``replace`` was not said. Then the store of before is as it was.
    """
    manifest = read_manifest(archive)
    newest = MIGRATIONS[-1].number
    if manifest.schema > newest:
        raise StoreTooNew(
            f"{archive}: it was made by a newer leeside (schema {manifest.schema}; this one knows {newest}); "
            "update leeside"
        )
    if not store_path.parent.is_dir():
        raise StoreUnwritable(f"{store_path}: there is no folder {store_path.parent}; make it first")
    with ExitStack() as held:
        for role in ("ingest", "alerts", "backup"):
            held.enter_context(RoleLock(store_path, role))
        if store_path.exists() and not replace:
            raise StoreError(f"{store_path}: there is a store already; --replace puts it aside and keeps it")
        fresh = store_path.with_name(f"{store_path.name}.restoring")
        try:
            _unpack(archive, fresh, manifest)
            return Restored(manifest, _put_in_place(fresh, store_path, now_ms))
        except OSError as error:
            raise StoreUnwritable(f"{store_path}: cannot be put in place ({error.strerror})") from error
        finally:
            for suffix in ("", *_BESIDE):
                fresh.with_name(fresh.name + suffix).unlink(missing_ok=True)


def _unpack(archive: Path, fresh: Path, manifest: Manifest) -> None:
    needed = manifest.store_bytes + _SPARE_BYTES
    free = shutil.disk_usage(fresh.parent).free
    if free < needed:
        raise StoreUnwritable(
            f"{fresh.parent}: the store needs {needed / 1e6:.0f} MB, there are {free / 1e6:.0f} MB; free some space"
        )
    for suffix in _BESIDE:
        # Of a restore that was broken off; SQLite would take a log that is not its own for a part of the store.
        fresh.with_name(fresh.name + suffix).unlink(missing_ok=True)
    take_out(archive, fresh)
    try:
        with closing(sqlite3.connect(fresh, isolation_level=None)) as connection:
            faults = check_copy(connection, manifest.store_bytes)
            if faults or version_of(connection) != manifest.schema:
                damage = "; ".join(faults[:3]) or f"schema {version_of(connection)} instead of {manifest.schema}"
                raise StoreError(f"{archive}: the store in it is damaged ({damage}); take another backup")
            connection.execute("PRAGMA synchronous=FULL")
            connection.execute("UPDATE cursor SET value = value + ? WHERE name = 'occurrence'", (_SKIPPED_OCCURRENCES,))
    except sqlite3.Error as error:
        raise translate(error, fresh) from error


def _put_in_place(fresh: Path, store_path: Path, now_ms: int) -> Path | None:
    replaced = store_path.with_name(f"{store_path.name}.replaced-{stamp(now_ms)}")
    while replaced.exists():
        replaced = replaced.with_name(f"{replaced.name}x")
    kept = None
    if store_path.exists():
        _as_before(fresh, store_path)
        _fold(store_path)
        # Under a second name first, so that at no moment the old store is nowhere.
        for suffix in ("-wal", ""):
            source = store_path.with_name(store_path.name + suffix)
            if source.exists():
                _second_name(source, replaced.with_name(replaced.name + suffix))
        kept = replaced
    for suffix in _BESIDE:
        # The old log beside the new store would be taken for a part of it.
        store_path.with_name(store_path.name + suffix).unlink(missing_ok=True)
    fresh.replace(store_path)
    sync_folder(store_path.parent)
    return kept


def _as_before(fresh: Path, store_path: Path) -> None:
    """Set owner and rights of the old store, or a restore by root would leave one that leeside may not write."""
    old = store_path.stat()
    fresh.chmod(old.st_mode & 0o777)
    if os.geteuid() == 0:
        os.chown(fresh, old.st_uid, old.st_gid)


def _fold(store_path: Path) -> None:
    """Fold the old store's log into it, if it still can; a damaged one is put aside as it is."""
    try:
        with closing(sqlite3.connect(store_path, isolation_level=None, timeout=1.0)) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    except sqlite3.Error:
        pass  # its log goes aside together with it


def _second_name(source: Path, name: Path) -> None:
    try:
        os.link(source, name)
    except OSError:
        source.replace(name)  # a file system without hard links
