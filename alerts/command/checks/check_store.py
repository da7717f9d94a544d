"""`leeside check --store`: the store, its disk and its newest backup."""

from __future__ import annotations

__all__ = ["check_store"]

from collections.abc import Iterator
from typing import Final

from alerts.command.checks.check_result import CheckResult, failed, passed
from alerts.view.format import age, local_time
from alerts.watch.own_health import LOG_BYTES
from ingest.cellar import Cellar
from ingest.errors import StoreError
from ingest.store import open_existing
from ingest.store.backup.archive import archives, take_out
from ingest.store.disk_space import DiskWatch, wanted_bytes
from ingest.store.health import Health, examine

# Later than this is worth a word; the alarm comes after three days.
_BACKUP_LATE_MS: Final = 2 * 86_400_000
# Upkeep follows every ten minutes; even a busy cellar leaves less than this behind.
_FAR_BEHIND: Final = 200_000


def check_store(cellar: Cellar, now_ms: int) -> Iterator[CheckResult]:
    """Check all of the store, then say what it holds; check the disk, and read the newest backup through.

    now_ms: UTC milliseconds.
    """
    name = str(cellar.store_path)
    try:
        with open_existing(cellar.store_path) as store:
            health = examine(store)
    except StoreError as error:
        yield failed("store", name, str(error))
    else:
        yield _whole(cellar, health, now_ms)
        if not health.faults:
            yield _summaries(health)
            yield from _series(cellar, health, now_ms)
        if health.log_bytes >= LOG_BYTES:
            text = f"{health.log_bytes / 1e6:.0f} MB: some program keeps an old state of the store open; end it"
            yield failed("log", f"{name}-wal", text)
    yield from _disk(cellar)
    yield _backup(cellar, now_ms)


def _whole(cellar: Cellar, health: Health, now_ms: int) -> CheckResult:
    name = str(cellar.store_path)
    size = f"{health.size_bytes / 1e6:.1f} MB, schema {health.schema}"
    if health.faults:
        first = "; ".join(health.faults[:3])
        text = f"is damaged ({size}): {first}. Stop leeside and `leeside restore` the newest backup"
        return failed("store", name, text)
    if health.differences:
        text = (
            f"is not what its schema {health.schema} says: {'; '.join(health.differences[:3])}. `leeside run` brings "
            "an older store up to date; if this stays, `leeside restore` the newest backup"
        )
        return failed("store", name, text)
    if health.oldest_ms is None or health.newest_ms is None:
        span = "no reading yet"
    else:
        zone = cellar.site.zone
        oldest, newest = (local_time(at_ms, zone, now_ms) for at_ms in (health.oldest_ms, health.newest_ms))
        span = f"readings from {oldest} to {newest}"
    settled = f", {health.blocks} settled days unpack" if health.blocks else ""
    return passed("store", name, f"{health.check} finds no damage{settled}; {size}, {span}")


def _summaries(health: Health) -> CheckResult:
    if health.behind < _FAR_BEHIND:
        text = f"up to date, but for {health.behind} changes"
        return passed("summaries", "by minute, hour, day", text)
    text = f"{health.behind} changes behind; charts are slow until ingest has caught up. Is it running?"
    return failed("summaries", "by minute, hour, day", text)


def _series(cellar: Cellar, health: Health, now_ms: int) -> Iterator[CheckResult]:
    for series in health.series:
        first, last = (local_time(at_ms, cellar.site.zone, now_ms) for at_ms in (series.oldest_ms, series.newest_ms))
        yield passed("series", f"{series.probe} at {series.place}", f"from {first} to {last}")


def _disk(cellar: Cellar) -> Iterator[CheckResult]:
    room = DiskWatch(cellar.store_path).look(0.0)
    if room is None:
        return
    text = f"{room.free_bytes / 1e6:.0f} MB of {room.total_bytes / 1e6:.0f} MB are free"
    if room.low:
        text += f"; less than {wanted_bytes(room.total_bytes) / 1e6:.0f} MB is too little: free some space"
    yield CheckResult("disk", str(cellar.store_path.parent), not room.low, text)


def _backup(cellar: Cellar, now_ms: int) -> CheckResult:
    """The newest backup, read through to its end. Without ``[backup]`` none is expected."""
    folder = cellar.backup_folder
    backups = archives(folder, cellar.store_path)
    if not backups:
        text = "there is no backup; make one with `leeside backup`"
        if cellar.backup is None:
            text += ", and give the cellar file a [backup] table for one a day"
        return CheckResult("backup", str(folder), cellar.backup is None, text)
    newest = backups[0]
    try:
        take_out(newest.path, None)
    except StoreError as error:
        return failed("backup", newest.path.name, str(error))
    text = f"whole, {newest.size_bytes / 1e6:.1f} MB, {age(now_ms - newest.made_ms)} old; {len(backups)} in all"
    if cellar.backup is not None and now_ms - newest.made_ms > _BACKUP_LATE_MS:
        return failed("backup", newest.path.name, f"{text}. There should be one each day: see `leeside now`")
    return passed("backup", newest.path.name, text)
