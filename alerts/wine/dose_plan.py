"""Whether a dose is wise: what it would be at worst, to what it is cut, and what a person should know before adding it.

The worst case is that all of it stays free. Then free SO2, molecular SO2 and the legal total must stay at or below
their ceilings; a dose that would pass one is cut to it. Molecular SO2 is held against its ceiling by the trade's model,
whichever model the target is in.
"""

from __future__ import annotations

__all__ = ["Ceiling", "DosePlan", "ceilings", "plan_dose"]

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from alerts.errors import OutOfRange
from alerts.wine.dose import LOW_FREE_YIELD, Dose
from alerts.wine.dose_outlook import BeforeDose
from alerts.wine.legal import LegalLimit
from alerts.wine.molecular import TRADE_PK
from alerts.wine.remarks import too_much_free
from alerts.wine.targets import SENSORY_MOLECULAR_MG_L, SENSORY_TOTAL_MG_L, most_free_mg_l
from ingest.journal.kinds.addition import MOST_STOCK_G_PER_100_ML
from ingest.journal.titration import Style

# With less free SO2 than this an addition may vanish into acetaldehyde (Blouin, Pratique raisonnee du SO2; the figure
# is this project's reading of its binding curves).
_LOW_FREE_MG_L: Final = 10.0
# Doses beyond these are unusual, and hardly ever meant; choices of this project [mg/L, as a raise of the total].
_USUAL_DOSE_MG_L: Final = 60.0
_MOST_DOSE_MG_L: Final = 150.0
# Mass shares of SO2 that salts on sale have: an old potassium salt to a fresh sodium salt.
_USUAL_FRACTION: Final = (0.48, 0.68)
_ROUNDING_MG_L: Final = 1e-9


class Ceiling(NamedTuple):
    """What must not be passed even if all of a dose stays free.

    room_mg_l: by how much the total may rise at most [mg/L], below 0 where it is passed already; words: what it is;
    is_legal: the law's, which counts all of a dose, whether it stays free or not.
    """

    room_mg_l: float
    words: str
    is_legal: bool = False


@dataclass(frozen=True, slots=True)
class DosePlan:
    """A dose that was asked for, and what becomes of it.

    largest: the largest dose that passes no ceiling; advised: the dose that was asked for, or the largest if that is
    less; cut_by: the ceiling it was cut to, None where it was not; remarks: what a person should know, the gravest
    first.
    """

    asked: Dose
    largest: Dose
    advised: Dose
    cut_by: Ceiling | None
    remarks: tuple[str, ...]


def ceilings(before: BeforeDose, style: Style | None = None, legal: LegalLimit | None = None) -> tuple[Ceiling, ...]:
    """List what a dose must not pass: the nose's ceilings, and the law's where the total is known."""
    most_free = most_free_mg_l(style)
    found = [Ceiling(most_free - before.free_mg_l, f"{most_free:g} mg/L free, above which it is smelled")]
    if before.ph is not None:
        found.append(
            Ceiling(
                SENSORY_MOLECULAR_MG_L / TRADE_PK.fraction(before.ph) - before.free_mg_l,
                f"{SENSORY_MOLECULAR_MG_L:g} mg/L molecular ({TRADE_PK.name}), above which it is smelled",
            )
        )
    if legal is not None and before.total_mg_l is not None:
        found.append(
            Ceiling(
                legal.total_mg_l - before.total_mg_l,
                f"the legal limit of {legal.total_mg_l:g} mg/L total ({legal.rules.name}, {legal.wine})",
                is_legal=True,
            )
        )
    return tuple(found)


