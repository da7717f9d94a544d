"""How soon a leak could be certain at best: what the physics of the trials leaves to be known, whatever estimates it.

For each keg of a row of ``leaks.py`` the simulated world is run again without its leak, and with each thing that nobody
knows moved a little: headspace, stirring, what the wine held before, solubility, how far the gas follows the room,
zeros of the probes, thermal zero, the wall's share, and the size of each sample, vent and move. With the noise of the
probes, and the weather where no barometer is read, that gives the least uncertainty of the leak's rate from all
readings up to a moment (the bound of Cramér and Rao, with a normal prior for each unknown). It knows when the leak
began, by which law, and the temperatures; it is linear. So it is a little too good, and nobody can do better than that.

A leak counts as certain when it is so many of these uncertainties away from none: with 4, the looks of sixty nights
give a false alarm in some kegs of a hundred, with 5 in none of thousands.

A minute for each row; --runs, --part, --headspace, --barometer, --seed as for ``leaks.py``.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from math import exp

import numpy as np
from leak_trials import HEADSPACES_L, ROWS, Batch, Row, batch_kegs
from leaks import BAROMETER

from ingest.simulation.keg_trials.array_physics import Floats
from ingest.simulation.keg_trials.keg import Happening, Leak, Moved, TrialKeg, Vent, WineDrawn
from ingest.simulation.keg_trials.world import KegTruths, keg_truths

LEVELS = (3.0, 4.0, 5.0)
THIN = 10
_U_HEADSPACE_L = 0.25
_U_WALL_SHARE = 0.08
_U_THERMAL_ZERO = 0.03


def main() -> None:
    """Work out the bound for each row and headspace."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--part", action="append", default=[])
    parser.add_argument("--headspace", type=float, action="append", default=[])
    parser.add_argument("--barometer", choices=list(BAROMETER), default="half")
    options = parser.parse_args()
    barometer = BAROMETER[options.barometer]
    for row in ROWS.values():
        if row.kind.leak is None or not any(row.name.startswith(part) for part in options.part or [""]):
            continue
        for headspace_l in options.headspace or HEADSPACES_L:
            print_bound(row, Batch(row.name, headspace_l, 0, options.runs, options.seed, barometer=barometer))


def print_bound(row: Row, batch: Batch) -> None:
    """Print in how many kegs the leak could be certain within the time of the row."""
    delays = bounds(batch_kegs(batch), row.kind.days)
    parts = []
    for level, at_level in zip(LEVELS, delays, strict=True):
        known = at_level[~np.isnan(at_level)]
        share = 100.0 * float((known <= row.within_h).mean())
        median = float(np.median(known))
        parts.append(f"{level:g} u: {share:.0f} %, median {median:.2g} h")
    print(f"{row.name}, {batch.headspace_l:g} L, within {row.within_h:.3g} h: {'; '.join(parts)}", flush=True)


def bounds(kegs: Sequence[TrialKeg], days: float) -> list[Floats]:
    """Find the delay [h] after which each leak is as many uncertainties away from none as each level says.

    One array for each level; infinite where the trial ends before, NaN where the leak is void.
    """
    tight = [replace(keg, leak=None) for keg in kegs]
    moved = [list(moved_kegs(keg)) for keg in tight]
    flat = [changed for of_keg in moved for changed, _, _ in of_keg]
    base, leaky = keg_truths(tight, days), keg_truths(kegs, days)
    shifted = keg_truths(flat, days).gauge_kpa[::THIN].astype(float)
    gauges = base.gauge_kpa[::THIN].astype(float)
    leaks = leaky.gauge_kpa[::THIN].astype(float) - gauges
    found = [np.full(len(kegs), np.nan) for _ in LEVELS]
    first = 0
    for index, keg in enumerate(kegs):
        columns = [leaks[:, index]]
        priors = [0.0]
        for number, (_, step, u) in enumerate(moved[index]):
            columns.append((shifted[:, first + number] - gauges[:, index]) / step)
            priors.append(1.0 / u**2)
        first += len(moved[index])
        if leaky.leak_void[index]:
            continue
        for column, u in of_probes(base, index, columns[-1]):
            columns.append(column)
            priors.append(1.0 / u**2)
        for at_level, delay in zip(found, _delays(index, base, columns, priors, keg.leak), strict=True):
            at_level[index] = delay
    return found


def moved_kegs(keg: TrialKeg) -> Iterator[tuple[TrialKeg, float, float]]:
    """Yield the keg with each unknown moved by a small step, that step, and the unknown's standard uncertainty."""
    yield replace(keg, wine_l=keg.wine_l + 0.01), 0.01, _U_HEADSPACE_L
    if keg.surface_m_per_s is None:
        yield replace(keg, diffusion_factor=keg.diffusion_factor * exp(0.05)), 0.05, 0.5
    else:
        yield replace(keg, surface_m_per_s=keg.surface_m_per_s * exp(0.05)), 0.05, 1.3
    blanket, oxygen = ("n2", "ar", "", "co2").index(keg.gas), 2
    for gas, u_kpa in ((blanket, 25.0), (oxygen, 6.0)):
        held = [*keg.wine_holds_kpa, 0.0][:4]
        held[gas] += 1.0
        yield replace(keg, wine_holds_kpa=tuple(held)), 1.0, u_kpa
    yield replace(keg, solubility_factor=keg.solubility_factor + 0.01), 0.01, 0.035
    yield replace(keg, gas_share=keg.gas_share + 0.01), 0.01, 0.1
    for number, happening in enumerate(keg.happenings):
        changed, step, u = _resized(happening)
        yield replace(keg, happenings=(*keg.happenings[:number], changed, *keg.happenings[number + 1 :])), step, u
    # The last one is used for the slope with temperature too.
    yield replace(keg, air=replace(keg.air, mean_c=keg.air.mean_c + 0.1)), 0.1, 0.2


