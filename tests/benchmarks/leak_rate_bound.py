"""How well the rate of a leak could be known at best: what share of kegs could be within ten percent, whatever works
it out.

As ``leak_bound.py``, which see, but around the keg that leaks, with the size of the leak, when it began and by which
law it flows unknown too. That gives the least uncertainty of the present rate from all readings up to a moment: as a
flow [mL/min], for which the headspace must be known, and as a fall of pressure [kPa a day]. The share within ten
percent is that of normal errors with these uncertainties. Kegs count whose leak could be certain by then (5 u).

Beside it what remains if only the headspace were unknown, as the owner wrote it down: 0.25 L of uncertainty.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from math import erf

import numpy as np
from leak_bound import THIN, moved_kegs, of_probes, readings_alone
from leak_scores import RATE_ABOVE_KPA, RATE_AT_H
from leak_trials import HEADSPACES_L, ROWS, Batch, Row, batch_kegs
from leaks import BAROMETER

from ingest.simulation.keg_trials.array_physics import Floats
from ingest.simulation.keg_trials.keg import TrialKeg
from ingest.simulation.keg_trials.world import keg_truths

_AT_ONCE = 10
_CERTAIN_U = 5.0
_U_ENTERED_L = 0.25
_ONSET_STEP_H = 0.1


def main() -> None:
    """Work out the bound for each row and headspace."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--part", action="append", default=[])
    parser.add_argument("--headspace", type=float, action="append", default=[])
    parser.add_argument("--barometer", choices=list(BAROMETER), default="half")
    options = parser.parse_args()
    for row in ROWS.values():
        if not row.goals or not any(row.name.startswith(part) for part in options.part or [""]):
            continue
        for headspace_l in options.headspace or HEADSPACES_L:
            batch = Batch(row.name, headspace_l, 0, options.runs, options.seed, barometer=BAROMETER[options.barometer])
            print_bound(row, batch)


def print_bound(row: Row, batch: Batch) -> None:
    """Print how well the rate could be known at each time."""
    kegs = batch_kegs(batch)
    least = [uncertainties(kegs[i : i + _AT_ONCE], row.kind.days) for i in range(0, len(kegs), _AT_ONCE)]
    entered = _U_ENTERED_L / batch.headspace_l
    for number, at_h in enumerate(RATE_AT_H):
        flow, fall = (np.concatenate([each[kind][number] for each in least]) for kind in (0, 1))
        counts = np.isfinite(fall) & (fall < 1.0 / _CERTAIN_U)
        if not counts.any():
            continue
        print(
            f"{row.name}, {batch.headspace_l:g} L, {at_h:g} h after the onset, {counts.sum()} kegs: mL/min: median u "
            f"{100 * np.median(flow[counts]):.0f} %, within 10 % {within(flow[counts], 0.1):.0f} % of kegs, within "
            f"30 % {within(flow[counts], 0.3):.0f} %; kPa a day: median u {100 * np.median(fall[counts]):.0f} %, within"
            f" 10 % {within(fall[counts], 0.1):.0f} %; by the headspace as entered alone, within 10 % "
            f"{within(np.array([entered]), 0.1):.0f} %",
            flush=True,
        )


def within(u: Floats, share: float) -> float:
    """The share [%] of normal errors with these uncertainties that are at most so large."""
    return 100.0 * float(np.mean([erf(share / (each * 2.0**0.5)) for each in np.maximum(u, 1e-9).tolist()]))


def uncertainties(kegs: Sequence[TrialKeg], days: float) -> tuple[list[Floats], list[Floats]]:
    """Work out the least relative uncertainty of the rate at each time, as a flow and as a fall of pressure.

    NaN where the leak is void or the gauge near the floor, as for the scores.
    """
    base = keg_truths(kegs, days)
    moved = [[*_of_leak(keg), *moved_kegs(keg)] for keg in kegs]
    other = keg_truths([changed for of_keg in moved for changed, _, _ in of_keg], days)
    flows = [np.full(len(kegs), np.nan) for _ in RATE_AT_H]
    falls = [np.full(len(kegs), np.nan) for _ in RATE_AT_H]
    first = 0
    for index, keg in enumerate(kegs):
        columns: list[Floats] = []
        priors: list[float] = []
        for number, (_, step, u) in enumerate(moved[index]):
            change = other.gauge_kpa[::THIN, first + number] - base.gauge_kpa[::THIN, index]
            columns.append(change.astype(np.float64) / step)
            priors.append(1.0 / u**2)
        places = first + np.arange(len(moved[index]))
        steps = np.array([step for _, step, _ in moved[index]])
        first += len(moved[index])
        if base.leak_void[index] or keg.leak is None:
            continue
        of_probes_too = list(of_probes(base, index, columns[-1]))
        columns += [column for column, _ in of_probes_too]
        priors += [1.0 / u**2 for _, u in of_probes_too]
        moments, rows = readings_alone(index, base, columns)
        for number, at_h in enumerate(RATE_AT_H):
            at_s = keg.leak.onset_s + 3600.0 * at_h
            now = int(np.searchsorted(base.at_s, at_s))
            if now >= len(base.at_s) or base.gauge_kpa[now, index] < RATE_ABOVE_KPA:
                continue
            seen = rows[moments <= at_s]
            cov = _inverse(seen.T @ seen + np.diag(priors))
            hour = slice(now - 59, now + 1)
            flow = np.zeros(len(columns))
            ratio = other.rate_ml_min[hour, places].mean(axis=0) / base.rate_ml_min[hour, index].mean()
            flow[: len(steps)] = (ratio - 1.0) / steps
            fall = flow.copy()
            fall[: len(steps)] -= (other.headspace_l[now, places] / base.headspace_l[now, index] - 1.0) / steps
            flows[number][index], falls[number][index] = (flow @ cov @ flow) ** 0.5, (fall @ cov @ fall) ** 0.5
    return flows, falls


def _of_leak(keg: TrialKeg) -> list[tuple[TrialKeg, float, float]]:
    """The keg with a larger leak, a later one, and one by the next law: each with its step and uncertainty."""
    leak = keg.leak
    assert leak is not None
    assert leak.floor_in_h is not None
    larger = replace(leak, floor_in_h=leak.floor_in_h / 1.02)
    later = replace(leak, onset_s=leak.onset_s + 3600.0 * _ONSET_STEP_H)
    return [
        (replace(keg, leak=larger), 0.02, 10.0),
        (replace(keg, leak=later), _ONSET_STEP_H, 48.0),
        (replace(keg, leak=replace(leak, law="viscous" if leak.law == "linear" else "linear")), 1.0, 0.7),
    ]


def _inverse(information: Floats) -> Floats:
    """The inverse, scaled, since the columns differ by many powers of ten."""
    size = np.sqrt(np.maximum(np.diagonal(information), 1e-30))
    scaled = information / np.outer(size, size) + 1e-12 * np.eye(len(size))
    return np.asarray(np.linalg.inv(scaled) / np.outer(size, size))


if __name__ == "__main__":
    main()
