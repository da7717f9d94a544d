"""A wine's pH with its uncertainty, and the free SO2 that a molecular limit means with it."""

from __future__ import annotations

__all__ = ["Acidity", "FreeLimit"]

from dataclasses import dataclass
from math import exp, hypot, log
from typing import Final, NamedTuple

from alerts.allowed_range import AllowedRange
from alerts.wine.molecular import PH_RANGE, TRADE_PK, USUAL_U_PH, Pk

_U_PH_RANGE: Final = AllowedRange("standard uncertainty of a pH", 0.0, 0.5, "", "meters have")
# A normal distribution as three of them, each narrower: their places and weights, and the standard deviation that is
# left to each, so that the three have mean 0 and variance 1 together.
_PLACES: Final = ((-1.2, 0.25), (0.0, 0.5), (1.2, 0.25))
_LEFT: Final = (1.0 - 0.5 * 1.2**2) ** 0.5
# Places of a normal quantity where a smooth curve is looked up, in standard deviations.
_LOOKED_UP: Final = tuple(0.4 * step for step in range(-7, 8))


class FreeLimit(NamedTuple):
    """A limit of free SO2 that is not known exactly: its weight, mean and standard deviation [mg/L]."""

    weight: float
    mg_l: float
    u_mg_l: float


@dataclass(frozen=True, slots=True)
class Acidity:
    """A wine's pH, its standard uncertainty (0 to 0.5), and the pK that its molecular SO2 is by.

    Raises OutOfRange for a pH that no wine has.
    """

    ph: float
    u_ph: float = USUAL_U_PH
    pk: Pk = TRADE_PK

    def __post_init__(self) -> None:
        PH_RANGE.checked(self.ph)
        _U_PH_RANGE.checked(self.u_ph)

    @property
    def _u(self) -> float:
        """Standard uncertainty of pH - pK, which is all that counts."""
        return hypot(self.u_ph, self.pk.u)

    def _fraction(self, away: float) -> float:
        """Molecular share of the free SO2 at a pH that is so many standard uncertainties away."""
        return self.pk.fraction(PH_RANGE.nearest(self.ph + away * self._u))

    def fractions(self) -> list[tuple[float, float]]:
        """Give molecular shares of the free SO2 and their weights, close enough together for a smooth curve."""
        weights = [exp(-0.5 * away * away) for away in _LOOKED_UP]
        return [(self._fraction(away), weight / sum(weights)) for away, weight in zip(_LOOKED_UP, weights, strict=True)]

    def free_limits(self, molecular_mg_l: float) -> list[FreeLimit]:
        """Give the free SO2 at which molecular SO2 is at a limit [mg/L, above 0], as three normals with weights.

        With f the molecular share, free = molecular / f has the relative uncertainty ln 10 x (1 - f) x u(pH).
        """
        limits = []
        for away, weight in _PLACES:
            fraction = self._fraction(away)
            free = molecular_mg_l / fraction
            limits.append(FreeLimit(weight, free, free * log(10.0) * (1.0 - fraction) * self._u * _LEFT))
        return limits
