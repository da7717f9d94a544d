"""What a wine is expected to have after a dose: free, molecular and total SO2, each as a range.

    free = F + y D        molecular = f x free        total = T + D

F, T: free and total before [mg/L]; D: what the dose raises the total by [mg/L]; y: share that stays free; f: molecular
share by a model. A range is what 80 % of such wines are expected in: 1.28 standard uncertainties to either side, the
uncertainties combined as independent (JCGM 100, the GUM, 5.1.2), never below 0.
"""

from __future__ import annotations

__all__ = ["U_YIELD", "BeforeDose", "DoseOutlook", "ExpectedRange", "dose_outlook", "expected_keys", "usual_u_so2"]

from dataclasses import dataclass
from math import hypot
from typing import Final, NamedTuple

from alerts.wine.dose import USUAL_YIELD, YIELD_RANGE, Dose
from alerts.wine.molecular import FREE_SO2_RANGE, Pk, molecular_so2

# How far the yield of one addition may be from the usual, as a standard uncertainty: published shares of free in total
# go from 0.35 to 0.75 (Practical Winery & Vineyard, January 2014); a working default.
U_YIELD: Final = 0.15
# A careful titration (docs/chemistry.md): 1.5 mg/L or 5 %, whichever is more; a working default.
_U_SO2_MG_L: Final = 1.5
_U_SO2_SHARE: Final = 0.05
# 80 % of a normal distribution is within so many standard deviations.
_Z_80: Final = 1.2816


class ExpectedRange(NamedTuple):
    """What is expected [mg/L], with the ends of its 80 % range [mg/L]."""

    low_mg_l: float
    expected_mg_l: float
    high_mg_l: float

    @property
    def words(self) -> str:
        """Such as "40 mg/L (34 to 46)"; more digits for a small amount."""
        digits = 0 if self.high_mg_l >= 10.0 else 2
        low, expected, high = (f"{value:.{digits}f}" for value in self)
        return f"{expected} mg/L ({low} to {high})"


@dataclass(frozen=True, slots=True, kw_only=True)
class BeforeDose:
    """A wine before a dose; every u is a standard uncertainty.

    ph and pk: for molecular SO2, None where it is not wanted; total_mg_l: None where it is not known.
    """

    free_mg_l: float
    u_free_mg_l: float
    total_mg_l: float | None = None
    u_total_mg_l: float = 0.0
    ph: float | None = None
    u_ph: float = 0.0
    pk: Pk | None = None
    yield_share: float = USUAL_YIELD
    u_yield: float = U_YIELD


@dataclass(frozen=True, slots=True)
class DoseOutlook:
    """What a wine is expected to have after a dose; molecular and total None where they cannot be known.

    worst_free_mg_l, worst_molecular_mg_l: where all of the addition stays free [mg/L]. A total that is known is never
    expected below the free.
    """

    free: ExpectedRange
    molecular: ExpectedRange | None
    total: ExpectedRange | None
    worst_free_mg_l: float
    worst_molecular_mg_l: float | None


def expected_keys(name: str, expected: ExpectedRange | None) -> dict[str, float | None]:
    """Give an expected value [mg/L] and the ends of its range under their keys, as JSON answers have them."""
    low, middle, high = (None, None, None) if expected is None else expected
    return {
        f"{name}_after_mg_l": middle,
        f"{name}_after_low_80_mg_l": low,
        f"{name}_after_high_80_mg_l": high,
    }


def usual_u_so2(so2_mg_l: float) -> float:
    """Give the standard uncertainty of a careful titration [mg/L]."""
    return max(_U_SO2_MG_L, _U_SO2_SHARE * so2_mg_l)


def dose_outlook(before: BeforeDose, dose: Dose) -> DoseOutlook:
    """Work out what a wine is expected to have after a dose. Raises OutOfRange, as molecular SO2 and yields do."""
    yield_share = YIELD_RANGE.checked(before.yield_share)
    raised = dose.raise_total_mg_l
    free = FREE_SO2_RANGE.checked(before.free_mg_l) + yield_share * raised
    u_free = hypot(before.u_free_mg_l, raised * before.u_yield)
    molecular = worst = None
    if before.ph is not None and before.pk is not None:
        # The share is that of any amount; a worst case may be more than a wine can have.
        share = before.pk.fraction(before.ph)
        worst = share * (before.free_mg_l + raised)
        u_relative = molecular_so2(100.0, before.ph, before.pk, u_ph=before.u_ph).u_mg_l / (100.0 * share)
        molecular = _range(share * free, share * hypot(u_free, free * u_relative))
    total = None
    if before.total_mg_l is not None:
        total = _range(before.total_mg_l + raised, before.u_total_mg_l)
    return DoseOutlook(_range(free, u_free), molecular, total, before.free_mg_l + raised, worst)


def _range(expected: float, u: float) -> ExpectedRange:
    return ExpectedRange(max(0.0, expected - _Z_80 * u), expected, expected + _Z_80 * u)
