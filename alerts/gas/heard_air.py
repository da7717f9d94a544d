"""The weather between one vessel's watch and the others': what its gauge may show them, and what it hears of theirs."""

from __future__ import annotations

__all__ = ["HeardAir", "may_witness"]

from collections.abc import Sequence
from typing import Final

from alerts.gas.blanket_facts import BlanketFacts
from alerts.gas.common_air import AirWitness, CommonAir, common_air
from alerts.gas.fitted_blanket import FittedBlanket
from alerts.gas.wine_tables import Floats

# From so many days on a vessel's gauge shows others the weather, as long as no more speaks for a leak or a gain.
_LEAST_DAYS: Final = 1.0
_MOST_BETTER: Final = 9.0
# An open vessel's gauge stays near 0, whatever the weather does.
_LEAST_KPA: Final = 2.0


class HeardAir:
    """What other vessels' gauges show of the weather, and the vessel's own showing, kept as long as its fit."""

    def __init__(self) -> None:
        self._witnesses: tuple[AirWitness, ...] = ()
        self._own: AirWitness | None = None
        self._own_of: FittedBlanket | None = None

    def hear(self, witnesses: Sequence[AirWitness]) -> None:
        """Take what others show now."""
        self._witnesses = tuple(witnesses)

    def common(self, at_ms: Floats) -> CommonAir | None:
        """Work out the air's pressure at the times of bins (UTC ms); None where too few others show it."""
        return common_air(self._witnesses, at_ms) if self._witnesses else None

    def own(self, fitted: FittedBlanket, facts: BlanketFacts) -> AirWitness:
        """Make what the vessel shows others, once for each fit."""
        if self._own is None or self._own_of is not fitted:
            self._own, self._own_of = fitted.air_witness(facts.station_kpa), fitted
        return self._own


def may_witness(fitted: FittedBlanket, pressure_kpa: float) -> bool:
    """Whether nothing but the weather, dissolving and temperature seems to move the gauge. pressure_kpa: gauge now."""
    if fitted.is_held or fitted.days < _LEAST_DAYS or pressure_kpa < _LEAST_KPA:
        return False
    return max(fitted.leak.better, fitted.gain.better) <= _MOST_BETTER
