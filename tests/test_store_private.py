"""The store and its backups are for their owner alone."""

from __future__ import annotations

import os
from pathlib import Path

from a_store import NOW
from cellar_text import BASE

from ingest.store import create_or_open
from ingest.store.backup.making import back_up


def mode(path: Path) -> int:
    return path.stat().st_mode & 0o777


def test_a_new_store_and_its_log_are_for_the_owner_alone(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        with create_or_open(tmp_path / "cellar.db", NOW):
            assert {file.name: mode(file) for file in tmp_path.glob("cellar.db*")} == {
                "cellar.db": 0o600,
                "cellar.db-wal": 0o600,
                "cellar.db-shm": 0o600,
            }
        made = back_up(tmp_path / "cellar.db", tmp_path / "backups", NOW, site="x", cellar_text=BASE)
    finally:
        os.umask(before)
    assert mode(tmp_path / "backups") == 0o700
    assert mode(made.path) == 0o600


def test_an_older_store_is_taken_from_others(tmp_path: Path) -> None:
    create_or_open(tmp_path / "cellar.db", NOW).close()
    (tmp_path / "cellar.db").chmod(0o664)
    create_or_open(tmp_path / "cellar.db", NOW).close()
    assert mode(tmp_path / "cellar.db") == 0o600
