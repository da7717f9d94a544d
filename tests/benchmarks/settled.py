"""Settled: bytes a reading on disk after settling, with victoria-metrics on the same data beside it.

A year of ten series, a reading every 10 s (31.5 million): times with a jitter of 50 ms (standard deviation), noise of
0.02 at a resolution of 0.01, over day and night, the year and the weather. Then harsher mixes of one series and 60
days, without a goal. Ours: the blocks as they lie in the table, and the whole file after settling and summing up,
summaries included.
The peer: all files in its folder after a forced merge and a stop, settings as they come but for the retention.

About 10 minutes; --days, --series, --no-peer.
"""

from __future__ import annotations

import argparse
import sqlite3
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from peer import SETTINGS, Peer
from weathered import DAY_MS, MIXES, Made

from ingest.store import Store, create_or_open
from ingest.store.readings.block import Arrays
from ingest.store.readings.bulk_import import BulkImport, Piece
from ingest.store.readings.summaries import CatchUp

GOAL = 2.0
HARSH_DAYS = 60


def settled_bytes(store: Store) -> tuple[int, int]:
    """(readings, bytes of their blocks)."""
    rows, data = store.connection.execute("SELECT sum(rows), sum(length(data)) FROM block").fetchone()
    return int(rows), int(data)


def file_bytes(store: Store) -> int:
    """The file, with the log folded in."""
    store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return store.path.stat().st_size


def bring(store: Store, series: int, made: Made) -> None:
    """As if read long ago: good quality, settled."""
    quality = np.zeros(len(made.at_ms), np.uint16)
    BulkImport(store, [series]).take([Piece(series, Arrays(made.at_ms, made.values, quality))])


def declare_bare(connection: sqlite3.Connection, count: int, now_ms: int) -> None:
    """Series without a cellar file."""
    for number in range(1, count + 1):
        connection.execute(
            "INSERT INTO series (id, probe, place, quantity, begun_ms) VALUES (?, ?, 'R', 'temperature', ?)",
            (number, f"r{number}", now_ms),
        )


def measure(folder: Path, mix: str, series: int, days: int, now_ms: int, *, with_peer: bool) -> None:
    """One row of the table."""
    folder.mkdir()
    until_ms = now_ms // DAY_MS * DAY_MS
    with create_or_open(folder / "cellar.db", now_ms) as store:
        with store.write() as connection:
            declare_bare(connection, series, now_ms)
        peer = Peer(folder)
        if with_peer:
            peer.start()
        took = their_took = 0.0
        for number in range(1, series + 1):
            made = MIXES[mix](number, days, until_ms)
            began = time.perf_counter()
            bring(store, number, made)
            took += time.perf_counter() - began
            if with_peer:
                began = time.perf_counter()
                peer.fill(f"r{number}", made.at_ms, made.values)
                their_took += time.perf_counter() - began
        rows, data = settled_bytes(store)
        following = CatchUp(store)
        while following.slice():
            pass
        whole = file_bytes(store)
    theirs = float("nan")
    if with_peer:
        peer.merge()
        peer.stop()
        theirs = peer.bytes_on_disk() / rows
    print(
        f"{mix:<30} {rows:>12,} {data / rows:>8.2f} {whole / rows:>11.2f} {theirs:>9.2f}"
        f" {rows / took:>12,.0f} {rows / their_took if their_took else float('nan'):>12,.0f}",
        flush=True,
    )


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--series", type=int, default=10)
    parser.add_argument("--no-peer", action="store_true")
    parser.add_argument("--folder", default="/var/tmp")
    chosen = parser.parse_args()
    now_ms = time.time_ns() // 1_000_000
    print(f"bytes a reading, goal {GOAL:g}; the peer with {' '.join(SETTINGS)}")
    print(
        f"{'mix':<30} {'readings':>12} {'blocks':>8} {'whole file':>11} {'peer':>9} {'ours a s':>12} {'peer a s':>12}"
    )
    with TemporaryDirectory(prefix="leeside-benchmark-", dir=chosen.folder) as name:
        for place, mix in enumerate(MIXES):
            series, days = (chosen.series, chosen.days) if place == 0 else (1, min(chosen.days, HARSH_DAYS))
            measure(Path(name) / str(place), mix, series, days, now_ms, with_peer=not chosen.no_peer)


if __name__ == "__main__":
    main()
