"""Leaks and tight kegs: how often the watch over the gas is wrong, how soon it finds a leak, how well it states the
rate.

The kegs are simulated by ``ingest.simulation.keg_trials``, which has physics of its own: gases dissolving into stirred
or still wine, wine that lags behind the room, doors, a cooler's cycles, weather, transmitters with noise, resolution,
thermal zero and drift, contents entered up to 0.3 L off (or with a standard deviation of 0.3 L), samples drawn, gas
vented, kegs carried, gaps of three hours. Half have a barometer (--barometer: all, none), half a room probe, half the
temperature at the wall. Nothing is taken from a journal, unless with --journal.

Beside it two simpler ways see the same readings (``leak_simple_ways.py``): the gauge alone, and the ideal gas law
alone.

The whole table takes an hour or two on two cores; --runs 12 --tight 6 --nights 15 some minutes. --part picks rows by
the beginning of their names, --failing lists the kegs behind each miss.
"""

from __future__ import annotations

import argparse
import os
import time
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np
from leak_scores import RATE_AT_H, FloorScore, Outcome, RateScore
from leak_simple_ways import WAYS
from leak_trials import HEADSPACES_L, ROWS, Batch, Row, run_batch

AT_ONCE = 6
BAROMETER: dict[str, bool | None] = {"all": True, "half": None, "none": False}
_HEAD = (
    "| kegs | L | runs | goal | in time | false alarms | gauge alone: in time | false | ideal gas: in time | false |",
    "|---|---|---|---|---|---|---|---|---|---|",
)


