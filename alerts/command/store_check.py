"""`leeside check --store`: whether the store is whole, what it holds, what room it has, and how its backups are."""

from __future__ import annotations

__all__ = ["store_findings"]

from collections.abc import Iterator
from typing import Final

from alerts.command.live_check import Finding
from alerts.view.format import age, local_time
from alerts.watch.own_health import LOG_BYTES
from ingest.cellar import Cellar
from ingest.errors import StoreError
from ingest.store import open_existing
from ingest.store.backup.archive import archives, take_out
from ingest.store.disk_space import DiskWatch, wanted_bytes
from ingest.store.health import Health, examine

# A day and a night late; the alarm comes after three days.
_BACKUP_LATE_MS: Final = 2 * 86_400_000
# Upkeep follows every ten minutes; this much is more than it leaves behind at a busy cellar.
_FAR_BEHIND: Final = 200_000


def store_findings(cellar: Cellar, now_ms: int) -> Iterator[Finding]:
    """Open the store and have all of it checked; then what it holds, the disk, and the newest backup read through.

    now_ms: UTC milliseconds.
    """
    name = str(cellar.store_path)
    try:
        with open_existing(cellar.store_path) as store:
            health = examine(store)
    except StoreError as error:
        yield Finding("store", name, False, str(error))
    else:
        yield _whole(cellar, health, now_ms)
        if not health.faults:
            yield _summaries(health)
            yield from _series(cellar, health, now_ms)
        if health.log_bytes >= LOG_BYTES:
            told = f"{health.log_bytes / 1e6:.0f} MB: some program holds on to an old look at the store; end it"
            yield Finding("log", f"{name}-wal", False, told)
    yield from _disk(cellar)
    yield _backup(cellar, now_ms)


def _whole(cellar: Cellar, health: Health, now_ms: int) -> Finding:
    name = str(cellar.store_path)
    size = f"{health.size_bytes / 1e6:.1f} MB, schema {health.schema}"
    if health.faults:
        first = "; ".join(health.faults[:3])
        told = f"is damaged ({size}): {first}. Stop leeside and `leeside restore` the newest backup"
        return Finding("store", name, False, told)
    if health.differences:
        told = (
            f"is not what its schema {health.schema} says: {'; '.join(health.differences[:3])}. `leeside run` brings "
            "an older store up to date; if this stays, `leeside restore` the newest backup"
        )
        return Finding("store", name, False, told)
    if health.oldest_ms is None or health.newest_ms is None:
        span = "no reading yet"
    else:
        zone = cellar.site.zone
        oldest, newest = (local_time(at_ms, zone, now_ms) for at_ms in (health.oldest_ms, health.newest_ms))
        span = f"readings from {oldest} to {newest}"
    settled = f", {health.blocks} settled days unpack" if health.blocks else ""
    return Finding("store", name, True, f"{health.check} finds it whole{settled}; {size}, {span}")


def _summaries(health: Health) -> Finding:
    if health.behind < _FAR_BEHIND:
        told = f"follow; {health.behind} changes are yet to be taken up"
        return Finding("summaries", "by minute, hour, day", True, told)
    told = f"are {health.behind} changes behind; charts are slow until ingest has caught up. Does it run?"
    return Finding("summaries", "by minute, hour, day", False, told)


def _series(cellar: Cellar, health: Health, now_ms: int) -> Iterator[Finding]:
    for series in health.series:
        first, last = (local_time(at_ms, cellar.site.zone, now_ms) for at_ms in (series.oldest_ms, series.newest_ms))
        yield Finding("series", f"{series.probe} at {series.place}", True, f"from {first} to {last}")


def _disk(cellar: Cellar) -> Iterator[Finding]:
    room = DiskWatch(cellar.store_path).look()
    if room is None:
        return
    told = f"{room.free_bytes / 1e6:.0f} MB of {room.total_bytes / 1e6:.0f} MB are free"
    if room.low:
        told += f"; less than {wanted_bytes(room.total_bytes) / 1e6:.0f} MB is too little: free some space"
    yield Finding("disk", str(cellar.store_path.parent), not room.low, told)


def _backup(cellar: Cellar, now_ms: int) -> Finding:
    """The newest backup, read through to its end. Without ``[backup]`` none is expected."""
    folder = cellar.backup_folder
    found = archives(folder, cellar.store_path)
    if not found:
        told = "there is no backup; make one with `leeside backup`"
        if cellar.backup is None:
            told += ", and give the cellar file a [backup] table for one a day"
        return Finding("backup", str(folder), cellar.backup is None, told)
    newest = found[0]
    try:
        take_out(newest.path, None)
    except StoreError as error:
        return Finding("backup", newest.path.name, False, str(error))
    told = f"whole, {newest.size_bytes / 1e6:.1f} MB, {age(now_ms - newest.made_ms)} old; {len(found)} in all"
    if cellar.backup is not None and now_ms - newest.made_ms > _BACKUP_LATE_MS:
        return Finding("backup", newest.path.name, False, f"{told}. There should be one each day: see `leeside now`")
    return Finding("backup", newest.path.name, True, told)
