"""When the gauge will fall below the air floor: by a loss of gas, by the next cold, or by both."""

from __future__ import annotations

__all__ = ["GasNow", "HoursLeft", "gauge_at", "hours_left", "hours_to_floor"]

from typing import Final, Literal, NamedTuple

import numpy as np

from alerts.gas.blanket_columns import T0_K
from alerts.gas.blanket_facts import BlanketFacts, BlanketPoint
from alerts.gas.gases import kelvin
from alerts.gas.wine_tables import Floats, wine_tables

# By quarter hours for two days, then by ever longer steps up to some 400 days.
_HOURS: Final = np.concatenate([np.arange(0.0, 48.0, 0.25), np.geomspace(48.0, 10_000.0, 100)])

# Tomorrow's cold is like today's; of later days nothing is known.
_COLD_H: Final = 48.0


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


def hours_to_floor(
    gas: GasNow,
    facts: BlanketFacts,
    kappa: float,
    last_day_c: Floats,
    celsius: float,
    *,
    law: Literal["steady", "fading"] = "steady",
) -> float | None:
    """Work out after how many hours the gauge is first below the air floor, None if that is not foreseen.

    kappa: gas lost, kPa a day at T0 at the present pressure; law: with ``steady`` that stays so, and the temperature
    goes on as in the last day: the earliest time; with ``fading`` it falls with the pressure by viscous flow, (P² -
    P_air²), and the temperature stays: the latest. last_day_c: temperatures of the last 24 h, evenly spaced.
    """
    absolute = gas.reduced_kpa
    rest = gas.air_kpa
    over = (absolute - rest) / (absolute + rest)
    days = _HOURS / 24.0
    swing = 1.0 if law == "steady" else 0.0
    if law == "steady":
        reduced = np.maximum(absolute - kappa * days, 0.0)
    elif kappa > 0.0 and over > 0.0:
        speed = kappa / (absolute * absolute - rest * rest)
        ratio = over * np.exp(-2.0 * speed * rest * days)
        reduced = rest * (1.0 + ratio) / (1.0 - ratio)
    else:
        reduced = np.full_like(days, absolute)
    phase = np.mod(_HOURS, 24.0) / 24.0 * len(last_day_c)
    later = np.interp(phase, np.arange(len(last_day_c) + 1.0), np.append(last_day_c, last_day_c[0]))
    gauge = gauge_at(gas, celsius + swing * (later - celsius), facts, reduced)
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
    kappa: float,
    u_kappa: float,
    last_day_c: Floats,
    last: BlanketPoint,
    leak_certain: bool,
) -> HoursLeft:
    """Work out when the gauge is below the air floor: the range by twice the uncertainty of the loss [kPa a day at T0].

    kappa: 0 where no loss is to be counted on.
    """
    celsius = last.temperature_c
    cold = hours_to_floor(gas, facts, 0.0, last_day_c, celsius)
    if cold is not None and cold > _COLD_H:
        cold = None
    if last.pressure_kpa < facts.floor_kpa and leak_certain:
        return HoursLeft(0.0, 0.0, cold)
    if kappa == 0.0:
        return HoursLeft(None, None, cold)
    low = hours_to_floor(gas, facts, kappa + 2.0 * u_kappa, last_day_c, celsius, law="steady")
    high = None
    if kappa > 2.0 * u_kappa:
        high = hours_to_floor(gas, facts, kappa - 2.0 * u_kappa, last_day_c, celsius, law="fading")
    if low is not None and high is not None and low > high:
        low, high = high, low
    return HoursLeft(low, high, cold)