def _resized(happening: Happening) -> tuple[Happening, float, float]:
    match happening:
        case WineDrawn():
            return replace(happening, litres=happening.litres + 0.005), 0.005, 0.1
        case Vent():
            return replace(happening, kpa=happening.kpa + 0.05), 0.05, 3.0
        case Moved():
            return replace(happening, surface_m_per_s=happening.surface_m_per_s * exp(0.05)), 0.05, 1.0
    return replace(happening, to_kpa=happening.to_kpa + 0.1), 0.1, 5.0


def of_probes(truths: KegTruths, index: int, slope: Floats) -> Iterator[tuple[Floats, float]]:
    """Yield what the probes add to the gauge unknown, and each one's standard uncertainty."""
    room_c, wine_c, gas_c = (
        array[::THIN, index].astype(float) for array in (truths.room_c, truths.wine_c, truths.gas_c)
    )
    yield np.ones_like(room_c), 0.3
    yield 0.5 * (room_c + gas_c) - 20.0, _U_THERMAL_ZERO
    if truths.kegs[index].probes.mounted == "wall":
        yield float(np.median(slope)) * (room_c - wine_c), _U_WALL_SHARE


def _delays(
    index: int, truths: KegTruths, columns: Sequence[Floats], priors: Sequence[float], leak: Leak | None
) -> Iterator[float]:
    """Yield the delay for each level."""
    assert leak is not None
    onset = leak.onset_s
    moments, rows = readings_alone(index, truths, columns)
    after = np.flatnonzero(moments > onset)
    information = np.cumsum(rows[:, :, None] * rows[:, None, :], axis=0) + np.diag(priors)
    # Scaled, since the columns differ by many powers of ten.
    size = np.sqrt(np.maximum(np.diagonal(information[-1]), 1e-30))
    scaled = information[after] / (size[:, None] * size[None, :]) + 1e-12 * np.eye(len(size))
    variance = np.linalg.inv(scaled)[:, 0, 0] / size[0] ** 2
    significance = 1.0 / np.sqrt(np.maximum(variance, 1e-30))
    for level in LEVELS:
        reached = np.flatnonzero(significance >= level)
        yield (moments[after[reached[0]]] - onset) / 3600.0 if len(reached) else np.inf


def readings_alone(index: int, truths: KegTruths, columns: Sequence[Floats]) -> tuple[Floats, Floats]:
    """Give the times of a keg's readings [s] and what each says by itself of the unknowns: in uncertainties of a
    reading, with the correlation taken out.

    columns: by how much each unknown moves the gauge; the temperature stands before the two or three of the probes.
    """
    keg = truths.kegs[index]
    at_s = truths.at_s[::THIN]
    probes, air = keg.probes, keg.air
    design = np.stack(columns, axis=1)
    steps = np.array([probes.pressure_step_kpa, probes.barometer_step_kpa * probes.barometer]) / np.sqrt(12.0)
    white = np.hypot(probes.pressure_noise_kpa, np.hypot(*steps)) / np.sqrt(THIN)
    slope = float(np.median(columns[-3 if probes.mounted == "wall" else -2]))
    white = np.hypot(white, abs(slope) * np.hypot(probes.temperature_noise_k, 0.03) / np.sqrt(THIN))
    if not probes.room:
        # Nobody sees then what doors and the cooler do to the gas; it lasts some 20 minutes.
        hour = np.ones(18) / 18.0
        gas_c = truths.gas_c[::THIN, index].astype(float)
        quick = (gas_c - np.convolve(gas_c, hour, mode="same"))[18:-18]
        white = np.hypot(white, 2.0 * 0.5 * float(quick.std()))
    known = np.ones(len(at_s), dtype=bool)
    for begin, end in probes.gaps:
        known &= (at_s < begin) | (at_s >= end)
    design, moments = design[known], at_s[known]
    weather = 0.0 if probes.barometer else air.weather_kpa
    return moments, _whitened(design, moments, float(white), weather, air.weather_s)


def _whitened(design: Floats, moments: Floats, white: float, weather: float, constant_s: float) -> Floats:
    """Take the correlation of noise and weather out of the columns: a Kalman filter of the weather, run over each."""
    if weather == 0.0:
        return design / white
    state = np.zeros(design.shape[1])
    variance = weather**2
    rows = np.empty_like(design)
    gaps = np.diff(moments, prepend=moments[0])
    turn: Callable[[float], float] = lambda elapsed: exp(-elapsed / constant_s)  # noqa: E731
    for i, elapsed in enumerate(gaps.tolist()):
        left = turn(elapsed)
        state = left * state
        variance = left * left * variance + (1.0 - left * left) * weather**2
        total = variance + white**2
        innovation = design[i] - state
        rows[i] = innovation / np.sqrt(total)
        gain = variance / total
        state = state + gain * innovation
        variance = (1.0 - gain) * variance
    return rows


if __name__ == "__main__":
    main()
