"""One daemon of a role per store."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from a_store import start_script

from ingest.errors import StoreHeld, StoreUnwritable
from ingest.store import RoleLock

_HOLD = """
import sys, threading
from pathlib import Path
from ingest.store import RoleLock
lock = RoleLock(Path(sys.argv[1]), "ingest")
print("held", flush=True)
threading.Event().wait()
"""


def test_another_process_of_the_role_is_named_and_a_killed_one_lets_go(tmp_path: Path) -> None:
    path = tmp_path / "cellar.db"
    holder = start_script(_HOLD, path)
    try:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(StoreHeld) as caught:
            RoleLock(path, "ingest")
        assert str(caught.value) == (
            f"{path}: ingest is already running on this store (process {holder.pid}); stop that one first"
        )
        RoleLock(path, "alerts").close()
    finally:
        holder.kill()
        holder.communicate()
    with RoleLock(path, "ingest") as lock:
        assert lock.path.read_text().strip() == f"process {os.getpid()}"


def test_a_lock_is_freed_by_closing_and_its_file_stays(tmp_path: Path) -> None:
    path = tmp_path / "cellar.db"
    lock = RoleLock(path, "alerts")
    with pytest.raises(StoreHeld, match=f"process {os.getpid()}"):
        RoleLock(path, "alerts")
    lock.close()
    lock.close()
    assert (tmp_path / "cellar.db.alerts.lock").is_file()
    RoleLock(path, "alerts").close()


@pytest.mark.parametrize("folder", ["/proc", "/nowhere-at-all"])
def test_a_folder_that_takes_no_lock_is_told(folder: str) -> None:
    with pytest.raises(StoreUnwritable, match=r"cellar\.db\.ingest\.lock: cannot be written .*must be writable"):
        RoleLock(Path(folder) / "cellar.db", "ingest")
