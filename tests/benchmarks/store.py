"""Store: readings through the appender against bare ``executemany`` into the same table shape.

Batches of 2,000 readings of ten series, each batch one commit, in WAL mode with ``synchronous=FULL``, the store's page
size and checkpoint size on both sides. Ours also knows repeats, numbers the rows and writes the change feed.

About 15 seconds; --rounds, --batches.
"""

from __future__ import annotations

import argparse
import sqlite3
import time
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from rounds import alternate, print_ratio

from ingest.reading import Row
from ingest.store.opening import CHECKPOINT_PAGES, PAGE_SIZE, create_or_open
from ingest.store.readings.fresh import Appender

BATCH = 2000
SERIES = 10
GOAL = 0.7
NOW_MS = 1_795_595_400_000


def batches(count: int) -> list[list[Row]]:
    """Readings as they come: the series in turn, a second later each round."""
    return [
        [
            (row % SERIES + 1, NOW_MS + row // SERIES * 1000, 55.0 + row % 97 / 100, 0)
            for row in range(start, start + BATCH)
        ]
        for start in range(0, count * BATCH, BATCH)
    ]


def ours(given: list[list[Row]]) -> float:
    """Readings a second through ``Appender.append``."""
    with (
        TemporaryDirectory(prefix="leeside-benchmark-") as folder,
        create_or_open(Path(folder) / "cellar.db", NOW_MS) as store,
    ):
        appender = Appender(store)
        began = time.perf_counter()
        for batch in given:
            appender.append(batch)
        return len(given) * BATCH / (time.perf_counter() - began)


def floor(given: list[list[Row]]) -> float:
    """Rows a second through ``executemany``."""
    with TemporaryDirectory(prefix="leeside-benchmark-") as folder:
        connection = sqlite3.connect(Path(folder) / "bare.db", isolation_level=None)
        connection.execute(f"PRAGMA page_size={PAGE_SIZE}")
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute(f"PRAGMA wal_autocheckpoint={CHECKPOINT_PAGES}")
        connection.execute(
            "CREATE TABLE fresh (id INTEGER PRIMARY KEY, series INTEGER NOT NULL, at INTEGER NOT NULL,"
            " number REAL NOT NULL, quality INTEGER NOT NULL)"
        )
        began = time.perf_counter()
        for batch in given:
            connection.execute("BEGIN IMMEDIATE")
            connection.executemany("INSERT INTO fresh (series, at, number, quality) VALUES (?, ?, ?, ?)", batch)
            connection.execute("COMMIT")
        took_s = time.perf_counter() - began
        connection.close()
        return len(given) * BATCH / took_s


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=9)
    parser.add_argument("--batches", type=int, default=150)
    chosen = parser.parse_args()
    given = batches(chosen.batches)
    print_ratio("readings written", *alternate(chosen.rounds, partial(ours, given), partial(floor, given)), GOAL)


if __name__ == "__main__":
    main()
