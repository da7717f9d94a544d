"""Card: bytes written a day at 3 readings a second with the default commit, both daemons running.

``leeside run`` gets 30 readings in ten seconds (QoS 1) for some minutes: bare numbers, for each of which the store also
keeps a digest to know a repeat, or with --own-times JSON with a time, which needs none. What its processes caused to be
written (/proc/PID/io) is extrapolated to a day. After they have stopped, the log that SQLite leaves is folded into the
file by this script and the bytes of that are added: within a day it is folded many times. What upkeep writes comes by
the hour; a day of it is gone through with a simulated clock, and added. The block device's own count (/proc/diskstats)
is shown beside it, with the file system's journal in it, and with whatever else wrote to that device: for a figure that
means something, give the store a device of its own, such as an image that is mounted as a loop device.

While it is measured SQLite's log is written over in place, as in life after the first hour. A log that still grows
costs about as much again in the file system's journal, since the file's length is written at each commit.

About 8 minutes; --minutes, --own-times, --folder (where the store lies: not a tmpfs, which writes nothing).
"""

from __future__ import annotations

import argparse
import os
import sqlite3
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from brokers import Mosquitto
from cellars import cellar_text, leeside_run, running
from feed import Feed
from settled import declare_bare
from tree import block_device_bytes, members, written_bytes

from ingest.store import create_or_open
from ingest.store.change_feed import SUMMARIES
from ingest.store.readings.fresh import Appender
from ingest.writing.upkeep import Upkeep, UpkeepSettings

PROBES = 30
A_SECOND = 3.0
DAY_S = 86_400.0
# Past the first half minute, in which numbers that the broker may have kept are settled by commits twice a second, and
# past the first round of summaries. Upkeep comes by the hour and would be counted as if it went on all the time.
WARM_UP_S = 80.0
GOAL_GB = 0.5
GOAL_DEVICE_GB = 0.25


def upkeep_bytes(folder: Path) -> int:
    """What settling, summing up and pruning write in a day of such readings, by a simulated clock."""
    begin_ms = time.time_ns() // 1_000_000 // 86_400_000 * 86_400_000 - 2 * 86_400_000
    wishes = UpkeepSettings(7200.0)
    with create_or_open(folder / "upkeep.db", begin_ms) as store:
        with store.write() as connection:
            declare_bare(connection, PROBES, begin_ms)
        upkeep, appender, total = Upkeep(store, wishes, 0.0, (SUMMARIES,)), Appender(store), 0
        gap_ms = round(1000 * PROBES / A_SECOND)
        for half_hour in range(96):
            first_ms = begin_ms + half_hour * 1800 * 1000
            appender.append(
                [
                    (probe, at_ms + probe, 17 + (at_ms // gap_ms + probe) % 7 / 100, 0)
                    for at_ms in range(first_ms, first_ms + 1_800_000, gap_ms)
                    for probe in range(1, PROBES + 1)
                ]
            )
            store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            before = written_bytes([os.getpid()])
            mono = (half_hour + 1) * 1800.0
            while upkeep.work(begin_ms + round(mono * 1000), mono):
                pass
            store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            # The first day fills the store; the second is as any other.
            total += written_bytes([os.getpid()]) - before if half_hour >= 48 else 0
    return total


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--own-times", action="store_true")
    parser.add_argument("--folder", default="/var/tmp")
    chosen = parser.parse_args()
    payload = "json" if chosen.own_times else "plain"
    with (
        TemporaryDirectory(prefix="leeside-benchmark-", dir=chosen.folder) as name,
        TemporaryDirectory(prefix="leeside-benchmark-") as broker_name,
        Mosquitto(Path(broker_name), options=("persistence false",)) as broker,
    ):
        file, store = Path(name) / "cellar.toml", Path(name) / "cellar.db"
        file.write_text(cellar_text(broker.port, PROBES, client_id="benchmark", payload=payload))
        os.sync()
        keeper = None
        with Feed(broker.port, PROBES, A_SECOND, own_times=chosen.own_times), running(leeside_run(file)) as process:
            time.sleep(WARM_UP_S)
            # An open reader keeps the daemons from folding the log when they stop, so that it can be measured below.
            keeper = sqlite3.connect(store, isolation_level=None)
            keeper.execute("SELECT count(*) FROM fresh").fetchone()
            # The first round of summaries lies in the log by now. It is counted below, with the rest of a day's upkeep.
            # The log keeps its length, as it does in life: it is written over from its beginning.
            keeper.execute("PRAGMA wal_checkpoint(RESTART)")
            log_before = Path(f"{store}-wal").stat().st_size
            os.sync()
            tree = members(process.pid)
            before = [written_bytes([member]) for member in tree]
            device = block_device_bytes(store)
            began = time.monotonic()
            time.sleep(60 * chosen.minutes)
            took_s = time.monotonic() - began
            os.sync()
            each = [written_bytes([member]) - bytes_ for member, bytes_ in zip(tree, before, strict=True)]
            written, device = sum(each), block_device_bytes(store) - device
            names = [Path(f"/proc/{member}/cmdline").read_text().split("\0")[2] for member in tree]
        own = written_bytes([os.getpid()])
        grown = Path(f"{store}-wal").stat().st_size - log_before
        keeper.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        os.sync()
        folded = written_bytes([os.getpid()]) - own
        rows = keeper.execute("SELECT count(*) FROM fresh").fetchone()[0]
        keeper.close()
        upkeep = upkeep_bytes(Path(name)) / 1e9
    day = DAY_S / took_s / 1e9
    print(f"{rows} readings stored, {took_s:.0f} s measured; log {log_before / 1e6:.2f} MB, grown {grown / 1e6:.2f} MB")
    for process_name, bytes_ in zip(names, each, strict=True):
        print(f"{'  ' + process_name:<44} {bytes_ * day:>7.3f} GB a day")
    print(f"{'written by leeside (/proc/PID/io)':<44} {written * day:>7.3f} GB a day")
    print(f"{'folding the log':<44} {folded * day:>7.3f} GB a day")
    print(f"{'settling, summaries and pruning':<44} {upkeep:>7.3f} GB a day")
    print(f"{'all':<44} {(written + folded) * day + upkeep:>7.3f} GB a day  goal {GOAL_GB:g}")
    print(f"{'the block device, all that wrote to it':<44} {device * day:>7.3f} GB a day  goal {GOAL_DEVICE_GB:g}")


if __name__ == "__main__":
    main()
