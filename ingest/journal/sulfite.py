"""The SO2 that an addition brings, by what was added. Pure arithmetic.

A metabisulfite gives two SO2: the mass fraction is 2 M(SO2) / M(salt), with M(SO2) = 64.06, M(K2S2O5) = 222.31 and
M(Na2S2O5) = 190.09 g/mol (IUPAC atomic masses). This is of fresh, dry salt and a fresh solution; both lose SO2 to the
air.

Worked example: 0.40 g of potassium metabisulfite: 0.40 x 0.576 = 0.23 g of SO2, in 16 L 14 mg/L.
"""

from __future__ import annotations

__all__ = ["SO2_PER_SALT", "so2_added_g"]

from typing import Final

from ingest.journal.treatments import AdditionBody

# g of SO2 in a g of salt.
SO2_PER_SALT: Final = {"potassium": 2.0 * 64.06 / 222.31, "sodium": 2.0 * 64.06 / 190.09}


def so2_added_g(addition: AdditionBody) -> float | None:
    """SO2 [g] that an addition brings; None where it brings none, or what is written does not say how much."""
    fraction = None if addition.salt is None else SO2_PER_SALT[addition.salt]
    if addition.form == "metabisulfite" and addition.mass_g is not None and fraction is not None:
        return addition.mass_g * fraction
    if addition.form == "stock solution" and addition.volume_ml is not None and fraction is not None:
        return addition.volume_ml / 100.0 * (addition.stock_g_per_100_ml or 0.0) * fraction
    if addition.form == "tablets" and addition.number is not None:
        return addition.number * (addition.label_so2_g or 0.0)
    if addition.form == "liquid" and addition.volume_ml is not None:
        return addition.volume_ml / 1000.0 * (addition.label_so2_g_l or 0.0)
    return None
