"""Trials of cellars without a barometer: kegs in one room, of which one may leak, watched together."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from leak_scores import Outcome, outcome
from leak_trials import HEADSPACES_L, ROWS, WatchedKeg

from ingest.simulation.keg_trials.draw_kegs import draw_kegs, in_one_room
from ingest.simulation.keg_trials.keg import TrialKeg
from ingest.simulation.keg_trials.readings import read
from ingest.simulation.keg_trials.world import keg_truths

# What the gauges show of the weather goes from one watch to the others so often.
_HEARD_S: Final = 1200.0


@dataclass(frozen=True, slots=True)
class Cellar:
    """A cellar of a row: its first keg is one of the row, with that headspace; the others are tight, of all headspaces,
    and stand in the same room. seed and number draw it; kegs: how many in all.
    """

    row: str
    headspace_l: float
    number: int
    seed: int
    kegs: int
    days: float | None = None
    every_s: float = 600.0


def run_cellar(cellar: Cellar) -> list[Outcome]:
    """Watch all kegs of a cellar together, and score each; the first is the row's."""
    row = ROWS[cellar.row]
    truths = keg_truths(cellar_kegs(cellar), cellar.days or row.kind.days)
    readings = read(truths)
    watched = [
        WatchedKeg(readings, column, every_s=cellar.every_s, minutely=row.minutely, journal=False)
        for column in range(cellar.kegs)
    ]
    step_s = float(truths.at_s[1] - truths.at_s[0])
    for step in range(len(readings.at_ms)):
        for each in watched:
            each.take(step)
        if step * step_s % _HEARD_S == 0.0:
            shown = [(each, each.watch.air_witness()) for each in watched]
            for each in watched:
                each.watch.hear([other for by, other in shown if other is not None and by is not each])
    return [
        outcome(cellar.number * cellar.kegs + column, truths, column, each.trace) for column, each in enumerate(watched)
    ]


def cellar_kegs(cellar: Cellar) -> list[TrialKeg]:
    """Draw the kegs of a cellar."""
    kind = ROWS[cellar.row].kind
    kind = replace(kind, headspace_l=cellar.headspace_l, days=cellar.days or kind.days, barometer=(False,))
    seed = cellar.seed + 1_000_000 * list(ROWS).index(cellar.row)
    kegs = draw_kegs(kind, 1, seed=seed, first=cellar.number)
    tight = replace(ROWS["tight"].kind, days=kind.days, barometer=(False,))
    for place in range(1, cellar.kegs):
        beside = replace(tight, headspace_l=HEADSPACES_L[(cellar.number + place) % len(HEADSPACES_L)])
        kegs += draw_kegs(beside, 1, seed=seed + 500_000 + place, first=cellar.number)
    return in_one_room(kegs)
