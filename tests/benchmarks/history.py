"""History: how long one question takes, settled, with victoria-metrics on the same data beside it over HTTP.

One series of a year, every 10 s. Hourly mean, lowest and highest of 30 days and of a year; a day of raw readings; a day
by minutes, also with changes that the summaries have not followed yet. Each question 20 times, in turns with the peer.
Ours is asked in the process, as page and command ask it; the peer over HTTP on this machine, its answer parsed, with
one query that gives all three (rollup), its cache of answers off.

About 2 minutes; --rounds, --no-peer.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

from peer import SETTINGS, Peer
from rounds import print_spread
from settled import bring, declare_bare
from weathered import DAY_MS, cellar_year

from ingest.store import Store, create_or_open
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series_history import arrays
from ingest.store.readings.summaries import CatchUp, summary
from ingest.store.readings.summary import Level

# Name of the question -> its goal, ms.
GOALS = {"30 days by hours": 5.0, "a year by hours": 20.0}


def timed(ask: Callable[[], int], wanted: int) -> float:
    """Milliseconds that one answer took; it must have about so many points."""
    began = time.perf_counter()
    found = ask()
    took_ms = 1000 * (time.perf_counter() - began)
    if not 0.95 * wanted <= found <= 1.05 * wanted + 2:
        raise SystemExit(f"{found} points came, about {wanted} were wanted")
    return took_ms


def summed(store: Store, from_ms: int, to_ms: int, level: Level) -> Callable[[], int]:
    """Ours, by summaries."""
    return lambda: len(summary(store, 1, from_ms, to_ms, level).from_ms)


def asked(peer: Peer, from_ms: int, to_ms: int, step: str) -> Callable[[], int]:
    """The peer's, all three in one."""
    return lambda: peer.ask(f"rollup(r1[{step}])", from_ms, to_ms, step) // 3


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=20)
    parser.add_argument("--no-peer", action="store_true")
    parser.add_argument("--folder", default="/var/tmp")
    chosen = parser.parse_args()
    now_ms = time.time_ns() // 1_000_000
    end = now_ms // DAY_MS * DAY_MS
    made = cellar_year(1, 365, end)
    with (
        TemporaryDirectory(prefix="leeside-benchmark-", dir=chosen.folder) as name,
        create_or_open(Path(name) / "cellar.db", now_ms) as store,
    ):
        with store.write() as connection:
            declare_bare(connection, 1, now_ms)
        bring(store, 1, made)
        following = CatchUp(store)
        while following.slice():
            pass
        month, year, day = end - 30 * DAY_MS, end - 365 * DAY_MS, end - DAY_MS
        questions: dict[str, tuple[Callable[[], int], int]] = {
            "30 days by hours": (summed(store, month, end, "hour"), 720),
            "a year by hours": (summed(store, year, end, "hour"), 8760),
            "a day raw": (lambda: len(arrays(store, 1, day, end).at_ms), 8640),
            "a day by minutes": (summed(store, day, end, "minute"), 1440),
        }
        peer = Peer(Path(name))
        theirs: dict[str, Callable[[], int]] = {}
        if not chosen.no_peer:
            peer.start()
            peer.fill("r1", made.at_ms, made.values)
            peer.merge()
            theirs = {
                "30 days by hours": asked(peer, month, end, "1h"),
                "a year by hours": asked(peer, year, end, "1h"),
                "a day raw": lambda: peer.export("r1", day, end),
                "a day by minutes": asked(peer, day, end, "1m"),
            }
        print(f"the peer with {' '.join(SETTINGS)}")
        print(f"{'':<34} {'min':>12} {'median':>12} {'max':>12}")
        for question, (ask, wanted) in questions.items():
            ours_ms, theirs_ms = [], []
            for _ in range(chosen.rounds):
                ours_ms.append(timed(ask, wanted))
                if theirs:
                    theirs_ms.append(timed(theirs[question], wanted))
            goal = f"ms  goal {GOALS[question]:g}" if question in GOALS else "ms"
            print_spread(question, ours_ms, goal)
            if theirs:
                print_spread(
                    "  peer", theirs_ms, f"ms  {statistics.median(theirs_ms) / statistics.median(ours_ms):.1f} x"
                )
        peer.stop()
        # A day that is not settled and not followed: as it is while the day goes on.
        rows = [(1, end + step * 10_000, 17 + step % 7 / 100, 0) for step in range(8640)]
        appender = Appender(store)
        for start in range(0, len(rows), 60):
            appender.append(rows[start : start + 60])
        ask = summed(store, end, end + DAY_MS, "minute")
        print_spread("a day by minutes, not followed", [timed(ask, 1440) for _ in range(chosen.rounds)], "ms")
        ask = summed(store, month, end + DAY_MS, "hour")
        print_spread("31 days by hours, one not followed", [timed(ask, 744) for _ in range(chosen.rounds)], "ms")


if __name__ == "__main__":
    main()
