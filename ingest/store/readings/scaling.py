"""Many numbers at once through their dated scales; apart from ``scales``, since a daemon starts without numpy.

Numbers that were stored before they were held against ``LARGEST_VALUE`` may overflow here; such a value is shown as the
largest that a double holds, as ``value_at`` does.
"""

from __future__ import annotations

__all__ = ["gains_and_offsets", "scaled"]

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ingest.reading import LARGEST_DOUBLE, Scale
from ingest.store.readings.block import Arrays


def scaled(numbers: Arrays, dated: Sequence[Scale]) -> Arrays:
    """Numbers as values, each through the newest scale not after its time (or the first there is)."""
    if not dated:
        return numbers
    if len(dated) == 1:
        return numbers._replace(number=_finite(numbers.number, dated[0].gain, dated[0].offset))
    return numbers._replace(number=_finite(numbers.number, *gains_and_offsets(numbers.at_ms, dated)))


def _finite(
    numbers: npt.NDArray[np.float64], gains: npt.NDArray[np.float64] | float, offsets: npt.NDArray[np.float64] | float
) -> npt.NDArray[np.float64]:
    with np.errstate(over="ignore"):
        values: npt.NDArray[np.float64] = np.clip(gains * numbers + offsets, -LARGEST_DOUBLE, LARGEST_DOUBLE)
    return values


def gains_and_offsets(
    at_ms: npt.NDArray[np.int64], dated: Sequence[Scale]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Gain and offset at each of these times; there must be a scale."""
    begins = np.array([scale.from_ms for scale in dated])
    indices = np.maximum(np.searchsorted(begins, at_ms, side="right") - 1, 0)
    return np.array([scale.gain for scale in dated])[indices], np.array([scale.offset for scale in dated])[indices]
