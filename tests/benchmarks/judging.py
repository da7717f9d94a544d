"""Judging: what the turn costs while a judge works, against the turn alone, and what due work costs.

200 kegs with a probe each, all of which send a reading before each turn. Beside the turn works a judge that does
nothing but reckon in Python, without an end; it shares the interpreter with the turn, so this is the worst case: a
judge that reckons in a child process takes nothing from it. Rounds alternate: alone, beside that
judge, beside one that fails.

Then what is due is worked out from ten thousand entries, as it is once after each entry; and what a turn asks else.

About a minute; --rounds.
"""

from __future__ import annotations

import argparse
import logging
import time
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event

from cellar_text import keg, mqtt, probe, site
from journal import fill_journal
from rounds import print_spread

from alerts.judging import threads
from alerts.judging.judge import Need
from alerts.judging.threads import Judging
from alerts.limits.due_feed import DueFeed, due_limits_at
from alerts.turning.turner import Turner
from alerts.watch.turn_inputs import Now
from ingest.cellar import Cellar, parse_cellar
from ingest.judgement import Judgement
from ingest.probes.binding import declarations
from ingest.store import Store, create_or_open
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare

KEGS = 200
TURNS = 25
NOW_MS = 1_795_595_400_000


class Reckons:
    """A judge that reckons for as long as it may."""

    name = "reckons"
    needs: frozenset[Need] = frozenset()

    def __init__(self) -> None:
        self.may, self.ends = Event(), Event()

    def judge(self, cellar: Cellar, store: Store, now_ms: int) -> Sequence[Judgement]:
        number = 0
        while not self.ends.is_set():
            if not self.may.is_set():
                self.may.wait(0.05)
                continue
            for _ in range(5000):
                number += 1
        return ()


class Fails:
    """A judge that fails each time it is asked, if it may."""

    name = "fails"
    needs: frozenset[Need] = frozenset()

    def __init__(self) -> None:
        self.may = Event()

    def judge(self, cellar: Cellar, store: Store, now_ms: int) -> Sequence[Judgement]:
        if self.may.is_set():
            raise ValueError("as asked")
        return ()


def measure_turns(folder: Path, rounds: int) -> None:
    """A turn alone, beside a judge that reckons, and beside one that fails."""
    kegs = (keg(f"K{n}") + probe(f"k{n}-pressure", f"K{n}", topic=f"k{n}/p") for n in range(KEGS))
    cellar = parse_cellar("\n".join((site(), mqtt(), *kegs)), file="cellar.toml", base=folder)
    reckons, fails = Reckons(), Fails()
    with create_or_open(cellar.store_path, NOW_MS) as store, create_or_open(cellar.store_path, NOW_MS) as other:
        turner = Turner(cellar, store, Now(NOW_MS, 0.0))
        series, appender = declare(other, declarations(cellar), NOW_MS), Appender(other)
        at_work = Judging(cellar, (reckons, fails), lambda: NOW_MS)
        at_work.start()
        times: dict[str, list[float]] = {"alone": [], "beside a judge that reckons": [], "beside one that fails": []}
        second = 0
        for _ in range(rounds):
            for name, may in zip(times, (None, reckons.may, fails.may), strict=True):
                if may is not None:
                    may.set()
                for _ in range(TURNS):
                    second += 1
                    now_ms = NOW_MS + 1000 * second
                    appender.append([(number, now_ms, 30.0 + second % 7, 0) for number in series.values()])
                    began = time.perf_counter()
                    turner.turn(Now(now_ms, float(second)))
                    times[name].append(1000 * (time.perf_counter() - began))
                if may is not None:
                    may.clear()
        reckons.ends.set()
        at_work.stop()
    print(f"a turn over {turner.limit_count:,} limits with {KEGS} new readings")
    for name, found in times.items():
        print_spread(f"  {name}", found, "ms")


def measure_due_work(folder: Path, rounds: int) -> None:
    """What is due, once after an entry, and when nothing was entered."""
    with create_or_open(folder / "journal.db", NOW_MS) as store:
        cellar, count, _ = fill_journal(store, NOW_MS)
        after_entry, idle = [], []
        for _ in range(rounds):
            began = time.perf_counter()
            with store.read() as connection:
                limits = due_limits_at(cellar, connection, NOW_MS)
            after_entry.append(1000 * (time.perf_counter() - began))
        feed = DueFeed(cellar, store)
        feed.renew(NOW_MS, {})
        feed.facts(NOW_MS)
        feed.taken()
        for _ in range(100 * rounds):
            began = time.perf_counter()
            feed.renew(NOW_MS, {})
            feed.facts(NOW_MS)
            idle.append(1000 * (time.perf_counter() - began))
    print(f"due work of {count:,} entries: {len(limits)} limits")
    print_spread("  after an entry", after_entry, "ms")
    print_spread("  when nothing was entered", idle, "ms")


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=8)
    parser.add_argument("--folder", default="/var/tmp")
    chosen = parser.parse_args()
    logging.getLogger("alerts").setLevel(logging.CRITICAL)
    threads.IDLE_S = threads.AGAIN_S = threads.LOOK_S = 0.01  # type: ignore[misc]  # as often as a judge can be asked
    with TemporaryDirectory(prefix="leeside-benchmark-", dir=chosen.folder) as name:
        print(f"{'':<34} {'min':>12} {'median':>12} {'max':>12}")
        measure_turns(Path(name), chosen.rounds)
        measure_due_work(Path(name), chosen.rounds)


if __name__ == "__main__":
    main()