def main() -> None:
    """Run the rows and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=100, help="leaking kegs of each row and headspace")
    parser.add_argument("--tight", type=int, default=48, help="tight kegs of each headspace")
    parser.add_argument("--nights", type=float, default=60.0, help="how long tight kegs are watched")
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0, help="number of the first keg")
    parser.add_argument("--part", action="append", default=[], help="beginning of a row's name; may be repeated")
    parser.add_argument("--headspace", type=float, action="append", default=[], help="L; may be repeated")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--every", type=float, default=600.0, help="s between judgements")
    parser.add_argument(
        "--barometer", choices=list(BAROMETER), default="half", help="which kegs have one; they are the same otherwise"
    )
    parser.add_argument("--journal", action="store_true", help="tell the watch what a journal would")
    parser.add_argument("--failing", action="store_true", help="list each keg that was missed or gave a false alarm")
    options = parser.parse_args()
    os.nice(10)
    # More threads for small matrices only cost time; a worker reads this when it imports numpy.
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    summary: list[str] = []
    with ProcessPoolExecutor(options.workers, mp_context=get_context("spawn")) as pool:
        for row in ROWS.values():
            if not any(row.name.startswith(part) for part in options.part or [""]):
                continue
            for headspace_l in options.headspace or HEADSPACES_L:
                begin = time.monotonic()
                outcomes = [each for batch in pool.map(run_batch, batches(row, headspace_l, options)) for each in batch]
                print_row(row, headspace_l, outcomes, time.monotonic() - begin)
                if options.failing:
                    print_failing(row, outcomes)
                summary.append(summary_line(row, headspace_l, outcomes))
    print(f"\nWith a barometer: {options.barometer}\n\n" + "\n".join([*_HEAD, *summary]))


def batches(row: Row, headspace_l: float, options: argparse.Namespace) -> list[Batch]:
    """Divide the kegs of a row among the workers."""
    tight = row.kind.leak is None
    count = options.tight if tight else options.runs
    days = min(options.nights, row.kind.days) if tight else None
    return [
        Batch(
            row.name,
            headspace_l,
            options.first + first,
            min(AT_ONCE, count - first),
            options.seed,
            days,
            options.every,
            options.journal,
            BAROMETER[options.barometer],
        )
        for first in range(0, count, AT_ONCE)
    ]


def print_row(row: Row, headspace_l: float, outcomes: Sequence[Outcome], took_s: float) -> None:
    """Print what was found of one row and headspace."""
    kegs = [each for each in outcomes if not each.void and (row.gaps_count or not each.in_gap)]
    false_alarms = sum(each.false_at_s is not None for each in outcomes)
    print(f"\n== {row.name}, {headspace_l:g} L: {len(outcomes)} kegs, {took_s:.0f} s")
    simple = "; ".join(
        f"{way} {sum(each.simple[way][0] is not None for each in outcomes if each.simple)}"
        for way in WAYS
        if outcomes[0].simple
    )
    print(f"   false alarms: {false_alarms} kegs ({share(false_alarms, len(outcomes))}); {simple}")
    if row.goals is not None:
        print_found(row, headspace_l, kegs)
    rising = [each.rising_s / 86_400.0 for each in outcomes if each.rising_s is not None]
    if rising:
        print(f"   gas is said to rise in {share(len(rising), len(outcomes))}; median {np.median(rising):.1f} d")
    dips = sum(each.cold_dips for each in outcomes)
    if dips and row.name.startswith("cold"):
        announced = share(sum(each.cold_announced for each in outcomes), dips)
        print(f"   nights that brought the gauge under the floor: {dips}, announced as cold {announced}")
    print(f"   findings without a leak: {mixture(each.findings for each in outcomes)}")
    errors = [abs(each.headspace_error) for each in outcomes if each.headspace_error is not None]
    zs = [abs(each.headspace_z) for each in outcomes if each.headspace_z is not None]
    if errors:
        print(
            f"   headspace: median error {np.median(errors):.2f} L, 95 % {np.percentile(errors, 95):.2f} L; "
            f"2u holds {share(sum(z <= 2.0 for z in zs), len(zs))}",
            flush=True,
        )


def summary_line(row: Row, headspace_l: float, outcomes: Sequence[Outcome]) -> str:
    """Write a line of the table: what leeside did, and the two simpler ways, each as found in time and false alarms."""
    kegs = [each for each in outcomes if not each.void and (row.gaps_count or not each.in_gap)]
    late = 3600.0 * row.within_h
    leaking = row.goals is not None
    goal = (row.goals or {}).get(headspace_l)
    ours = sum(each.found_s is not None and each.found_s <= late for each in kegs)
    cells = [row.name, f"{headspace_l:g} L", f"{len(kegs)}", "" if goal is None else f"{100 * goal:.0f} %"]
    cells += [share(ours, len(kegs)) if leaking else "", f"{sum(each.false_at_s is not None for each in outcomes)}"]
    for way in WAYS:
        seen = [each.simple[way] for each in kegs if each.simple]
        found = sum(delay is not None and delay <= late for _, delay in seen)
        cells.append(share(found, len(seen)) if leaking and seen else "")
        cells.append(f"{sum(false_at is not None for false_at, _ in seen)}" if seen else "")
    return "| " + " | ".join(cells) + " |"


def print_found(row: Row, headspace_l: float, kegs: Sequence[Outcome]) -> None:
    """Print how many leaks were found in time, and how well the rate was stated."""
    goal = (row.goals or {}).get(headspace_l)
    late = 3600.0 * row.within_h
    in_time = sum(each.found_s is not None and each.found_s <= late for each in kegs)
    ever = sum(each.found_s is not None for each in kegs)
    named = sum(each.named_s is not None and each.named_s <= late for each in kegs)
    simple = "; ".join(
        f"{way} {share(sum((found := each.simple[way][1]) is not None and found <= late for each in kegs), len(kegs))}"
        for way in WAYS
        if kegs and kegs[0].simple
    )
    print(
        f"   certain within {row.within_h:.3g} h: {share(in_time, len(kegs))} of {len(kegs)} (goal "
        f"{'none' if goal is None else f'{100 * goal:.0f} %'}); named a leak {share(named, len(kegs))}; ever certain "
        f"{share(ever, len(kegs))}; {simple}"
    )
    delays = sorted(each.found_s / 3600.0 for each in kegs if each.found_s is not None)
    if delays:
        cut = ", ".join(f"{100 * q:g} % {np.quantile(delays, q):.2g} h" for q in (0.1, 0.5, 0.9, 0.97, 1.0))
        print(f"   delay of the certain: {cut}")
    print_blind(row, kegs)
    print_hours([each.floor for each in kegs if each.floor is not None])
    missing = sum(each.rates_missing for each in kegs)
    for at_h in RATE_AT_H:
        print_rates(at_h, [score for each in kegs for score in each.rates if score.at_h == at_h])
    if missing:
        print(f"   not certain, or without a rate, at these times: {missing}")
    print(f"   findings with the leak: {mixture(each.findings_leaking for each in kegs)}")
    print(f"   found in time by what the keg was: {breakdown(kegs, late)}")


def print_blind(row: Row, kegs: Sequence[Outcome]) -> None:
    """Print how many were found in time of those without a gap from the onset on until they must be found."""
    late = 3600.0 * row.within_h
    seen = [each for each in kegs if each.gap_s is None or each.gap_s >= late]
    if len(seen) < len(kegs):
        in_time = sum(each.found_s is not None and each.found_s <= late for each in seen)
        print(f"   without a gap in these {row.within_h:.3g} h: {share(in_time, len(seen))} of {len(seen)}")


def print_hours(scores: Sequence[FloorScore]) -> None:
    """Print how often the hours to the floor, as stated when the leak became certain, hold the true ones."""
    if not scores:
        return
    alone = [score for score in scores if not score.touched]
    early = sum(score.low is not None and score.true < score.low and not score.holds for score in scores)
    late = sum(not score.holds for score in scores) - early
    print(
        f"   hours to the floor, as stated then, hold the truth: {share(sum(s.holds for s in scores), len(scores))} of "
        f"{len(scores)} ({early} reached it earlier, {late} later); of those that nobody touched meanwhile "
        f"{share(sum(s.holds for s in alone), len(alone))}; high end over low end, median "
        f"{np.median([score.ratio for score in scores]):.2g}, 90 % {np.quantile([s.ratio for s in scores], 0.9):.2g}"
    )


def print_rates(at_h: float, scores: Sequence[RateScore]) -> None:
    """Print how well rates were stated at a time after the onset."""
    if not scores:
        return
    errors = [abs(score.error) for score in scores]
    since = [abs(score.stated / score.true_since - 1.0) for score in scores]
    print(
        f"   rate at {at_h:g} h: {len(scores)} kegs, error median {100 * np.median(errors):.0f} %, 90 % of them "
        f"{100 * np.percentile(errors, 90):.0f} %; within 30 % {share(sum(e <= 0.3 for e in errors), len(errors))}, "
        f"within 10 % {share(sum(e <= 0.1 for e in errors), len(errors))}; against the mean since the onset "
        f"{100 * np.median(since):.0f} %; 2u holds {share(sum(each.covered for each in scores), len(scores))}"
    )
    falls = [abs(score.fall_error) for score in scores]
    print(
        f"      as kPa a day: error median {100 * np.median(falls):.0f} %, within 30 % "
        f"{share(sum(e <= 0.3 for e in falls), len(falls))}, within 10 % "
        f"{share(sum(e <= 0.1 for e in falls), len(falls))}"
    )


def print_failing(row: Row, outcomes: Iterable[Outcome]) -> None:
    """List the kegs with a false alarm, and those whose leak was not found in time."""
    late = 3600.0 * row.within_h
    for each in outcomes:
        if each.false_at_s is not None:
            print(f"   FALSE keg {each.number}: at {each.false_at_s / 86_400.0:.3f} d [{each.after}] {described(each)}")
        elif row.goals is not None and not each.void and (each.found_s is None or each.found_s > late):
            delay = "never" if each.found_s is None else f"{each.found_s / 3600.0:.2f} h"
            gap = ", began in a gap" if each.in_gap else ""
            print(f"   LATE  keg {each.number}: {delay}{gap} {described(each)}")


def described(each: Outcome) -> str:
    """Say what a keg was."""
    keg, probes = each.keg, each.keg.probes
    leak = "" if keg.leak is None else f", {keg.leak.law}, onset {keg.leak.onset_s / 86_400.0:.2f} d"
    return (
        f"{keg.gas}, {keg.start_kpa:.0f} kPa, {wine_of(each)}, {stirring_of(each)}, charged "
        f"{keg.charged_before_s / 86_400.0:.1f} d before, {probes.mounted}{', barometer' if probes.barometer else ''}"
        f"{', room' if probes.room else ''}, contents off {keg.believed_wine_l - keg.wine_l:+.2f} L, wander "
        f"{keg.air.weather_kpa:.1f} kPa, swing {keg.air.swing_k:g} K{leak}"
    )


def wine_of(each: Outcome) -> str:
    """What the wine held before the charge."""
    held = sum(each.keg.wine_holds_kpa) - each.keg.wine_holds_kpa[2]
    return "gas-free" if held < 20.0 else "air" if held < 80.0 else "blanketed"


def stirring_of(each: Outcome) -> str:
    """How fast gas goes into the wine."""
    surface = each.keg.surface_m_per_s
    if surface is None:
        return "still"
    return "slow" if surface < 3.2e-7 else "mid" if surface < 3.2e-6 else "fast"


FEATURES: dict[str, Callable[[Outcome], str]] = {
    "wine": wine_of,
    "stirring": stirring_of,
    "gas": lambda each: each.keg.gas,
    "barometer": lambda each: "barometer" if each.keg.probes.barometer else "no barometer",
    "room": lambda each: "room probe" if each.keg.probes.room else "no room probe",
    "mounted": lambda each: each.keg.probes.mounted,
    "start": lambda each: "below 40 kPa" if each.keg.start_kpa < 40.0 else "40 kPa on",
}


def breakdown(kegs: Sequence[Outcome], late: float) -> str:
    """Give the share found in time for each value of each feature."""
    parts = []
    for feature in FEATURES.values():
        found: Counter[str] = Counter()
        all_of: Counter[str] = Counter()
        for each in kegs:
            all_of[feature(each)] += 1
            found[feature(each)] += each.found_s is not None and each.found_s <= late
        parts.append(", ".join(f"{value} {found[value]}/{all_of[value]}" for value in sorted(all_of)))
    return "; ".join(parts)


def mixture(shares: Iterable[Mapping[str, float]]) -> str:
    """Average how often each finding was given."""
    total: dict[str, float] = {}
    count = 0
    for each in shares:
        count += bool(each)
        for finding, part in each.items():
            total[finding] = total.get(finding, 0.0) + part
    common = sorted(total, key=lambda finding: -total[finding])
    return ", ".join(f"{finding} {100 * total[finding] / count:.1f} %" for finding in common)


def share(part: int, whole: int) -> str:
    """Write a share in percent."""
    return f"{100.0 * part / whole:.1f} %" if whole else "none"


if __name__ == "__main__":
    main()
