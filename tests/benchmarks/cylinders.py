"""Gas cylinders: how often an unused one seems used, whether the days left hold, how soon a leak shows.

Made-up months of nitrogen cylinders, with pressures by the simulation's own physics: rooms that are warm by day, with
weather over days; a cylinder that lags behind by an hour; a gauge of 0 to 25 MPa with noise, a step and a zero that
moves with temperature; a thermometer at the cylinder or in the room, off by half a degree. Gas is drawn evenly, in
purges at random, or both; every cylinder is judged twice a day until it is empty, and hourly once a leak has begun.

About five minutes; --cylinders, --seed.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from math import exp
from typing import Final

import numpy as np
import numpy.typing as npt

from alerts.gas.cylinder_amounts import CylinderFacts, CylinderPoint, Gauge, Thermometer, amounts_of, reserve_mol
from alerts.gas.cylinder_use import CylinderUse, cylinder_use
from alerts.gas.gases import GASES, STANDARD_L_MOL
from ingest.simulation.physics import cylinder_moles, cylinder_pressure_kpa

HOUR_MS: Final = 3_600_000
VOLUME_L: Final = 10.0
AIR_KPA: Final = 101.325
STEP_KPA: Final = 5.0
NITROGEN: Final = GASES["nitrogen"]
LOOK_BACK_H: Final = 29 * 24

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Life:
    """A cylinder hour by hour. mol: what is in it; points: what was read."""

    mol: Floats
    points: Sequence[CylinderPoint]
    facts: CylinderFacts

    def judged(self, hour: int) -> CylinderUse:
        """What is said of it at an hour."""
        known = self.points[max(0, hour - LOOK_BACK_H) : hour + 1]
        amounts = amounts_of(self.facts, known)
        assert amounts is not None
        return cylinder_use(amounts, reserve_mol(self.facts, known[-1].temperature_c), known[-1].at_ms)

    def hours_to(self, hour: int, kpa: float) -> float:
        """After how many hours from then it has fallen to a gauge pressure at 15 °C; the length of its life at most."""
        reserve = cylinder_moles(kpa + AIR_KPA, VOLUME_L, 15.0)
        below = np.flatnonzero(self.mol[hour:] <= reserve)
        return float(below[0]) if len(below) else float(len(self.mol) - hour)


def life(rng: np.random.Generator, drawn_l: Floats, thermometer: Thermometer) -> Life:
    """Make a cylinder from which so many litres are drawn each hour."""
    hours = len(drawn_l)
    at = np.arange(hours)
    weather = np.cumsum(rng.normal(0.0, 0.12, hours))
    weather -= np.linspace(0.0, weather[-1], hours)
    room = 14.0 + rng.uniform(1.0, 3.0) * np.cos(2.0 * np.pi * (at - 15.0) / 24.0) + np.clip(weather, -5.0, 5.0)
    gas = np.empty(hours)
    gas[0] = room[0]
    keep = exp(-1.0)
    for hour in range(1, hours):
        gas[hour] = room[hour] + (gas[hour - 1] - room[hour]) * keep
    full = cylinder_moles(rng.uniform(11_000.0, 15_000.0), VOLUME_L, 15.0)
    mol = np.maximum(full - np.cumsum(drawn_l) / STANDARD_L_MOL, 0.5)
    zero, per_k = rng.normal(0.0, 40.0), rng.normal(0.0, 5.0)
    kpa = np.array([cylinder_pressure_kpa(float(mol[hour]), VOLUME_L, float(gas[hour])) for hour in at]) - AIR_KPA
    read = np.round((kpa + zero + per_k * (room - 14.0) + rng.normal(0.0, 4.0, hours)) / STEP_KPA) * STEP_KPA
    warmth = (gas if thermometer == "cylinder" else room) + rng.normal(0.0, 0.5) + rng.normal(0.0, 0.05, hours)
    points = [CylinderPoint(int(hour) * HOUR_MS, float(read[hour]), float(warmth[hour])) for hour in range(hours)]
    return Life(mol, points, CylinderFacts(NITROGEN, VOLUME_L, Gauge(resolution_kpa=STEP_KPA), thermometer))


def purges(rng: np.random.Generator, hours: int, every_days: float, litres: tuple[float, float]) -> Floats:
    """Litres that are drawn each hour by purges at random."""
    return np.where(rng.random(hours) < 1.0 / (24.0 * every_days), rng.uniform(*litres, hours), 0.0)


def unused(rng: np.random.Generator, cylinders: int, thermometer: Thermometer) -> None:
    """Print how often gas seems to be drawn from a cylinder that nobody uses."""
    seen = alarms = evenly = judgements = 0
    shortest = np.inf
    for _ in range(cylinders):
        one = life(rng, np.zeros(60 * 24), thermometer)
        uses = [one.judged(hour) for hour in range(8 * 24, 60 * 24, 12)]
        judgements += len(uses)
        seen += sum(use.use is not None and use.use.seen for use in uses)
        evenly += sum(use.even_loss is not None for use in uses)
        alarms += any(use.days_low is not None and use.days_low < 7.0 for use in uses)
        shortest = min([shortest, *(use.days_low for use in uses if use.days_low is not None)])
    print(
        f"  unused, {judgements} judgements: use seen in {seen / judgements:.1%}, an even loss in "
        f"{evenly / judgements:.1%}; alarms {alarms} of {cylinders}; lasts at least {shortest:.0f} days"
    )


def used(rng: np.random.Generator, cylinders: int, thermometer: Thermometer, kind: str) -> None:
    """Print how often the range of the days held what came, and how many days before the end the alarm came."""
    held_low = held_high = late = told = told_late = held_late = 0
    lead: list[float] = []
    for _ in range(cylinders):
        hours = 150 * 24
        even = rng.uniform(5.0, 40.0) / 24.0 if kind != "purges" else 0.0
        steps = purges(rng, hours, rng.uniform(3.0, 10.0), (30.0, 120.0)) if kind != "even" else np.zeros(hours)
        one = life(rng, even + steps, thermometer)
        end = int(one.hours_to(0, 1000.0))
        if end >= hours - 1:
            continue
        alarm = None
        for hour in range(8 * 24, end, 12):
            use = one.judged(hour)
            if use.days_low is None:
                continue
            told += 1
            lasted = use.days_low * 24.0 <= one.hours_to(hour, 500.0)
            held_low += lasted
            told_late += hour >= 28 * 24
            held_late += lasted and hour >= 28 * 24
            held_high += use.days_high is None or use.days_high * 24.0 >= one.hours_to(hour, 1000.0)
            if alarm is None and use.days_low < 7.0:
                alarm = hour
        if alarm is None or end - alarm < 48:
            late += 1
        if alarm is not None:
            lead.append((end - alarm) / 24.0)
    print(
        f"  {kind}, {told} judgements: lasted until the low end {held_low / told:.1%}, after four weeks of readings "
        f"{held_late / max(told_late, 1):.1%}; was over by the high end {held_high / told:.1%}; the alarm came "
        f"{np.median(lead):.1f} days before the end (5 % less than {np.quantile(lead, 0.05):.1f}), less than two days "
        f"in {late} of {len(lead)}"
    )


def leaking(rng: np.random.Generator, cylinders: int, thermometer: Thermometer, ml_min: float) -> None:
    """Print after how many hours a leak behind an open supply is seen as an even loss."""
    delays = []
    for _ in range(cylinders):
        begin = int(rng.integers(10 * 24, 20 * 24))
        drawn = np.full(begin + 30, rng.uniform(1.0, 4.0) / 24.0)
        drawn[begin:] += ml_min * 60.0 / 1000.0
        one = life(rng, drawn, thermometer)
        found = next((hour for hour in range(begin, begin + 30) if one.judged(hour).even_loss is not None), None)
        delays.append(np.inf if found is None else float(found - begin))
    late = sum(delay > 24.0 for delay in delays)
    print(
        f"  leak of {ml_min:g} mL a minute: found after {np.median(delays):.0f} hours (95 % within "
        f"{np.quantile(delays, 0.95):.0f}), not within a day {late} of {cylinders}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cylinders", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    thermometers: tuple[Thermometer, ...] = ("cylinder", "room")
    for thermometer in thermometers:
        print(f"thermometer: {thermometer}")
        rng = np.random.default_rng(options.seed)
        unused(rng, options.cylinders, thermometer)
        for kind in ("even", "purges", "both"):
            used(rng, options.cylinders, thermometer, kind)
        for ml_min in (50.0, 200.0, 1000.0):
            leaking(rng, options.cylinders, thermometer, ml_min)


if __name__ == "__main__":
    main()
