"""Simulated instruments: what a probe makes of a true value, by its unit, noise, resolution and clock."""

from __future__ import annotations

__all__ = ["PER_OUR_UNIT", "Instrument", "Measured"]

from dataclasses import dataclass
from random import Random
from typing import Final, NamedTuple

PER_OUR_UNIT: Final = {
    "kPa": 1.0,
    "psi": 1.0 / 6.894757,
    "bar": 0.01,
    "hPa": 10.0,
    "degC": 1.0,
}
"""A probe's unit -> how many of it are one of ours (kPa, °C). psi: 6.894757 kPa, exact to the digits shown."""


class Measured(NamedTuple):
    """probe: its id; at_ms: UTC ms by the probe's own clock; number: in the probe's unit, as it is sent."""

    probe: str
    at_ms: int
    number: float


@dataclass(frozen=True, slots=True)
class Instrument:
    """One probe at one place.

    quantity: ``temperature``, ``pressure`` (gauge) or ``barometric_pressure`` (absolute); mounted: ``wine``, ``wall``
    or ``air`` for a temperature; unit: a key of ``PER_OUR_UNIT``; steps_per_unit: its resolution, 10 for one decimal,
    16 for sixteenths; noise_sd: in its own unit; every_ms: its interval; jitter_sd_ms: how irregular that is.
    """

    probe: str
    place: str
    quantity: str
    unit: str
    steps_per_unit: int
    noise_sd: float
    every_ms: int
    mounted: str = "wine"
    jitter_sd_ms: float = 50.0

    def number(self, value: float, random: Random) -> float:
        """Return what the instrument shows for a true value in our unit, with noise, rounded to its resolution.

        A whole count divided by the steps per unit is the nearest double to its decimal text: ``float(repr(n)) == n``.
        """
        shown = value * PER_OUR_UNIT[self.unit] + random.gauss(0.0, self.noise_sd)
        return round(shown * self.steps_per_unit) / self.steps_per_unit

    def lateness_ms(self, random: Random, every_ms: int) -> int:
        """Draw how far a reading is from its due time [ms]; at most 40 % of the interval, so that times increase."""
        bound = 0.4 * every_ms
        return round(max(-bound, min(bound, random.gauss(0.0, self.jitter_sd_ms))))
