"""When the gauge will fall below the air floor: by a loss of gas, by the next cold, or by both."""

from __future__ import annotations

__all__ = ["GasNow", "HoursLeft", "gauge_at", "hours_left", "hours_of_cold"]

from typing import Final, NamedTuple

import numpy as np

from alerts.gas.blanket_columns import T0_K
from alerts.gas.blanket_facts import BlanketFacts, BlanketPoint
from alerts.gas.gas_ahead import LossWays, hours_of_courses
from alerts.gas.gases import kelvin
from alerts.gas.wine_tables import Floats, wine_tables

# By quarter hours for two days: tomorrow's cold is like today's; of later days nothing is known.
_HOURS: Final = np.arange(0.0, 48.25, 0.25)
# So many of the courses lie outside the range, on either side.
_OUTSIDE: Final = 1


class GasNow(NamedTuple):
    """The gas over a wine. reduced_kpa: dry, at T0 and the headspace of 20 °C; w: 1/V20 [1/L]; air_kpa: absolute."""

    reduced_kpa: float
    w: float
    air_kpa: float


class HoursLeft(NamedTuple):
    """Hours until the gauge falls below the air floor, None where that is not foreseen.

    low, high: by the loss of gas; cold: by the next cold alone, within two days.
    """

    low: float | None
    high: float | None
    cold: float | None


def gauge_at(gas: GasNow, celsius: Floats, facts: BlanketFacts, reduced_kpa: Floats | None = None) -> Floats:
    """Work out the gauge pressure [kPa] at temperatures, with what is dissolved staying so."""
    tables = wine_tables(facts.filling, facts.gas)
    reduced = gas.reduced_kpa if reduced_kpa is None else reduced_kpa
    room = np.maximum(1.0 + gas.w * tables.growth_at(celsius), 0.05)
    return np.asarray(reduced / room * (celsius + kelvin(0.0)) / T0_K + tables.vapour_at(celsius) - gas.air_kpa)


def hours_of_cold(gas: GasNow, facts: BlanketFacts, last_day_c: Floats, celsius: float) -> float | None:
    """Work out after how many hours the gauge is first below the air floor if the temperature goes on as in the last
    day and nothing is lost; None if that is not foreseen within two days.

    last_day_c: temperatures of the last 24 h [°C], evenly spaced; celsius: now.
    """
    phase = np.mod(_HOURS, 24.0) / 24.0 * len(last_day_c)
    later = np.interp(phase, np.arange(len(last_day_c) + 1.0), np.append(last_day_c, last_day_c[0]))
    later[0] = celsius
    gauge = gauge_at(gas, later, facts)
    below = np.flatnonzero(gauge < facts.floor_kpa)
    if not len(below):
        return None
    first = int(below[0])
    if first == 0:
        return 0.0
    share = (gauge[first - 1] - facts.floor_kpa) / (gauge[first - 1] - gauge[first])
    return float(_HOURS[first - 1] + share * (_HOURS[first] - _HOURS[first - 1]))


def hours_left(
    gas: GasNow,
    facts: BlanketFacts,
    ways: LossWays | None,
    last_day_c: Floats,
    last: BlanketPoint,
    leak_certain: bool,
) -> HoursLeft:
    """Work out when the gauge is below the air floor: the range in which 95 of 100 courses reach it.

    ways: None where no loss is to be counted on; last_day_c: temperatures of the last 24 h [°C], evenly spaced.
    """
    celsius = last.temperature_c
    cold = hours_of_cold(gas, facts, last_day_c, celsius)
    if last.pressure_kpa < facts.floor_kpa and leak_certain:
        return HoursLeft(0.0, 0.0, cold)
    if ways is None:
        return HoursLeft(None, None, cold)
    # The same pressure stands for less gas the smaller the headspace: of each way by its own.
    room = 1.0 + gas.w * wine_tables(facts.filling, facts.gas).growth_at(np.array([celsius]))
    hours = np.sort(hours_of_courses(gas.reduced_kpa / float(room[0]), gas.air_kpa, ways, facts, last_day_c, celsius))
    low, high = float(hours[_OUTSIDE]), float(hours[-1 - _OUTSIDE])
    return HoursLeft(low if np.isfinite(low) else None, high if np.isfinite(high) else None, cold)
