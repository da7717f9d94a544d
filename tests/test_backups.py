"""The daily backup: when it is due, what is made up for, and the child that makes it."""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.cron import CronTrigger
from cellar_text import BASE
from eventually import eventually
from running import leeside

from alerts.backups import AFTER_START_S, AGAIN_S, ScheduledBackup
from ingest.cellar import load_cellar
from ingest.process import wall_ms
from ingest.pulse import BackupPulse
from ingest.store import RoleLock, create_or_open
from ingest.store.backup.archive import archives
from ingest.store.backup.making import back_up

HOUR_MS = 3_600_000


class House:
    """A cellar file on disk with its store, and a scheduler that runs."""

    def __init__(self, folder: Path, backup: str) -> None:
        self.file = folder / "cellar.toml"
        self.file.write_text(BASE + backup)
        self.cellar = load_cellar(self.file)
        create_or_open(self.cellar.store_path, wall_ms()).close()
        self.scheduler = BackgroundScheduler(timezone=UTC)
        self.scheduler.start()
        self.stopping = threading.Event()
        self.backups = ScheduledBackup(self.cellar, self.scheduler, lambda: self.stopping)

    def due(self) -> dict[str, datetime]:
        return {job.id: job.next_run_time for job in self.scheduler.get_jobs()}

    def made(self, hours_ago: float) -> None:
        at_ms = wall_ms() - round(hours_ago * HOUR_MS)
        back_up(self.cellar.store_path, self.cellar.backup_folder, at_ms, site="", cellar_text="")


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    built = House(tmp_path, '[backup]\nat = "02:15"\nkeep = 2\n')
    yield built
    built.scheduler.shutdown(wait=False)


def test_it_is_due_at_the_sites_local_time(house: House) -> None:
    house.made(1)
    house.backups.anchor(wall_ms())
    assert set(house.due()) == {"backup"}
    local = house.due()["backup"].astimezone(ZoneInfo("Europe/Ljubljana"))
    assert (local.hour, local.minute) == (2, 15)
    assert 0 < (local - datetime.now(UTC)).total_seconds() <= 90_000


@pytest.mark.parametrize("hours_ago", [None, 26, -5], ids=["never", "missed", "in the future"])
def test_what_was_missed_is_made_up_for_soon(house: House, hours_ago: float | None) -> None:
    if hours_ago is not None:
        house.made(hours_ago)
    house.backups.anchor(wall_ms())
    wait = (house.due()["backup soon"] - datetime.now(UTC)).total_seconds()
    assert AFTER_START_S - 5 < wait <= AFTER_START_S


def test_anchored_anew_after_a_step_of_the_clock_it_is_still_one_job(house: House) -> None:
    house.made(1)
    for _ in range(3):
        house.backups.anchor(wall_ms())
    assert set(house.due()) == {"backup"}


def test_a_time_that_the_clock_skips_or_passes_twice(house: House) -> None:
    zone = ZoneInfo("Europe/Ljubljana")
    trigger = CronTrigger(hour=2, minute=30, timezone=zone)
    # 2027-03-28 has no 02:30, 2027-10-31 has two: a backup each day all the same, and two in that night.
    for begin, hours in (
        (datetime(2027, 3, 26, 12, tzinfo=zone), [24.0, 23.0, 24.0]),
        (datetime(2027, 10, 29, 12, tzinfo=zone), [24.0, 1.0, 24.0]),
    ):
        times: list[datetime] = []
        now = begin
        for _ in range(4):
            found = trigger.get_next_fire_time(times[-1] if times else None, now)
            assert found is not None
            times.append(found)
            now = found
        # Of times of one zone, a difference would be that of the wall clock.
        assert [(later.timestamp() - earlier.timestamp()) / 3600 for earlier, later in pairwise(times)] == hours


def test_it_makes_backups_and_keeps_the_newest(house: House) -> None:
    house.made(30)
    house.made(27)
    house.backups.run()
    assert house.backups.last_error is None
    found = archives(house.cellar.backup_folder, house.cellar.store_path)
    assert len(found) == 2
    assert house.backups.last_ms is not None
    assert abs(house.backups.last_ms - wall_ms()) < 60_000
    assert house.backups.pulse() == BackupPulse(last_ms=house.backups.last_ms, last_error=None)


def test_a_failed_one_is_told_and_tried_again(house: House, caplog: pytest.LogCaptureFixture) -> None:
    house.cellar.backup_folder.write_text("in the way")
    with caplog.at_level(logging.WARNING, "alerts"):
        house.backups.run()
    assert house.backups.last_error is not None
    assert "cannot be made" in house.backups.last_error
    assert "tried again in an hour" in caplog.text
    wait = (house.due()["backup soon"] - datetime.now(UTC)).total_seconds()
    assert AGAIN_S - 60 < wait <= AGAIN_S
    house.cellar.backup_folder.unlink()
    house.backups.run()
    assert house.backups.last_error is None


def test_a_stop_ends_the_one_that_is_under_way(house: House) -> None:
    house.stopping.set()
    # It ends by itself or is ended, but never holds up the stop.
    thread = threading.Thread(target=house.backups.run)
    thread.start()
    thread.join(20)
    assert not thread.is_alive()
    assert "backup soon" not in house.due()
    with RoleLock(house.cellar.store_path, "backup"):
        pass


def test_without_the_table_nothing_is_due(tmp_path: Path) -> None:
    house = House(tmp_path, "")
    house.backups.anchor(wall_ms())
    assert (house.due(), house.backups.pulse()) == ({}, None)
    house.scheduler.shutdown(wait=False)


# ---- the commands ----------------------------------------------------------------------------------------------------


def test_backup_and_restore_by_command(tmp_path: Path) -> None:
    house = House(tmp_path, "[backup]\n")
    house.scheduler.shutdown(wait=False)
    done = leeside("backup", house.file, "--to", tmp_path / "stick")
    assert done.returncode == 0, done.stderr
    archive = next((tmp_path / "stick").iterdir())
    assert done.stdout.startswith(f"{archive}: ")
    assert "read back and found whole" in done.stdout
    refused = leeside("restore", house.file, archive)
    assert (refused.returncode, "--replace puts it aside" in refused.stderr) == (1, True)
    with RoleLock(house.cellar.store_path, "ingest"):
        held = leeside("restore", house.file, archive, "--replace")
        assert (held.returncode, "ingest is already running" in held.stderr) == (1, True)
    back = leeside("restore", house.file, archive, "--replace")
    assert back.returncode == 0, back.stderr
    assert "The store of before is kept as" in back.stdout
    eventually(lambda: list(tmp_path.glob("cellar.db.replaced-*")))
    checked = leeside("check", house.file, "--store")
    assert "there is no backup" in checked.stdout
    assert checked.returncode == 1
    assert leeside("backup", house.file).returncode == 0
    checked = leeside("check", house.file, "--store")
    assert checked.returncode == 0, checked.stdout
    assert "whole, " in checked.stdout
