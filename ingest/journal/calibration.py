"""Zero and span: what corrects a probe's value, from what it read and what was true. Pure arithmetic.

A gauge that should stand at zero and reads 1.2 kPa needs its zero moved: one point. Where a second, distant point is
known as well, the span is mended too. value = gain x measured + offset, measured being the value without calibration.
"""

from __future__ import annotations

__all__ = ["Correction", "Point", "correction"]

from collections.abc import Sequence
from typing import Final, NamedTuple

from ingest.errors import IngestError

# Beyond this the probe is not out of adjustment but broken, or a number was mistyped (common practice, no source).
_LEAST_GAIN: Final = 0.8
_MOST_GAIN: Final = 1.25
# Two points closer than this many steps of the display cannot fix a span.
_APART_STEPS: Final = 50.0


class Point(NamedTuple):
    """measured: the probe's value without any calibration; truth: what it should have been; both in one unit."""

    measured: float
    truth: float


class Correction(NamedTuple):
    """value = gain x measured + offset, in the points' unit."""

    gain: float
    offset: float


def correction(points: Sequence[Point], resolution: float, unit: str) -> Correction:
    """The correction through one point (zero) or two (zero and span).

    resolution: the step that is shown of this quantity, in the points' unit; unit: for messages. Raises IngestError
    for no point or more than two, for two that lie too close together, and for a span that no adjustment explains.
    """
    if not 1 <= len(points) <= 2:
        raise IngestError(f"a calibration takes one point (zero) or two (zero and span), not {len(points)}")
    first = points[0]
    if len(points) == 1:
        return Correction(1.0, first.truth - first.measured)
    second = points[1]
    apart = abs(second.measured - first.measured)
    if apart < _APART_STEPS * resolution or abs(second.truth - first.truth) < _APART_STEPS * resolution:
        raise IngestError(
            f"the two points are {apart:g} {unit} apart; a span needs them at least {_APART_STEPS * resolution:g} "
            f"{unit} apart, or give one point to move the zero only"
        )
    gain = (second.truth - first.truth) / (second.measured - first.measured)
    if not _LEAST_GAIN <= gain <= _MOST_GAIN:
        raise IngestError(
            f"these points make a span of {gain:.3g}; from {_LEAST_GAIN:g} to {_MOST_GAIN:g} can be an adjustment, "
            "beyond it look for a mistyped number, another unit in the cellar file, or a broken probe"
        )
    return Correction(gain, first.truth - gain * first.measured)
