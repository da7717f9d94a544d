"""From what was read of a cylinder to the amounts that it held, with what they are uncertain by. Pure.

Two levels of a day are compared, so what counts is what differs between them: the gauge's resolution and repeatability,
and how well the gas's temperature is known. An error of the gauge that stays the same falls out of a difference; it
counts in the content itself.
"""

from __future__ import annotations

__all__ = [
    "USUAL_GAUGE",
    "CylinderFacts",
    "CylinderPoint",
    "Gauge",
    "Thermometer",
    "amounts_of",
    "reserve_mol",
    "weighed_amounts",
]

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from typing import Final, Literal, NamedTuple

import numpy as np

from alerts.errors import OutOfRange
from alerts.gas.cylinder import RESERVE_KPA, cylinder_content
from alerts.gas.cylinder_use import Amounts
from alerts.gas.gases import ASSUMED_C, ATMOSPHERE_KPA, BlanketGas

Thermometer = Literal["cylinder", "room", ""]
"""Where the temperature is from: a probe at the cylinder, one of its room, or nowhere."""

# What a temperature is off by: (from one day to another, altogether), as standard uncertainties [K]. A cylinder lags
# behind its room by about an hour, and its probe sits on steel. Unknown: a cellar within 8 K of the assumed temperature
# (working defaults, no source).
_U_TEMPERATURE_K: Final[dict[str, tuple[float, float]]] = {"cylinder": (0.3, 0.7), "room": (0.8, 1.5), "": (4.0, 5.0)}
# An electronic gauge of 0 to 25 MPa with an accuracy of 0.5 % of its span, as limits; it repeats to a fifth of that
# (common practice, no source).
_USUAL_SPAN_KPA: Final = 25_000.0
_ACCURACY: Final = 0.005
_REPEATS: Final = 0.001
# A dial of class 2.5 to 40 MPa is good to 1 MPa, and is read to about that.
_DIAL_KPA: Final = 1000.0
# An amount at which a regulator still holds its pressure: common practice, no source.
_RESERVE_KPA: Final = (500.0, RESERVE_KPA)
# A pressure below the air's is one that the gauge's zero is off by.
_LOWEST_KPA: Final = -100.0
# People read and weigh seldom.
_BY_HAND_DAYS: Final = (28.0, 120.0)


class CylinderPoint(NamedTuple):
    """Readings of one hour. at_ms: UTC ms; pressure_kpa: kPa gauge; temperature_c: °C, None where it is not known."""

    at_ms: int
    pressure_kpa: float
    temperature_c: float | None


@dataclass(frozen=True, slots=True)
class Gauge:
    """What a pressure gauge can tell apart.

    span_kpa: of its range; resolution_kpa: its step; by_hand: a dial that people read; u_read_kpa: standard uncertainty
    of a reading, where the person gave it.
    """

    span_kpa: float = _USUAL_SPAN_KPA
    resolution_kpa: float = 0.0
    by_hand: bool = False
    u_read_kpa: float | None = None

    @property
    def u_level_kpa(self) -> float:
        """Standard uncertainty of a level against another one: half a step either way, and how well it repeats."""
        if self.u_read_kpa is not None:
            return self.u_read_kpa
        return hypot(self._step_kpa / sqrt(12.0), _REPEATS * self.span_kpa)

    @property
    def u_kpa(self) -> float:
        """Standard uncertainty of a reading itself."""
        if self.u_read_kpa is not None:
            return self.u_read_kpa
        accuracy = _DIAL_KPA if self.by_hand else _ACCURACY * self.span_kpa
        return hypot(accuracy / sqrt(3.0), self._step_kpa / sqrt(12.0))

    @property
    def _step_kpa(self) -> float:
        return max(self.resolution_kpa, 2.0 * _DIAL_KPA if self.by_hand else 0.0)


USUAL_GAUGE: Final = Gauge()


@dataclass(frozen=True, slots=True)
class CylinderFacts:
    """What a cylinder is: its gas, its water volume [L], and what measures pressure and temperature."""

    gas: BlanketGas
    water_volume_l: float
    gauge: Gauge = USUAL_GAUGE
    thermometer: Thermometer = ""


def amounts_of(facts: CylinderFacts, points: Sequence[CylinderPoint]) -> Amounts | None:
    """Work out amounts [mol] from readings in the order of their times; None where none can be used.

    Readings without a temperature count with 15 °C where nothing measures it, and are left out otherwise; so are those
    beyond the tables, and of carbon dioxide those under which liquid may be.
    """
    times, amounts = [], []
    newest: tuple[float, float] | None = None
    for point in points:
        celsius = ASSUMED_C if not facts.thermometer else point.temperature_c
        mol = None if celsius is None else _mol(facts, point.pressure_kpa, celsius)
        if celsius is None or mol is None:
            continue
        times.append(point.at_ms)
        amounts.append(mol)
        newest = max(0.0, point.pressure_kpa), celsius
    if newest is None:
        return None
    by_day, altogether = _U_TEMPERATURE_K[facts.thermometer]
    mol = amounts[-1]
    per_kpa = mol / (newest[0] + ATMOSPHERE_KPA)
    colder = _mol(facts, newest[0], newest[1] - 1.0)
    per_k = 0.0 if colder is None else abs(colder - mol)
    return Amounts(
        np.array(times, np.int64),
        np.array(amounts),
        hypot(facts.gauge.u_level_kpa * per_kpa, by_day * per_k),
        hypot(facts.gauge.u_kpa * per_kpa, altogether * per_k),
        *([_BY_HAND_DAYS] if facts.gauge.by_hand else []),
    )


def weighed_amounts(gas: BlanketGas, weighings: Sequence[tuple[int, float]], u_kg: float) -> Amounts | None:
    """Make amounts [mol] of weighings (UTC ms, kg of gas) in the order of their times; u_kg: their standard
    uncertainty. None without one.
    """
    if not weighings:
        return None
    return Amounts(
        np.array([at_ms for at_ms, _ in weighings], np.int64),
        np.array([kg * gas.mol_per_kg for _, kg in weighings]),
        u_kg * gas.mol_per_kg,
        u_kg * gas.mol_per_kg,
        _BY_HAND_DAYS,
    )


def reserve_mol(facts: CylinderFacts, temperature_c: float | None) -> tuple[float, float]:
    """Work out what the cylinder holds [mol] at the lower and the higher pressure of the reserve."""
    celsius = ASSUMED_C if temperature_c is None else temperature_c
    low, high = (_mol(facts, pressure, celsius) for pressure in _RESERVE_KPA)
    return low or 0.0, high or 0.0


def _mol(facts: CylinderFacts, pressure_kpa: float, temperature_c: float) -> float | None:
    if pressure_kpa < _LOWEST_KPA:
        return None
    try:
        return cylinder_content(facts.gas, facts.water_volume_l, max(0.0, pressure_kpa), temperature_c).mol
    except OutOfRange:
        return None
