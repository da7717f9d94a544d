"""Many numbers at once through their dated scales; apart from ``scales``, since a daemon starts without numpy."""

from __future__ import annotations

__all__ = ["gains_and_offsets", "scaled"]

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ingest.reading import Scale
from ingest.store.readings.block import Arrays


def scaled(numbers: Arrays, dated: Sequence[Scale]) -> Arrays:
    """Numbers as values, each through the newest scale not after its time (or the first there is)."""
    if not dated:
        return numbers
    if len(dated) == 1:
        return numbers._replace(number=dated[0].gain * numbers.number + dated[0].offset)
    gains, offsets = gains_and_offsets(numbers.at_ms, dated)
    return numbers._replace(number=gains * numbers.number + offsets)


def gains_and_offsets(
    at_ms: npt.NDArray[np.int64], dated: Sequence[Scale]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Gain and offset at each of these times; there must be a scale."""
    begins = np.array([scale.from_ms for scale in dated])
    indices = np.maximum(np.searchsorted(begins, at_ms, side="right") - 1, 0)
    return np.array([scale.gain for scale in dated])[indices], np.array([scale.offset for scale in dated])[indices]
