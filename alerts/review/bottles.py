"""How many bottles the wine fills.

At best every litre: V / size, rounded down. Expected is a part less, for lees, hoses and what foams over: 3 % (common
practice, no source), and down by two standard uncertainties of the volume.
"""

from __future__ import annotations

__all__ = ["BottleCounts", "bottles_section", "expected_bottles"]

from collections.abc import Sequence
from math import floor
from typing import Final, NamedTuple

from alerts.allowed_range import AllowedRange
from alerts.errors import OutOfRange
from alerts.review.section import ReviewSection, ReviewVerdict
from alerts.review.vessel_facts import BottlingWish, VesselFacts
from alerts.view.format import counted
from ingest.journal.vessel_state import liters

_LOST: Final = 0.03
SIZE_RANGE: Final = AllowedRange("bottle", 0.05, 30.0, "L", "bottles hold")
_MOST_SIZES: Final = 6
# A number that is whole but for rounding is whole.
_ROUNDING: Final = 1e-9


class BottleCounts(NamedTuple):
    """Bottles of one size [L]: how many are expected, and at best if nothing is lost."""

    size_l: float
    expected: int
    at_best: int


def expected_bottles(volume_l: float, u_volume_l: float, sizes_l: Sequence[float]) -> list[BottleCounts]:
    """Work out how many bottles of each size the wine fills, if all of it goes into that size.

    Raises OutOfRange for a size that no bottle has, and for too many of them.
    """
    if not 1 <= len(sizes_l) <= _MOST_SIZES:
        raise OutOfRange("bottle", f"{len(sizes_l)} sizes of bottles were given; allowed are 1 to {_MOST_SIZES}")
    sure_l = max(0.0, (1.0 - _LOST) * volume_l - 2.0 * u_volume_l)
    return [
        BottleCounts(
            size_l, floor(sure_l / SIZE_RANGE.checked(size_l) + _ROUNDING), floor(volume_l / size_l + _ROUNDING)
        )
        for size_l in sorted(sizes_l, reverse=True)
    ]


def bottles_section(facts: VesselFacts, volume_l: float | None, wish: BottlingWish) -> ReviewSection:
    """Say how many bottles to have ready; volume_l: what is bottled, None where nobody knows. Raises OutOfRange."""
    expected = expected_bottles(volume_l or 0.0, facts.contents.u_volume_l or 0.0, wish.bottle_l)
    numbers: dict[str, object] = {
        "volume_l": volume_l,
        "u_volume_l": facts.contents.u_volume_l,
        "bottles": [{"size_l": size_l, "expected": count, "at_best": best} for size_l, count, best in expected]
        if volume_l is not None
        else [],
    }
    if volume_l is None:
        reason = f"The journal does not say how much wine {facts.vessel} holds: weigh or dip it, or give --volume-l."
        return ReviewSection("bottles", "Bottles", ReviewVerdict.NOT_KNOWN, reason, (), numbers)
    each = [f"{counted(one.expected, 'bottle')} of {one.size_l:g} L, {one.at_best} at best" for one in expected]
    reason = f"{liters(volume_l)} fill about {each[0]}: have as many clean, and some more, with closures and capsules."
    lines = [f"or {text}" for text in each[1:]]
    lines.append(
        f"expected: less {100.0 * _LOST:.0f} % for lees, hoses and foam (common practice, no source), and two standard "
        "uncertainties of the volume; the rest goes into a smaller bottle, filled to the neck"
    )
    return ReviewSection("bottles", "Bottles", ReviewVerdict.IN_ORDER, reason, tuple(lines), numbers)
