"""Estimate: free and molecular SO2 of 100 vessels with two years of entries, together and one alone.

In two years each has 24 titrations, 6 additions with a titration two days later, 24 toppings, 4 rackings, and a daily
temperature. Goal: 0.5 s for all.

About 10 s; --vessels.
"""

from __future__ import annotations

import argparse
import random
import time

from rounds import print_spread

from alerts.wine.acidity import Acidity
from alerts.wine.so2_estimate import So2Asked, estimate, estimate_all
from alerts.wine.so2_history import (
    LOSS_BY_KIND,
    OXYGEN_BY_RACKING,
    FreeTitrated,
    So2Added,
    So2Entry,
    So2History,
    WineMixedIn,
    WineRacked,
)

DAY_MS = 86_400_000
ROUNDS = 9


def two_years(seed: int) -> So2History:
    """Make up two years of entries."""
    chance = random.Random(seed)
    entries: list[So2Entry] = []
    for month in range(24):
        day = 30 * month + chance.uniform(0.0, 5.0)
        entries.append(FreeTitrated(round(day * DAY_MS), 30.0 - 2.0 * (month % 4) + chance.gauss(0.0, 1.5), 1.5))
        entries.append(WineMixedIn(round((day + 10) * DAY_MS), 0.02, 25.0, 3.0))
        if month % 4 == 3:
            entries.append(So2Added(round((day + 0.1) * DAY_MS), 12.0))
            entries.append(FreeTitrated(round((day + 2) * DAY_MS), 31.0 + chance.gauss(0.0, 1.5), 1.5))
        if month % 6 == 5:
            into = LOSS_BY_KIND["keg" if month % 12 == 5 else "carboy"]
            entries.append(WineRacked(round((day + 20) * DAY_MS), OXYGEN_BY_RACKING["under gas"], into))
    temperatures = tuple((day * DAY_MS, chance.uniform(10.0, 16.0)) for day in range(730))
    return So2History(0, LOSS_BY_KIND["keg"], tuple(entries), temperatures)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--vessels", type=int, default=100)
    options = parser.parse_args()
    asked = [So2Asked(two_years(seed), 735 * DAY_MS, Acidity(3.4), 0.5) for seed in range(options.vessels)]
    together, processor, alone = [], [], []
    for _ in range(ROUNDS):
        begin, begin_processor = time.perf_counter(), time.process_time()
        estimate_all(asked)
        together.append(1000.0 * (time.perf_counter() - begin))
        processor.append(1000.0 * (time.process_time() - begin_processor))
        begin = time.perf_counter()
        estimate(asked[0])
        alone.append(1000.0 * (time.perf_counter() - begin))
    print(f"{len(asked[0].history.entries)} entries each{'':<21} {'min':>9} {'median':>12} {'max':>12}")
    print_spread(f"{options.vessels} vessels together", together, "ms, goal 500")
    print_spread("the same, time of the processor", processor, "ms")
    print_spread("one alone", alone, "ms")


if __name__ == "__main__":
    main()
