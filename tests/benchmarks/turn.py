"""Turn: one turn over 1,000 limits with a real store, by what is new and by how much history lies in the store.

The turner is the daemon's own; time is handed to it, a second a turn, so that every tenth writes its pulse. With
1,000 new readings each probe gets its share before the turn, which is not counted.

About 20 seconds; --turns.
"""

from __future__ import annotations

import argparse
import statistics
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from cellars import cellar_text
from past import fill

from alerts.turning import Turner
from alerts.watch.turn_inputs import Now
from ingest.cellar import load_cellar
from ingest.store import create_or_open
from ingest.store.readings.fresh import Appender

LIMITS = 1000
NEW = 1000
GOAL_MS = 50.0
ROOMS = 340
NOW_MS = 1_795_595_400_000
A_DAY_ROWS = ROOMS * 1440
HISTORIES = {"empty store": 0, "a day of readings": A_DAY_ROWS, "3 million rows": 3_000_000}
EVERY_MS = 60_000
TWO_LIMITS = """
[[limit]]
at = "R{number}"
quantity = "temperature"
high = "25 °C"
consequence = "The wine ages faster."
action = "Open the door at night."
[[limit]]
at = "R{number}"
quantity = "temperature"
low = "5 °C"
consequence = "The wine drops its tartrate."
action = "Heat the room."
"""


def measure(rows: int, turns: int) -> tuple[int, list[float], list[float]]:
    """The number of limits; milliseconds of each turn with nothing new, and with new readings."""
    with TemporaryDirectory(prefix="leeside-benchmark-") as name:
        file = Path(name) / "cellar.toml"
        limits = "".join(TWO_LIMITS.format(number=number) for number in range(ROOMS))
        file.write_text(cellar_text(1883, ROOMS, client_id="benchmark", more=limits))
        cellar = load_cellar(file)
        with create_or_open(cellar.store_path, NOW_MS) as store:
            series = list(range(1, ROOMS + 1))
            fill(store, series, rows, EVERY_MS, NOW_MS - 1000)
            turner = Turner(cellar, store, Now(NOW_MS, 0.0))
            for _ in range(60):  # what the last ten minutes brought is judged first
                turner.turn(Now(NOW_MS, 0.0))
            appender = Appender(store)
            quiet: list[float] = []
            busy: list[float] = []
            for number in range(1, turns + 1):
                for new, times in ((0, quiet), (NEW, busy)):
                    at_ms = NOW_MS + number * 2000 + (1000 if new else 0)
                    appender.append(
                        [(series[row % ROOMS], at_ms + row // ROOMS, 17.0 + row % 7 / 100, 0) for row in range(new)]
                    )
                    began = time.perf_counter()
                    turner.turn(Now(at_ms, (at_ms - NOW_MS) / 1000))
                    times.append(1000 * (time.perf_counter() - began))
            return turner.limit_count, quiet, busy


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--turns", type=int, default=100)
    chosen = parser.parse_args()
    print(f"{'a turn, ms':<44} {'min':>8} {'median':>8} {'max':>8}  goal {GOAL_MS:g}")
    for history, rows in HISTORIES.items():
        limits, quiet, busy = measure(rows, chosen.turns)
        assert limits >= LIMITS, limits
        for new, times in ((0, quiet), (NEW, busy)):
            name = f"{limits} limits, {new} new readings, {history}"
            print(f"{name:<44} {min(times):>8.1f} {statistics.median(times):>8.1f} {max(times):>8.1f}", flush=True)


if __name__ == "__main__":
    main()
