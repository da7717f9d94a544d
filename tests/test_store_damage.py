"""The store as a torn copy, with damage in the middle, and what the commands say of it."""

from __future__ import annotations

import random
import re
import sqlite3
from pathlib import Path

import pytest
from a_store import NOW, noisy_store
from cellar_text import KEG, MQTT, SITE, probe, write_cellar
from running import leeside, leeside_process

from ingest.errors import StoreError
from ingest.store import open_existing
from ingest.store.alarms.operator_events import append_event
from ingest.store.readings.series_history import HistoryRow, raw

CELLAR = SITE + MQTT + KEG + probe(unit="psi")
# A copy that ends somewhere is damaged, or is the store as it was before it had all its tables.
TROUBLE = re.compile("damaged|malformed|not a readable leeside store|`leeside run` brings it up to date|has no tables")


def torn(folder: Path, chance: random.Random, *, settled: bool) -> list[HistoryRow]:
    """Leave a store whose file or log ends somewhere; what its history was."""
    (folder / "whole").mkdir()
    store, series = noisy_store(folder / "whole", settled=settled)
    with store:
        if chance.random() < 0.3:
            store.connection.execute("PRAGMA wal_checkpoint(PASSIVE)")
            append_event(store, "acknowledge", "a2b", "Ana", "", NOW)
        history = list(raw(store, series))
        files = {suffix: Path(f"{store.path}{suffix}").read_bytes() for suffix in ("", "-wal")}
    victim = chance.choice(["", "-wal"])
    files[victim] = files[victim][: chance.randrange(len(files[victim]) + 1)]
    for suffix, data in files.items():
        (folder / f"cellar.db{suffix}").write_bytes(data)
    return history


@pytest.mark.parametrize("seed", range(40))
def test_a_torn_copy_is_an_earlier_state_or_a_clear_error(tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    history = torn(tmp_path, chance, settled=seed % 2 == 0)
    try:
        with open_existing(tmp_path / "cellar.db") as store:
            found = list(raw(store, 1))
            assert store.connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    except (StoreError, sqlite3.DatabaseError):
        return
    # Whole commits, from the first on: what is there is what was there.
    assert found == history[: len(found)]
    assert len(found) % 100 == 0


@pytest.mark.parametrize("seed", range(10))
def test_the_commands_have_clear_words_for_a_torn_copy(tmp_path: Path, seed: int) -> None:
    history = torn(tmp_path, random.Random(seed), settled=False)
    file = write_cellar(tmp_path, CELLAR)
    check = leeside("check", file, "--store")
    shown = leeside("history", file, "k1-pressure", "--csv")
    now = leeside("now", file)
    backup = leeside("backup", file)
    if shown.returncode == 0:
        numbers = [float(line.split(",")[1]) for line in shown.stdout.splitlines()[1:]]
        assert numbers == pytest.approx([row.value for row in history[: len(numbers)]])
        assert numbers
        assert "K1  (keg)" in now.stdout
        assert (check.returncode, backup.returncode) == (0, 0)
    elif "integrity_check finds no damage" in check.stdout and "no reading yet" in check.stdout:
        # A whole state from before the first reading.
        assert (check.returncode, shown.returncode, backup.returncode) == (0, 1, 0)
        assert "K1  (keg)" in now.stdout
    else:
        for said in (check.stdout, shown.stderr, now.stderr):
            assert TROUBLE.search(said), said
        assert {check.returncode, shown.returncode, now.returncode} == {1}
        # An older schema without rows is whole, and backed up.
        assert backup.returncode == 0 or TROUBLE.search(backup.stderr), backup.stderr


def test_damage_in_the_middle_is_no_traceback(tmp_path: Path) -> None:
    store, _ = noisy_store(tmp_path, settled=False)
    with store:
        store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    data = bytearray(store.path.read_bytes())
    # The last pages hold readings.
    data[-8192:] = b"\xff" * 8192
    store.path.write_bytes(data)
    file = write_cellar(tmp_path, CELLAR)
    said = [
        leeside("history", file, "k1-pressure"),
        leeside_process("run", file, "--only", "ingest"),
        leeside("backup", file),
    ]
    assert [done.returncode for done in said] == [1, 2, 1]
    for done in said:
        assert "Traceback" not in done.stderr, done.stderr
        assert "malformed" in done.stderr or "damaged" in done.stderr
