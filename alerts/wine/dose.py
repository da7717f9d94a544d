"""A dose of metabisulfite: grams of salt or millilitres of stock solution, and what can be weighed or pipetted of it.

    raise of total = raise of free / y                          [mg/L]
    m = V x raise of total / (1000 w)                           [g]
    stock = 100 m / c                                           [mL]

V: wine [L]; y: share of an addition that stays free; w: mass of SO2 in a mass of the salt; c: salt made up to 100 mL of
solution [g]. The change of the wine's own volume is left out: 10 mL in 19 L are 0.05 %.

w is 2 x 64.06 / 222.31 = 0.576 for fresh potassium metabisulfite (IUPAC atomic masses), 0.674 for the sodium salt, and
about 0.5 for an old or damp one (common practice, no source). y is two thirds where free SO2 is left in the wine
(Central Texas Wine Guild; handbooks, from memory), a half or less where little is.

Worked example: 5 US gallons (18.93 L), 1 g: 1000 x 0.576 x 1 / 18.93 = 30.4 mg/L total, of which two thirds, 20 mg/L,
stay free. Of a solution of 20 g made up to 100 mL, 1 g is 5 mL.
"""

from __future__ import annotations

__all__ = [
    "LITTLE_FREE_MG_L",
    "LOW_FREE_YIELD",
    "SO2_FRACTION",
    "USUAL_YIELD",
    "YIELD_RANGE",
    "YIELD_WITH_LITTLE",
    "Dose",
    "MeasuredOut",
    "Product",
    "dose_between",
    "measured_out",
    "raise_of_total",
    "yield_with",
]

import math
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

from alerts.allowed_range import AllowedRange
from alerts.errors import OutOfRange
from alerts.wine.molecular import FREE_SO2_RANGE

SO2_FRACTION: Final = 0.576
USUAL_YIELD: Final = 2.0 / 3.0
LOW_FREE_YIELD: Final = 0.5
# Where less is free than this [mg/L] the first of an addition binds; where nothing is, this part of the usual yield is
# left, which makes one half of two thirds (handbooks, from memory).
LITTLE_FREE_MG_L: Final = 10.0
YIELD_WITH_LITTLE: Final = 0.75

# Choices of this project, wide on purpose: from a test tube to more than any winery's tank.
_VOLUME: Final = AllowedRange("volume", 0.001, 100_000.0, "L", "allowed are")
# All of a salt cannot be SO2, and a hundredth would be sand.
_FRACTION: Final = AllowedRange("SO2 fraction", 0.01, 1.0, "", "allowed are")
YIELD_RANGE: Final = AllowedRange("yield", 0.01, 1.0, "", "the share that stays free goes")
_STOCK: Final = AllowedRange("stock", 0.01, 100.0, "g/100 mL", "allowed are")
_STEP: Final = AllowedRange("step", 1e-4, 100.0, "", "allowed are")


@dataclass(frozen=True, slots=True)
class Product:
    """What is added: its mass share of SO2, and the strength of its stock solution [g made up to 100 mL], None without.

    Raises OutOfRange for a share outside 0.01 to 1, and for a strength outside 0.01 to 100.
    """

    so2_fraction: float = SO2_FRACTION
    stock_g_per_100_ml: float | None = None

    def __post_init__(self) -> None:
        _FRACTION.checked(self.so2_fraction)
        if self.stock_g_per_100_ml is not None:
            _STOCK.checked(self.stock_g_per_100_ml)


@dataclass(frozen=True, slots=True)
class Dose:
    """So much SO2 that the total of a wine rises by raise_total_mg_l [mg/L] in volume_l [L]. Raises OutOfRange."""

    volume_l: float
    raise_total_mg_l: float
    product: Product = Product()

    def __post_init__(self) -> None:
        _VOLUME.checked(self.volume_l)
        if not (math.isfinite(self.raise_total_mg_l) and self.raise_total_mg_l >= 0.0):
            raise OutOfRange("dose", f"a dose cannot raise the total by {self.raise_total_mg_l:g} mg/L; 0 or more can")

    @property
    def metabisulfite_g(self) -> float:
        """Salt [g]."""
        return self.volume_l * self.raise_total_mg_l / (1000.0 * self.product.so2_fraction)

    @property
    def stock_ml(self) -> float | None:
        """Stock solution [mL]; None where none is used."""
        stock = self.product.stock_g_per_100_ml
        return None if stock is None else 100.0 * self.metabisulfite_g / stock


def raise_of_total(raise_free_mg_l: float, yield_share: float) -> float:
    """Work out by how much total SO2 rises [mg/L] where free is to rise by so much [mg/L]. Raises OutOfRange."""
    return raise_free_mg_l / YIELD_RANGE.checked(yield_share)


def yield_with(free_mg_l: float, yield_share: float) -> float:
    """Give the share of an addition that stays free in a wine with so much free SO2 [mg/L].

    yield_share: the share where enough is free.
    """
    little = min(max(1.0 - free_mg_l / LITTLE_FREE_MG_L, 0.0), 1.0)
    return yield_share * (1.0 - (1.0 - YIELD_WITH_LITTLE) * little)


def dose_between(
    volume_l: float,
    from_free_mg_l: float,
    to_free_mg_l: float,
    yield_share: float = USUAL_YIELD,
    product: Product | None = None,
) -> Dose:
    """Work out the dose that brings free SO2 from one value to another [mg/L, 0 to 400].

    yield_share: 0.01 to 1, the share of the addition that stays free. Raises OutOfRange, also for a target below what
    is there: nothing that is added lowers it.
    """
    present, target = FREE_SO2_RANGE.checked(from_free_mg_l), FREE_SO2_RANGE.checked(to_free_mg_l)
    if target < present:
        raise OutOfRange(
            "target",
            f"the target of {target:.4g} mg/L free SO2 is below the {present:.4g} mg/L that the wine has; an addition "
            "only raises it, so nothing is to be added",
        )
    return Dose(volume_l, raise_of_total(target - present, yield_share), product or Product())


class MeasuredOut(NamedTuple):
    """A dose as it can be weighed or pipetted.

    amount: in steps of ``step``, both in ``unit``; off_mg_l: by how much that changes the raise of the total [mg/L];
    doubt: how far half a step is off, as a share of the dose.
    """

    amount: float
    step: float
    unit: Literal["g", "mL"]
    off_mg_l: float
    doubt: float

    @property
    def words(self) -> str:
        """The amount with as many digits as the step has, such as "0.66 g"."""
        digits = max(0, -math.floor(math.log10(self.step) + 1e-9))
        return f"{self.amount:.{digits}f} {self.unit}"


def measured_out(dose: Dose, unit: Literal["g", "mL"], step: float, *, down: bool = False) -> MeasuredOut:
    """Round a dose to what a balance [step in g] or a pipette [step in mL] can measure, to the nearest step or down.

    unit "mL" needs a product with a stock solution. Raises OutOfRange for a step outside 0.0001 to 100.
    """
    _STEP.checked(step)
    exact = dose.metabisulfite_g if unit == "g" else dose.stock_ml
    if exact is None:
        raise OutOfRange("stock", "without the strength of a stock solution there is no volume of it")
    # A dose of whole steps may be a hair below one.
    steps = math.floor(exact / step + 1e-9) if down else math.floor(exact / step + 0.5)
    amount = steps * step
    if exact == 0.0:
        return MeasuredOut(0.0, step, unit, 0.0, 0.0)
    return MeasuredOut(amount, step, unit, dose.raise_total_mg_l * (amount / exact - 1.0), step / 2.0 / exact)
