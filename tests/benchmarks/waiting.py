"""Waiting: how long an entry waits behind upkeep and behind a backup.

A store with ten series of two days at ten seconds; another process writes one entry after the other into it, with a
pause of 5 ms, while this one settles both days and works out their summaries, or makes a backup. The waits are those of
the entries that were begun meanwhile.

About 20 s; --rounds.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

from a_store import NOW, declared, new_store, start_script
from rounds import percentile, print_spread

from ingest.store import Store
from ingest.store.backup.making import back_up
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.writing.upkeep import Upkeep, UpkeepSettings

GOAL_MS = 100.0
_DAY_MS = 86_400_000
_ENTRIES = """
import sys, time
from pathlib import Path
from ingest.store import open_existing
from ingest.store.alarms.operator_events import append_event
with open_existing(Path(sys.argv[1])) as store:
    while True:
        began = time.monotonic()
        append_event(store, "acknowledge", "a2b", "Ana", "", 0)
        print(began, time.monotonic(), flush=True)
        time.sleep(0.005)
"""


def filled(folder: Path) -> Store:
    """The store, with nothing settled."""
    store = new_store(folder)
    series = list(declare(store, [declared(probe=f"p{number}") for number in range(10)], NOW).values())
    for day in range(2):
        times = range(NOW + day * _DAY_MS, NOW + (day + 1) * _DAY_MS, 10_000)
        Appender(store).append([(id, at_ms, at_ms / 8, 0) for at_ms in times for id in series])
    return store


def upkeep(store: Store) -> None:
    """Settle and summarise all of it."""
    work = Upkeep(store, UpkeepSettings(600.0), 0.0, ("summaries",))
    mono = 1000.0
    while work.work(NOW + 10 * _DAY_MS, mono):
        mono += 0.05


def backup(store: Store) -> None:
    """Make a backup beside the store."""
    back_up(store.path, store.path.parent, NOW, site="", cellar_text="")


def waits_ms(work: Callable[[Store], None]) -> tuple[list[float], float]:
    """How long each entry took that was begun while the work was done, and how long the work took [s]."""
    with TemporaryDirectory() as folder, filled(Path(folder)) as store:
        entries = start_script(_ENTRIES, store.path)
        assert entries.stdout is not None
        entries.stdout.readline()
        began = time.monotonic()
        work(store)
        ended = time.monotonic()
        entries.terminate()
        out, _ = entries.communicate(timeout=10)
    # The last line may have been cut off by the end of the process.
    spans = [tuple(map(float, line.split())) for line in out.splitlines()[:-1]]
    return [(last - first) * 1000 for first, last in spans if began <= first < ended], ended - began


def main() -> None:
    """Each work in some rounds."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=3)
    rounds = parser.parse_args().rounds
    print(f"{'wait of an entry behind':<34} {'min':>12} {'median':>12} {'max':>12}")
    for name, work in (("upkeep", upkeep), ("backup", backup)):
        waits: list[float] = []
        spans = []
        for _ in range(rounds):
            more, span_s = waits_ms(work)
            waits += more
            spans.append(span_s)
        print_spread(f"{name}, {len(waits)} entries", waits, "ms")
        print_spread("  the work", spans, "s")
        print(f"  99 % within {percentile(waits, 0.99):.1f} ms; goal: all within {GOAL_MS:g} ms", flush=True)


if __name__ == "__main__":
    main()
