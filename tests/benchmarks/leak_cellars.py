"""Leaks in cellars without a barometer: what it helps that the weather moves all vented gauges alike.

Cellars of one to several kegs in one room, simulated as in ``leaks.py``. The first keg is one of that script's rows and
leaks; the others are tight, of 0.5, 2 and 10 L headspace, with draws, gaps and instruments of their own. With 1 keg
nothing helps, with 2 nobody knows which of them moved. The same first kegs are drawn for each size of the cellar.

Half an hour on one core; --runs 6 --kegs 1 4 some minutes.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

from cellar_trials import Cellar, run_cellar
from leak_scores import Outcome
from leak_trials import HEADSPACES_L, ROWS, Row
from leaks import described, share


def main() -> None:
    """Run the cellars and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=40, help="cellars of each row, headspace and size")
    parser.add_argument("--kegs", type=int, nargs="+", default=[1, 2, 4, 8], help="sizes of cellars")
    parser.add_argument("--row", nargs="+", default=["tight", "2 d", "10 d", "40 d"], choices=tuple(ROWS))
    parser.add_argument("--headspace", type=float, nargs="+", default=HEADSPACES_L, help="of the first keg, L")
    parser.add_argument("--nights", type=float, default=20.0, help="how long cellars without a leak are watched")
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--failing", action="store_true", help="list each keg that was missed or gave a false alarm")
    options = parser.parse_args()
    os.nice(10)
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    print("| first keg | L | kegs | cellars | in time | false alarms | of tight kegs beside it | cellars that leak |")
    print("|---|---|---|---|---|---|---|---|", flush=True)
    with ProcessPoolExecutor(options.workers, mp_context=get_context("spawn")) as pool:
        for row, headspace_l, kegs in _cells(options):
            begin = time.monotonic()
            cellars = [_cellar(row, headspace_l, kegs, number, options) for number in range(options.runs)]
            outcomes = list(pool.map(run_cellar, cellars))
            print(line(row, headspace_l, kegs, outcomes), f" <!-- {time.monotonic() - begin:.0f} s -->", flush=True)
            if options.failing:
                print_failing(row, outcomes)


def _cells(options: argparse.Namespace) -> Iterator[tuple[Row, float, int]]:
    for name in options.row:
        for headspace_l in options.headspace:
            for kegs in options.kegs:
                yield ROWS[name], headspace_l, kegs


def _cellar(row: Row, headspace_l: float, kegs: int, number: int, options: argparse.Namespace) -> Cellar:
    days = options.nights if row.kind.leak is None else None
    return Cellar(row.name, headspace_l, number, options.seed, kegs, days, 1800.0)


def line(row: Row, headspace_l: float, kegs: int, cellars: Sequence[Sequence[Outcome]]) -> str:
    """Write a line of the table."""
    first = [cellar[0] for cellar in cellars]
    beside = [keg for cellar in cellars for keg in cellar[1:]]
    leaking = [keg for keg in first if not keg.void] if row.goals is not None else []
    in_time = sum(_is_in_time(row, keg) for keg in leaking)
    cells = [
        row.name,
        f"{headspace_l:g} L",
        f"{kegs}",
        f"{len(cellars)}",
        share(in_time, len(leaking)) if leaking else "",
    ]
    cells += [f"{sum(keg.false_at_s is not None for keg in first)}"]
    cells += [f"{sum(keg.false_at_s is not None for keg in beside)} of {len(beside)}", f"{len(leaking)}"]
    return "| " + " | ".join(cells) + " |"


def _is_in_time(row: Row, keg: Outcome) -> bool:
    return keg.found_s is not None and keg.found_s <= 3600.0 * row.within_h


def print_failing(row: Row, cellars: Sequence[Sequence[Outcome]]) -> None:
    """List kegs with a false alarm, and those whose leak was not found in time."""
    for number, cellar in enumerate(cellars):
        for place, keg in enumerate(cellar):
            if keg.false_at_s is not None:
                print(f"   FALSE {number}.{place}: at {keg.false_at_s / 86_400.0:.3f} d [{keg.after}] {described(keg)}")
            elif place == 0 and row.goals is not None and not keg.void and not _is_in_time(row, keg):
                delay = "never" if keg.found_s is None else f"{keg.found_s / 3600.0:.1f} h"
                print(f"   LATE  {number}: {delay} {described(keg)}")


if __name__ == "__main__":
    main()