def plan_dose(
    before: BeforeDose,
    asked: Dose,
    to_free_mg_l: float,
    *,
    style: Style | None = None,
    legal: LegalLimit | None = None,
    is_cut: bool = False,
) -> DosePlan:
    """Judge a dose that is to bring free SO2 to a target [mg/L]; style None: not known.

    is_cut: a dose that passes a ceiling will not be added as asked, so that what else there is to know is of the rest.
    Raises OutOfRange where the total before is below the free.
    """
    if before.total_mg_l is not None and before.total_mg_l < before.free_mg_l:
        raise OutOfRange(
            "total SO2",
            f"{before.free_mg_l:g} mg/L free SO2 is more than {before.total_mg_l:g} mg/L total; free is a part of the "
            "total: look at both, and where they differ by no more than they repeat to, take them as equal",
        )
    lowest = min(ceilings(before, style, legal))
    largest = Dose(asked.volume_l, max(0.0, lowest.room_mg_l), asked.product)
    cut = asked.raise_total_mg_l > largest.raise_total_mg_l + _ROUNDING_MG_L
    advised = largest if cut else asked
    given = advised if is_cut else asked
    remarks = [
        *too_much_free(to_free_mg_l, before.ph, before.pk or TRADE_PK, style),
        *(_cut(before, asked, largest, lowest) if cut else ()),
        *_binding(before),
        *_taste(before, given),
        *_unusual(given),
    ]
    return DosePlan(asked, largest, advised, lowest if cut else None, tuple(remarks))


def _cut(before: BeforeDose, asked: Dose, largest: Dose, ceiling: Ceiling) -> Sequence[str]:
    if ceiling.is_legal and before.total_mg_l is not None:
        after = before.total_mg_l + asked.raise_total_mg_l
        most = f"add at most {largest.metabisulfite_g:.3g} g, and no more after it"
        advice = "add nothing" if largest.raise_total_mg_l == 0.0 else most
        return (f"total SO2 would come to {after:.0f} mg/L, and pass {ceiling.words}: {advice}",)
    worst = before.free_mg_l + asked.raise_total_mg_l
    total = "" if before.total_mg_l is None else f", total {before.total_mg_l + asked.raise_total_mg_l:.0f}"
    passed = f"if all of it stayed free, free SO2 would come to {worst:.0f} mg/L{total}, and pass {ceiling.words}"
    if largest.raise_total_mg_l == 0.0:
        return (f"{passed}: add nothing",)
    return (f"{passed}: add at most {largest.metabisulfite_g:.3g} g at once, mix, and titrate after a day",)


def _binding(before: BeforeDose) -> Sequence[str]:
    if before.free_mg_l >= _LOW_FREE_MG_L or before.yield_share <= LOW_FREE_YIELD:
        return ()
    return (
        f"below {_LOW_FREE_MG_L:g} mg/L free the wine may bind half of an addition or all of it, so expect less than a "
        f"yield of {before.yield_share:.2g}; titrate after a day",
    )


def _taste(before: BeforeDose, asked: Dose) -> Sequence[str]:
    if before.total_mg_l is None or asked.raise_total_mg_l == 0.0:
        return ()
    after = before.total_mg_l + asked.raise_total_mg_l
    if after < SENSORY_TOTAL_MG_L:
        return ()
    return (f"total SO2 comes to {after:.0f} mg/L; from {SENSORY_TOTAL_MG_L:g} on table wine can taste of it",)


def _unusual(asked: Dose) -> Sequence[str]:
    remarks = []
    raised, product = asked.raise_total_mg_l, asked.product
    if raised > _USUAL_DOSE_MG_L:
        how = "hardly ever meant" if raised > _MOST_DOSE_MG_L else "unusual"
        remarks.append(
            f"{raised:.0f} mg/L at once is {how}, doses are 5 to {_USUAL_DOSE_MG_L:g}: look at volume and target"
        )
    if not _USUAL_FRACTION[0] <= product.so2_fraction <= _USUAL_FRACTION[1]:
        remarks.append(
            f"a salt with {100.0 * product.so2_fraction:.3g} % SO2 is unusual: potassium metabisulfite has 57.6 % when "
            "fresh and some 50 % when old, the sodium salt 67.4 %"
        )
    most = MOST_STOCK_G_PER_100_ML["potassium"]
    if product.stock_g_per_100_ml is not None and product.stock_g_per_100_ml > most:
        remarks.append(
            f"{product.stock_g_per_100_ml:g} g of potassium metabisulfite in 100 mL do not dissolve, some {most:g} g "
            "at most do: look at the strength"
        )
    return remarks
