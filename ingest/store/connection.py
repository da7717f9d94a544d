"""An open store, and the one way to write it.

Every writer, whichever process it is in, goes through ``Store.write``: BEGIN IMMEDIATE with a
wait of ten seconds, so that what is checked inside the transaction still holds when it commits.
"""

from __future__ import annotations

__all__ = ["BUSY_WAIT_S", "Store", "execute_when_free", "translate"]

import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType

from ingest.errors import StoreBusy, StoreError, StoreUnwritable
from ingest.store.store_files import StoreFiles

BUSY_WAIT_S = 10.0
_LOOK_EVERY_S = 0.002


def execute_when_free(connection: sqlite3.Connection, statement: str, wait_s: float) -> None:
    """Execute the statement; while another connection holds the store, try again until wait_s seconds have passed.

    Raises sqlite3.Error as ``execute`` does.
    """
    deadline = time.monotonic() + wait_s
    while True:
        try:
            connection.execute(statement)
            return
        except sqlite3.OperationalError as error:
            # The low byte is the code, the rest says more about it.
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > deadline:
                raise
        time.sleep(_LOOK_EVERY_S)


class _TakenBack(Exception):
    """Ends a transaction that was only tried."""


class Store:
    """One open connection to the store. Use one per thread; ``write`` also guards against two threads sharing one."""

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self.connection = connection
        self.path = path
        self.files = StoreFiles(path)
        self.busy_wait_s = BUSY_WAIT_S
        self._lock = threading.RLock()

    @contextmanager
    def write(self) -> Iterator[sqlite3.Connection]:
        """Write in one transaction: all of it is on disk when the block ends, or none of it.

        Raises StoreUnwritable when the disk does not take it, StoreBusy when another writer held on for too long,
        StoreGone when the file or its log is no longer at its path; then what was written last may be lost.
        """
        with self._lock:
            self.files.check()
            try:
                self._begin()
                self.files.check(log_is_open=True)
                yield self.connection
                self.connection.execute("COMMIT")
            except sqlite3.Error as error:
                self._roll_back()
                raise translate(error, self.path) from error
            except BaseException:
                self._roll_back()
                raise
            # Once more: what is acknowledged after this is in the file that is at the path.
            self.files.check()

    def _begin(self) -> None:
        """Take the write lock; look for it every few milliseconds for as long as the store is held.

        SQLite's own wait looks ever more seldom, up to ten times a second, and so misses the short gaps that upkeep
        leaves between its slices: an entry then waits a second behind it, where a tenth of that will do.
        """
        self.connection.execute("PRAGMA busy_timeout=0")
        try:
            execute_when_free(self.connection, "BEGIN IMMEDIATE", self.busy_wait_s)
        finally:
            self.connection.execute(f"PRAGMA busy_timeout={round(BUSY_WAIT_S * 1000)}")

    def _roll_back(self) -> None:
        # A full disk or an I/O error may have ended the transaction already.
        if self.connection.in_transaction:
            try:
                self.connection.execute("ROLLBACK")
            except sqlite3.Error:
                pass  # nothing of it was committed; the first error is the one to report

    @contextmanager
    def trial(self) -> Iterator[sqlite3.Connection]:
        """``write`` of which nothing is kept: to find out what would come of it. Raises as ``write`` does."""
        with suppress(_TakenBack), self.write() as connection:
            yield connection
            raise _TakenBack

    @contextmanager
    def read(self) -> Iterator[sqlite3.Connection]:
        """Read at one moment of the store; keep it short, since it holds back the folding of the log.

        Inside another one, or inside ``write``, that one's moment counts.
        """
        with self._lock:
            if self.connection.in_transaction:
                yield self.connection
                return
            try:
                self.connection.execute("BEGIN")
                yield self.connection
            except sqlite3.Error as error:
                raise translate(error, self.path) from error
            finally:
                self._roll_back()

    def version(self) -> int:
        """Give a number that differs after another connection has changed the store. Cheap; of this connection only."""
        try:
            return int(self.connection.execute("PRAGMA data_version").fetchone()[0])
        except sqlite3.Error as error:
            raise translate(error, self.path) from error

    def close(self) -> None:
        """Close the connection; safe to call twice."""
        with self._lock:
            self.connection.close()

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def translate(error: sqlite3.Error, path: Path) -> StoreError:
    """Turn SQLite's errors into ours, in words that say what to do."""
    text = str(error)
    code = getattr(error, "sqlite_errorname", "") or ""
    if "readonly" in text or code.startswith("SQLITE_READONLY"):
        return StoreUnwritable(f"{path}: the store cannot be written (read-only disk or missing permission)")
    if code.startswith(("SQLITE_FULL", "SQLITE_IOERR")) or "full" in text:
        return StoreUnwritable(
            f"{path}: the disk does not take more ({text}); free some space, leeside goes on by itself"
        )
    if code.startswith("SQLITE_CANTOPEN") or "unable to open" in text:
        return StoreUnwritable(f"{path}: the store cannot be opened; is its folder there and writable?")
    if code.startswith("SQLITE_BUSY") or "locked" in text:
        return StoreBusy(f"{path}: another program has held the store for more than {BUSY_WAIT_S:g} s")
    if code.startswith(("SQLITE_NOTADB", "SQLITE_CORRUPT")):
        return StoreError(
            f"{path}: this is not a readable leeside store ({text}); restore a backup or choose another path"
        )
    return StoreError(f"{path}: {text}")
