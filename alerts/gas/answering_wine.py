"""How wine that holds much gas answers a change of what lies over it.

Under carbon dioxide a litre of wine holds as much gas as a litre of headspace, so the wine sets the pressure. What was
measured of the pressure then says little of what the wine has taken up: over half a litre of headspace an error of 1
kPa counts like 30 kPa of gas in the wine. So the columns of the fits, in which the uptake follows from the measured
pressure, are put in terms of the pressure that wine and headspace settle at together:

    A u = x, with A = 1 + w R T0 V_wine F(H T / T0)    so that    u = A^-1 x + noise

F makes of a pull what the wine has taken up by then (``blanket_columns``), and is linear; x stands for any column.
"""

from __future__ import annotations

__all__ = ["answers_of_wine", "pull_of", "with_off_wall"]

from typing import Final

import numpy as np

from alerts.gas.blanket_columns import RT0, SETTLING, T0_K, TAUS_D, BlanketColumns, taken_up
from alerts.gas.blanket_facts import BlanketFacts
from alerts.gas.gases import kelvin
from alerts.gas.wine_tables import Floats, wine_tables

# How far the wine is from the wall's temperature, away from the room's, as a share of the difference of wall and room:
# a probe at the wall is 0.1 to 0.35 of the way from the wine to the room (this project's guess).
_OFF_WALL: Final = (0.3, 0.15)


def answers_of_wine(columns: BlanketColumns, facts: BlanketFacts, w: float) -> Floats | None:
    """Make the inverse of A by hypothesis of settling: (hypotheses, bins, bins); None for gases that wine holds little
    of, where the measured pressure will do. w: 1/V20 as believed [1/L].
    """
    if facts.gas.name != "carbon dioxide":
        return None
    days = columns.days
    # What the wine takes from the headspace for good, over what stays there.
    more = w * RT0 * facts.filling.wine_l * pull_of(columns, facts, np.ones_like(days))
    one = np.eye(len(days))
    still = SETTLING[1 + len(TAUS_D) :]
    taken = np.tensordot(still, np.array([_taken_by(days, tau) for tau in TAUS_D]), axes=1)
    return np.concatenate([one[None], one - _stirred(days, more), np.linalg.inv(one + taken * more)])


def pull_of(columns: BlanketColumns, facts: BlanketFacts, reduced_kpa: Floats) -> Floats:
    """Work out what wine holds that is saturated under a pressure at T0 in each bin [mol/L]."""
    solubility = wine_tables(facts.filling, facts.gas).solubility_at(columns.celsius)
    return np.asarray(solubility * reduced_kpa * (columns.celsius + kelvin(0.0)) / T0_K)


def with_off_wall(
    design: Floats, mean: Floats, precision: Floats, columns: BlanketColumns, facts: BlanketFacts, w: float
) -> tuple[Floats, Floats, Floats]:
    """Add how far the wine is from the wall's temperature to the parameters, where the probe is at the wall.

    design: (hypotheses, bins, parameters), not yet put in terms of the pressure; mean, precision: of all parameters but
    the first; w: 1/V20 as believed [1/L].
    """
    if facts.mounted != "wall":
        return design, mean, precision
    count = mean.shape[1]
    column = -w * _uptake_off_wall(columns, facts)
    design = np.concatenate([design, column[:, :, None]], axis=2)
    mean = np.concatenate([mean, np.full((len(mean), 1), _OFF_WALL[0])], axis=1)
    wider = np.zeros((len(precision), count + 1, count + 1))
    wider[:, :count, :count] = precision
    wider[:, count, count] = _OFF_WALL[1] ** -2.0
    return design, mean, wider


def _uptake_off_wall(columns: BlanketColumns, facts: BlanketFacts) -> Floats:
    """What the wine takes up more if it is off the wall's temperature by as much as the wall is off the room's, on the
    other side: (hypotheses, bins) [kPa L].
    """
    tables, warm = wine_tables(facts.filling, facts.gas), columns.celsius + kelvin(0.0)
    lead = columns.gas * warm / columns.reduced
    pull = tables.solubility_at(columns.celsius) * columns.dry * facts.gas.solubility_slope_k / warm**2 * lead
    return taken_up(columns.days, pull, facts)


def _stirred(days: Floats, more: Floats) -> Floats:
    """What the wine takes up by each bin (rows) of a column, while the pressure follows: by time constant.

    The amount in the wine nears that of equilibrium, (1 + more) times as fast as under a pressure that is held; what
    that is changes evenly within each step.
    """
    share = more / (1.0 + more)
    taken = np.zeros((len(TAUS_D), len(days), len(days)))
    # Of a time constant: how many of them a step has, what is left after it, and the mean of what is left within it.
    spans = np.diff(days) * (1.0 + 0.5 * (more[1:] + more[:-1])) / TAUS_D[:, None]
    left = np.exp(-spans)
    mean = (1.0 - left) / spans
    for i in range(1, len(days)):
        taken[:, i] = left[:, i - 1, None] * taken[:, i - 1]
        taken[:, i, i - 1] += (mean[:, i - 1] - left[:, i - 1]) * share[i - 1]
        taken[:, i, i] = (1.0 - mean[:, i - 1]) * share[i]
    return taken


def _taken_by(days: Floats, tau_d: float) -> Floats:
    """F for one time constant: (bins, bins), each row what a pull of 1 in each bin has made the wine take up by then.

    As ``blanket_columns`` follows a pull that is steady over each step at the mean of its ends.
    """
    grown = np.exp((days - days[-1]) / tau_d)
    steps = 0.5 * np.diff(grown)
    summed = np.tril(np.tile(np.concatenate([[0.0], steps]), (len(days), 1)))
    summed[:, :-1] += np.tril(np.tile(steps, (len(days), 1)), -1)
    return np.asarray(summed / grown[:, None])
