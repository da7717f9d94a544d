"""From imported values to the numbers that the probe would have sent, and to their qualities."""

from __future__ import annotations

__all__ = ["imported_quality", "numbers_behind"]

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from ingest.reading import Quality, Reason, Scale, quality_code
from ingest.store.readings.scaling import gains_and_offsets

_MOST_DIGITS: Final = 9
_FARTHEST_STEPS: Final = 4

_IMPORTED: Final = int(Reason.IMPORTED) << 2
_IMPLAUSIBLE: Final = quality_code(Quality.BAD, Reason.OUT_OF_RANGE)


def numbers_behind(
    at_ms: npt.NDArray[np.int64], values: npt.NDArray[np.float64], dated: Sequence[Scale]
) -> npt.NDArray[np.float64]:
    """Find the numbers that the dated scales convert to these values (in the quantity's unit).

    Of the doubles that reproduce a value to the last bit, the one with the fewest decimals is chosen: it is what an
    instrument would have printed, and it packs better. If there is none, the nearest is off by a rounding.
    """
    if not dated:
        return values
    gains, offsets = gains_and_offsets(at_ms, dated)
    behind = np.asarray((values - offsets) / gains, np.float64)
    found: npt.NDArray[np.float64] = behind.copy()
    open_ = np.ones(len(values), np.bool_)

    def look_at(candidates: npt.NDArray[np.float64]) -> None:
        hits = open_ & (gains * candidates + offsets == values)
        found[hits] = candidates[hits]
        open_[hits] = False

    for digits in range(_MOST_DIGITS + 1):
        look_at(np.round(behind, digits))
        if not open_.any():
            return found
    look_at(behind)
    above, below = behind, behind
    for _ in range(_FARTHEST_STEPS):
        above, below = np.nextafter(above, np.inf), np.nextafter(below, -np.inf)
        look_at(above)
        look_at(below)
    return found


def imported_quality(
    classes: npt.NDArray[np.uint8], values: npt.NDArray[np.float64], low: float, high: float
) -> npt.NDArray[np.uint16]:
    """Return the qualities to store: the class as given, marked as imported; bad if the value is not plausible.

    values, low, high: in the quantity's unit. No limit judges these readings, since they never become fresh ones.
    """
    codes = classes.astype(np.uint16) | np.uint16(_IMPORTED)
    codes[(values < low) | (values > high)] = _IMPLAUSIBLE
    return codes
