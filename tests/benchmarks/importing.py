"""Importing: rows a second of `leeside import --write`'s way, against bare ``executemany`` of rows already in memory.

A table with one probe, a row every 10 s: read, times and numbers parsed, held against what is there, packed, checked,
committed, the change feed written. The floor gets the same rows as tuples, into the table shape of fresh readings. Then
another unit, many probes side by side, and the same again with nothing new.

About 40 seconds; --rounds, --rows.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import sqlite3
import time
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from cellars import cellar_text
from rounds import alternate, print_ratio

from alerts.command.exchange.import_readings import import_readings
from alerts.command.exchange.import_targets import TableForm
from ingest.cellar import load_cellar
from ingest.probes.binding import declarations
from ingest.store import create_or_open
from ingest.store.opening import CHECKPOINT_PAGES, PAGE_SIZE
from ingest.store.readings.series import declare
from ingest.times import iso_utc

GOAL = 0.1
EVERY_MS = 10_000
WIDE = 10


def write_tables(folder: Path, rows: int, now_ms: int) -> None:
    """narrow.csv, and wide.csv with the same number of values in ten columns."""
    first = now_ms - rows * EVERY_MS
    with (folder / "narrow.csv").open("w") as table:
        table.write("at,c\n")
        table.writelines(f"{iso_utc(first + row * EVERY_MS)},{17 + row % 97 / 100:.2f}\n" for row in range(rows))
    with (folder / "wide.csv").open("w") as table:
        table.write("at," + ",".join(f"c{place}" for place in range(WIDE)) + "\n")
        for row in range(rows // WIDE):
            cells = ",".join(f"{17 + (row + place) % 97 / 100:.2f}" for place in range(WIDE))
            table.write(f"{iso_utc(first + row * EVERY_MS)},{cells}\n")


def ours(folder: Path, form: TableForm, table: str, rows: int, now_ms: int, *, twice: bool = False) -> float:
    """Values a second of the command, the second time around with ``twice``."""
    with TemporaryDirectory(prefix="leeside-benchmark-") as name:
        file = Path(name) / "cellar.toml"
        file.write_text(cellar_text(1883, WIDE, client_id="benchmark"))
        cellar = load_cellar(file)
        with create_or_open(cellar.store_path, now_ms) as store:
            declare(store, declarations(cellar), now_ms)
        for _ in range(2 if twice else 1):
            began = time.perf_counter()
            with contextlib.redirect_stdout(io.StringIO()):
                assert import_readings(file, folder / table, form, write=True, as_json=False) == 0
            took_s = time.perf_counter() - began
        return rows / took_s


def floor(rows: int, now_ms: int) -> float:
    """Rows a second through ``executemany``, one commit for 2,000."""
    given = [(1, now_ms - (rows - row) * EVERY_MS, 17 + row % 97 / 100, 8) for row in range(rows)]
    with TemporaryDirectory(prefix="leeside-benchmark-") as name:
        connection = sqlite3.connect(Path(name) / "bare.db", isolation_level=None)
        connection.execute(f"PRAGMA page_size={PAGE_SIZE}")
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute(f"PRAGMA wal_autocheckpoint={CHECKPOINT_PAGES}")
        connection.execute(
            "CREATE TABLE fresh (id INTEGER PRIMARY KEY, series INTEGER NOT NULL, at INTEGER NOT NULL,"
            " number REAL NOT NULL, quality INTEGER NOT NULL)"
        )
        began = time.perf_counter()
        for start in range(0, rows, 2000):
            connection.execute("BEGIN IMMEDIATE")
            connection.executemany(
                "INSERT INTO fresh (series, at, number, quality) VALUES (?, ?, ?, ?)", given[start : start + 2000]
            )
            connection.execute("COMMIT")
        took_s = time.perf_counter() - began
        connection.close()
        return rows / took_s


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--rows", type=int, default=300_000)
    chosen = parser.parse_args()
    now_ms = time.time_ns() // 1_000_000 - 60_000
    rows = chosen.rows
    narrow = TableForm("at", {"r0": "c"})
    wide = TableForm("at", {f"r{place}": f"c{place}" for place in range(WIDE)})
    converted = TableForm("at", {"r0": "c"}, unit="degF")
    with TemporaryDirectory(prefix="leeside-benchmark-") as name:
        folder = Path(name)
        write_tables(folder, rows, now_ms)
        bare = partial(floor, rows, now_ms)
        for title, mine in {
            "one probe": partial(ours, folder, narrow, "narrow.csv", rows, now_ms),
            "one probe, another unit": partial(ours, folder, converted, "narrow.csv", rows, now_ms),
            "ten probes side by side": partial(ours, folder, wide, "wide.csv", rows, now_ms),
            "one probe, all there already": partial(ours, folder, narrow, "narrow.csv", rows, now_ms, twice=True),
        }.items():
            print_ratio(title, *alternate(chosen.rounds, mine, bare), GOAL)


if __name__ == "__main__":
    main()
