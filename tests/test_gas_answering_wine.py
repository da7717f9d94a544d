"""Wine under carbon dioxide answers what changes over it: against the differential equation, solved in small steps."""

from __future__ import annotations

import numpy as np
import pytest

from alerts.gas.answering_wine import answers_of_wine
from alerts.gas.blanket import Filling
from alerts.gas.blanket_bins import BinArrays
from alerts.gas.blanket_columns import RT0, T0_K, TAUS_D, BlanketColumns, blanket_columns
from alerts.gas.blanket_facts import BlanketFacts
from alerts.gas.gases import blanket_gas, kelvin
from alerts.gas.wine_tables import Floats, wine_tables

KEG = Filling(19.0, 18.0, 12.0, "steel")
DAY_MS = 86_400_000.0


def columns_of(facts: BlanketFacts) -> BlanketColumns:
    """Three days of nights 6 K colder, as bins of 20 minutes after bins of an hour."""
    days = np.concatenate([np.arange(0.0, 2.5, 1.0 / 24.0), np.arange(2.5, 3.0, 1.0 / 72.0)])
    celsius = 13.0 + 3.0 * np.sin(2.0 * np.pi * days)
    nothing = np.full_like(days, np.nan)
    kpa = np.full_like(days, 40.0)
    return blanket_columns(BinArrays(days * DAY_MS, kpa, celsius, nothing, nothing, nothing, 0.0 * days), facts)


def slowly_answered(columns: BlanketColumns, facts: BlanketFacts, x: Floats, w: float, tau_d: float) -> Floats:
    """Solve u = x - w R T0 V q, tau q' = H T / T0 u - q in steps of 20 s."""
    days = np.arange(0.0, float(columns.days[-1]), 20.0 / 86_400.0)
    fine = np.interp(days, columns.days, x)
    celsius = np.interp(days, columns.days, columns.celsius)
    pull = wine_tables(facts.filling, facts.gas).solubility_at(celsius) * (celsius + kelvin(0.0)) / T0_K
    u, q = np.empty_like(days), 0.0
    for i in range(len(days)):
        u[i] = fine[i] - w * RT0 * facts.filling.wine_l * q
        q += (pull[i] * u[i] - q) * (days[1] - days[0]) / tau_d
    return np.interp(columns.days, days, u)


@pytest.mark.parametrize("w", [0.1, 1.0, 2.0])
@pytest.mark.parametrize("tau", [0, 2, 5])
def test_wine_that_is_stirred_answers_as_the_differential_equation_says(tau: int, w: float) -> None:
    facts = BlanketFacts(KEG, blanket_gas("carbon dioxide"))
    columns = columns_of(facts)
    answers = answers_of_wine(columns, facts, w)
    assert answers is not None
    for x in (np.ones_like(columns.days), np.clip(columns.days - 1.0, 0.0, 1.0), np.sin(2.0 * np.pi * columns.days)):
        slowly = slowly_answered(columns, facts, x, w, float(TAUS_D[tau]))
        assert answers[1 + tau] @ x == pytest.approx(slowly, abs=0.05 * float(np.abs(x).max()))


def test_wine_that_dissolves_nothing_answers_nothing_and_slow_wine_less_than_quick_wine() -> None:
    facts = BlanketFacts(KEG, blanket_gas("carbon dioxide"))
    answers = answers_of_wine(columns_of(facts), facts, 1.0)
    assert answers is not None
    last = answers.sum(axis=2)[:, -1]
    assert last[0] == 1.0
    assert last[1] < 0.06
    assert (np.diff(last[6 : 1 + len(TAUS_D)]) > 0.0).all()
    # Two kinds of still wine, the second five times as fast.
    assert 0.0 < last[-1] < last[-2] < 1.0


@pytest.mark.parametrize("gas", ["nitrogen", "argon"])
def test_of_other_gases_the_measured_pressure_will_do(gas: str) -> None:
    facts = BlanketFacts(KEG, blanket_gas(gas))
    assert answers_of_wine(columns_of(facts), facts, 1.0) is None
