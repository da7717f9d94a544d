"""Start: from the start of ``leeside run`` to the first reading on disk, with a year of one series in the store.

The year is 3.15 million readings, one every ten seconds, all but the last two hours settled as upkeep would have done;
with --fresh none is, as after an update from a version that did not settle. A publisher sends 20 bare numbers a second
all the time; the broker has kept the session, as after any restart. The file is in the machine's cache, as after a
restart of leeside and not of the machine.

About 90 seconds; --rounds, --rows, --fresh.
"""

from __future__ import annotations

import argparse
import sqlite3
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from brokers import Mosquitto
from cellars import cellar_text, leeside_run, running
from feed import Feed
from past import fill
from rounds import print_spread

from ingest.store import Store, create_or_open
from ingest.store.change_feed import SUMMARIES
from ingest.writing.upkeep import Upkeep, UpkeepSettings

A_SECOND = 20.0
EVERY_MS = 10_000
GOAL_S = 2.0
LONGEST_S = 60.0
SETTLE_S = 5.0
AFTER_S = 7200.0


def await_row(store: Path, after: int) -> float:
    """When a row with a greater id was committed: ``time.monotonic()``, seconds."""
    connection = sqlite3.connect(store, isolation_level=None)
    deadline = time.monotonic() + LONGEST_S
    try:
        while time.monotonic() < deadline:
            if (connection.execute("SELECT max(id) FROM fresh").fetchone()[0] or 0) > after:
                return time.monotonic()
            time.sleep(0.005)
    finally:
        connection.close()
    raise SystemExit("no reading was stored")


def newest_row(store: Path) -> int:
    """The greatest id."""
    connection = sqlite3.connect(store)
    row = int(connection.execute("SELECT max(id) FROM fresh").fetchone()[0] or 0)
    connection.close()
    return row


def settle(store: Store, now_ms: int) -> None:
    """Pack and sum up as upkeep does within a day."""
    upkeep = Upkeep(store, UpkeepSettings(AFTER_S), 0.0, (SUMMARIES,))
    while upkeep.work(now_ms, 10_000.0):
        pass


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--rows", type=int, default=3_153_600)
    parser.add_argument("--fresh", action="store_true")
    chosen = parser.parse_args()
    took = []
    with TemporaryDirectory(prefix="leeside-benchmark-") as name, Mosquitto(Path(name)) as broker:
        file, store = Path(name) / "cellar.toml", Path(name) / "cellar.db"
        file.write_text(cellar_text(broker.port, 1, client_id="benchmark"))
        now_ms = time.time_ns() // 1_000_000
        with create_or_open(store, now_ms) as filled:
            fill(filled, [1], chosen.rows, EVERY_MS, now_ms)
            if not chosen.fresh:
                settle(filled, now_ms)
        with running(leeside_run(file)):
            time.sleep(SETTLE_S)
        with Feed(broker.port, 1, A_SECOND):
            for _ in range(chosen.rounds):
                before = newest_row(store)
                began = time.monotonic()
                with running(leeside_run(file)):
                    took.append(await_row(store, before) - began)
                    time.sleep(SETTLE_S)
    print(f"{'':<34} {'min':>12} {'median':>12} {'max':>12}  goal {GOAL_S:g} s")
    print_spread("start to first stored reading", took, "s")


if __name__ == "__main__":
    main()
