"""The one way to open the store: SQLite in WAL mode with ``synchronous=FULL``.

A commit that has returned then survives a power cut (SQLite documentation, "PRAGMA synchronous").
"""

from __future__ import annotations

__all__ = ["CHECKPOINT_PAGES", "LOG_BYTES", "PAGE_SIZE", "create_or_open", "open_existing"]

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ingest.errors import StoreMissing, StoreUnwritable
from ingest.store.connection import BUSY_WAIT_S, Store, execute_when_free, translate
from ingest.store.migrations import migrate, refuse_foreign, require_known_version
from ingest.store.trouble import store_trouble

# A commit of a few readings touches two leaf pages. Pages of 1 KiB instead of 4 KiB halve what reaches the card:
# tests/benchmarks/card.py measures it.
PAGE_SIZE = 1024

# 4,000 pages of 1 KiB: the size at which SQLite folds the log back into the file.
CHECKPOINT_PAGES = 4000

# A log that grew beyond this behind a long reader is cut back to it once it can start again.
LOG_BYTES = 8 * 1024 * 1024


def create_or_open(path: Path, now_ms: int) -> Store:
    """Open the store for writing; make it, or bring it to this version's schema, where needed.

    Raises StoreUnwritable, StoreTooNew, or StoreError.
    """
    if not path.parent.is_dir():
        raise StoreUnwritable(f"{path}: there is no folder {path.parent}; make it first, or change [store] path")
    if path.is_dir():
        raise StoreUnwritable(f"{path}: this is a folder; [store] path names the store's file")
    keep_private(path)
    with _opening(path, "rwc") as connection:
        if connection.execute("PRAGMA page_count").fetchone()[0] == 0:
            connection.execute(f"PRAGMA page_size={PAGE_SIZE}")
        # Before the next statement, which writes into the file.
        refuse_foreign(connection, path)
        # SQLite does not wait here for another that makes the same store: each would wait for the other's read to end.
        execute_when_free(connection, "PRAGMA journal_mode=WAL", BUSY_WAIT_S)
        store = Store(connection, path)
        migrate(store, now_ms)
    return store


def keep_private(path: Path) -> None:
    """Make the store's file for its owner alone, if it is not there; take from others what they may do with it else.

    SQLite gives the files beside it the same rights. Files of another user are left as they are. Raises StoreError.
    """
    try:
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_EXCL, 0o600))
    except FileExistsError:
        for file in (path, path.with_name(f"{path.name}-wal"), path.with_name(f"{path.name}-shm")):
            _take_from_others(file)
    except OSError:
        pass  # SQLite says what is wrong when it opens the file


def _take_from_others(file: Path) -> None:
    try:
        status = file.stat()
        if status.st_uid == os.geteuid() and status.st_mode & 0o077:
            file.chmod(status.st_mode & 0o700)
    except OSError:
        pass  # not there, or on a file system without rights


def open_existing(path: Path, *, older: bool = False) -> Store:
    """Open a store that must be there already, of this version: for commands and for the second daemon.

    older: one that has yet to be brought up to date will do as well. Raises StoreMissing when there is none,
    StoreTooNew, and StoreError for one that has yet to be brought up to date.
    """
    if not path.exists():
        raise StoreMissing(store_trouble(path) or f"{path}: there is no store yet; `leeside run` makes it")
    with _opening(path, "rw") as connection:
        refuse_foreign(connection, path)
        require_known_version(connection, path, older=older)
        return Store(connection, path)


@contextmanager
def _opening(path: Path, mode: str) -> Iterator[sqlite3.Connection]:
    """Set up a connection as every one is; it is closed again if the block fails. mode: as in SQLite's URI."""
    try:
        uri = f"file:{_quoted(path)}?mode={mode}"
        connection = sqlite3.connect(uri, uri=True, timeout=BUSY_WAIT_S, isolation_level=None, check_same_thread=False)
    except sqlite3.Error as error:
        raise translate(error, path) from error
    try:
        # None of these writes into the file.
        for setting in (
            "foreign_keys=ON",
            "synchronous=FULL",
            f"wal_autocheckpoint={CHECKPOINT_PAGES}",
            f"journal_size_limit={LOG_BYTES}",
        ):
            connection.execute(f"PRAGMA {setting}")
        yield connection
    except sqlite3.Error as error:
        connection.close()
        raise translate(error, path) from error
    except BaseException:
        connection.close()
        raise


def _quoted(path: Path) -> str:
    # In a URI these three would end the path or start an escape.
    return str(path.absolute()).replace("%", "%25").replace("?", "%3f").replace("#", "%23")
