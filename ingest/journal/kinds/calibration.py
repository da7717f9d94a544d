"""Kind "calibration": a probe's zero and span, from what it read and what was true; its command asks for it.

A gauge that should stand at zero and reads 1.2 kPa needs its zero moved: one point. Where a second, distant point is
known as well, the span is mended too. value = gain x measured + offset, measured being the value without calibration.
"""

from __future__ import annotations

__all__ = [
    "CALIBRATION",
    "CalibrationBody",
    "CalibrationPoint",
    "Correction",
    "Point",
    "correction_of",
    "drift_warnings",
]

import math
from collections.abc import Iterable, Sequence
from typing import Annotated, Final, NamedTuple

from pydantic import Field

from ingest.errors import IngestError
from ingest.journal.body import Body, Id, Words
from ingest.journal.kinds.kind import VESSEL_KINDS, EntryKind, NamedVessels, PlaceRule
from ingest.journal.phrases import joined, listed, phrase

# Beyond this the probe is not out of adjustment but broken, or a number was mistyped (common practice, no source).
_LEAST_GAIN: Final = 0.8
_MOST_GAIN: Final = 1.25
# Two points closer than this many steps of the display cannot fix a span.
_APART_STEPS: Final = 50.0

# How far a sound instrument drifts between two calibrations, in the quantity's unit (common practice, no source).
_DRIFT: Final = {"pH": 1.0, "temperature": 5.0, "pressure": 20.0}


class CalibrationPoint(Body):
    """What was true, and what leeside showed, both in the quantity's unit."""

    truth: float
    shown: float


class CalibrationBody(Body):
    """Points of a probe against buffers, or zero and span; the probe's scale takes them from the entry's time on."""

    probe: Id
    points: Annotated[tuple[CalibrationPoint, ...], Field(min_length=1)]
    unit: Annotated[str, Field(max_length=20)]
    temperature_c: Annotated[float, Field(ge=-50.0, le=150.0)] | None = None
    remark: Words | None = None


class Point(NamedTuple):
    """measured: the probe's value without any calibration; truth: what it should have been; both in one unit."""

    measured: float
    truth: float


class Correction(NamedTuple):
    """value = gain x measured + offset, in the points' unit."""

    gain: float
    offset: float


def correction_of(points: Sequence[Point], resolution: float, unit: str) -> Correction:
    """Work out the correction through one point (zero) or two (zero and span).

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


def drift_warnings(quantity: str, unit: str, moves: Iterable[tuple[float, float]]) -> tuple[str, ...]:
    """Warn that a calibration moves a probe further than a sound instrument drifts.

    moves: (measured, what it counts as from now on) of each point, in the quantity's unit.
    """
    most = _DRIFT.get(quantity, math.inf)
    return tuple(
        f"that moves {before:.4g} {unit} by {after - before:+.3g} {unit}, where a sound instrument drifts by {most:g} "
        "at most: was it in the buffer, or the vessel open?"
        for before, after in moves
        if abs(after - before) > most
    )


def _words(body: CalibrationBody, _: str | None) -> str:
    points = listed([f"{point.shown:.4g} is {point.truth:.4g} {body.unit}".rstrip() for point in body.points])
    return joined([f"{body.probe}: {points}", phrase(body.temperature_c, "at {:g} °C")])


def _caution(body: CalibrationBody, _: NamedVessels) -> str:
    return "a gauge's zero needs an open vessel: vent it slowly, with the room aired" if body.unit == "kPa" else ""


CALIBRATION: Final = EntryKind(
    name="calibration",
    body=CalibrationBody,
    says="Zero and span of a probe, from a time on. Readings stay as they are; their values are converted again.",
    example="k1-pressure --truth '0 kPa' --reads '1.2 kPa'",
    place=PlaceRule(VESSEL_KINDS | {"cylinder", "room"}),
    words=_words,
    caution=_caution,
)
