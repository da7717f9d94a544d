"""Kind "calibration": a probe's zero and span, from what it read and what was true; its command asks for it.

A gauge that should stand at zero and reads 1.2 kPa needs its zero moved: one point. Where a second, distant point is
known as well, the span is mended too. value = gain x measured + offset, measured being the value without calibration.

A pH probe's points in two to five buffers also say how good it is: its slope and offset. The scale takes what leeside
showed. mV alone describe the probe and change no scale, since only the meter knows how it makes pH of them.
"""

from __future__ import annotations

__all__ = [
    "CALIBRATION",
    "CalibrationBody",
    "CalibrationPoint",
    "Correction",
    "Point",
    "calibration_notes",
    "correction_of",
    "drift_warnings",
    "grade_words",
    "scale_correction",
]

import math
from collections.abc import Iterable, Sequence
from typing import Annotated, Final, Literal, NamedTuple

from pydantic import Field

from ingest.errors import IngestError, Problem
from ingest.journal.body import Body, BodyPart, Id, Words
from ingest.journal.entry import Draft
from ingest.journal.kinds.kind import VESSEL_KINDS, EntryKind, NamedVessels, PlaceRule
from ingest.journal.ph_buffers import U_BUFFER_SETS
from ingest.journal.ph_calibration import (
    TYPICAL_WINE_PH,
    U_BUFFER_PH,
    PhCalibration,
    PhCalibrationRefused,
    PhGrade,
    PhPoint,
    calibrated,
    shown_as_mv,
)
from ingest.journal.phrases import joined, listed, phrase

# Beyond this the probe is not out of adjustment but broken, or a number was mistyped (common practice, no source).
_LEAST_GAIN: Final = 0.8
_MOST_GAIN: Final = 1.25
# Two points closer than this many steps of the display cannot fix a span.
_APART_STEPS: Final = 50.0

# How far a sound instrument drifts between two calibrations, in the quantity's unit (common practice, no source).
_DRIFT: Final = {"pH": 1.0, "temperature": 5.0, "pressure": 20.0}
_QUANTITY_OF_UNIT: Final = {"pH": "pH", "°C": "temperature", "kPa": "pressure"}


# Beyond this a pH probe's points are not a calibration, even for a person who insists [%] (a choice of this project).
_SLOPES_PERCENT: Final = (50.0, 150.0)


class CalibrationPoint(BodyPart):
    """What was true, and what was read there.

    truth: in the quantity's unit; shown: by leeside, in that unit; measured: the same without the calibration that held
    until then, as it was worked out when this was written; mv: the voltage of a pH probe; buffer: its name.
    """

    truth: float
    shown: float | None = None
    measured: float | None = None
    mv: float | None = None
    buffer: Words | None = None


class CalibrationBody(Body):
    """Points of a probe against buffers, or zero and span; the probe's scale takes them from the entry's time on.

    buffer_set: of a pH probe, whose table the buffers' pH is from; despite_grade: the person wrote it down although a
    probe with such a slope and offset is not to be used.
    """

    probe: Id
    points: Annotated[tuple[CalibrationPoint, ...], Field(min_length=1)]
    unit: Annotated[str, Field(max_length=20)]
    temperature_c: Annotated[float, Field(ge=-50.0, le=150.0)] | None = None
    buffer_set: Literal["technical", "nist", "printed"] | None = None
    despite_grade: bool = False
    remark: Words | None = None

    @property
    def describes_ph_probe(self) -> bool:
        """Whether it says what a pH probe itself gave, in mV or pH, so that it has a slope."""
        return any(point.mv is not None or point.measured is not None for point in self.points)

    @property
    def is_in_mv(self) -> bool:
        """Whether its slope and offset are of the electrode itself, and not what is left over a meter's calibration."""
        return all(point.mv is not None for point in self.points)

    @property
    def ph_line(self) -> PhCalibration | None:
        """The pH probe's slope and offset; None where it does not describe one."""
        try:
            return _ph_line(self)
        except PhCalibrationRefused:
            return None


def _ph_line(body: CalibrationBody) -> PhCalibration | None:
    """The line through a pH probe's buffers. Raises PhCalibrationRefused for points that fix none."""
    celsius = body.temperature_c
    if celsius is None or len(body.points) < 2 or not body.describes_ph_probe:
        return None
    points = []
    for point in body.points:
        mv = point.mv if body.is_in_mv else None if point.measured is None else shown_as_mv(point.measured, celsius)
        if mv is None:
            raise PhCalibrationRefused("readings", "give what the probe gave in mV for each buffer, or for none")
        points.append(PhPoint(point.truth, mv))
    return calibrated(points, celsius, U_BUFFER_SETS.get(body.buffer_set or "", U_BUFFER_PH))


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


def scale_correction(
    body: CalibrationBody, measured: Sequence[Point], resolution: float, unit: str
) -> Correction | None:
    """Work out what the probe's scale takes of an entry; None where it says nothing of what leeside shows.

    measured: its points without any calibration, as far as leeside showed something there. A pH probe's line goes
    through two to five of them by least squares. Raises IngestError as ``correction_of``, and for points that fix no
    line.
    """
    if not measured:
        return None
    if body.temperature_c is None or len(measured) < 2 or not body.describes_ph_probe:
        return correction_of(measured, resolution, unit)
    celsius = body.temperature_c
    line = calibrated([PhPoint(point.truth, shown_as_mv(point.measured, celsius)) for point in measured], celsius)
    offset = line.ph_of(shown_as_mv(0.0, celsius))
    return Correction(line.ph_of(shown_as_mv(1.0, celsius)) - offset, offset)


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
    points = listed([_point_words(point, body.unit) for point in body.points])
    line = body.ph_line
    found = (
        ""
        if line is None
        else f"slope {line.slope_percent:.1f} %, offset {line.offset_mv:+.1f} mV, {grade_words(line)}"
    )
    return joined([f"{body.probe}: {points}", phrase(body.temperature_c, "at {:g} °C"), found])


def _point_words(point: CalibrationPoint, unit: str) -> str:
    read = [f"{point.mv:g} mV"] if point.mv is not None else []
    if point.shown is not None:
        read.append(f"{point.shown:.4g}")
    return f"{' or '.join(read)} is {point.truth:.4g} {unit}".rstrip()


def grade_words(line: PhCalibration) -> str:
    """Give the grade as people read it."""
    return "not to be used" if line.grade is PhGrade.REFUSED else line.grade.value


def _spread_words(body: CalibrationBody) -> str:
    line = body.ph_line
    if line is None:
        return ""
    return f"standard uncertainty near pH {TYPICAL_WINE_PH:g}: {line.u_at(TYPICAL_WINE_PH):.3f}"


def _problems(draft: Draft) -> list[Problem]:
    body = draft.body
    if not isinstance(body, CalibrationBody):
        return []
    key, why = _reading_problem(body)
    if not why and body.describes_ph_probe:
        key, why = _line_problem(body)
    return [Problem("calibration", key, "", why)] if why else []


def _reading_problem(body: CalibrationBody) -> tuple[str, str]:
    """What is wrong with what was read: the key, and why; two empty texts where nothing is."""
    shown = [point.shown is not None for point in body.points]
    if not all(is_shown or point.mv is not None for is_shown, point in zip(shown, body.points, strict=True)):
        return "points", "each needs what leeside showed there, or of a pH probe its mV"
    if any(shown) and not all(shown):
        return "points", "give what leeside showed for each point, or for none"
    if body.describes_ph_probe and not all(shown) and len(body.points) < 2:
        return "points", "a slope needs two buffers at least; give a second point"
    if body.describes_ph_probe and len(body.points) > 1 and body.temperature_c is None:
        return "temperature_c", "is missing: the pH of a buffer depends on it"
    return "", ""


def _line_problem(body: CalibrationBody) -> tuple[str, str]:
    """What is wrong with a pH probe's slope and offset, in the same way."""
    try:
        line = _ph_line(body)
    except PhCalibrationRefused as error:
        return "points", str(error)
    if line is not None:
        low, high = _SLOPES_PERCENT
        if not low <= line.slope_percent <= high:
            return "points", f"no pH probe has a slope of {line.slope_percent:.1f} %: {line.warnings[0]}"
        if line.grade is PhGrade.REFUSED and not body.despite_grade:
            return "despite_grade", line.warnings[0]
    return "", ""


def calibration_notes(body: CalibrationBody) -> tuple[str, ...]:
    """Say what a person should know of a calibration, such as what its slope says of the probe."""
    line = body.ph_line
    if line is not None:
        return line.warnings
    if body.unit == "pH" and len(body.points) == 1:
        return (
            "one buffer moves the zero only: the slope stays unknown, and with it pH away from that buffer; use two",
        )
    if body.unit == "pH" and body.temperature_c is None:
        return ("without --temperature slope and offset of the probe are not worked out",)
    return ()


def _warnings(body: CalibrationBody, _: NamedVessels) -> tuple[str, ...]:
    """That it moves what was shown further than a sound instrument drifts."""
    quantity = _QUANTITY_OF_UNIT.get(body.unit, "")
    moves = [(point.shown, point.truth) for point in body.points if point.shown is not None]
    return drift_warnings(quantity, body.unit, moves)


def _caution(body: CalibrationBody, _: NamedVessels) -> str:
    return "a gauge's zero needs an open vessel: vent it slowly, with the room aired" if body.unit == "kPa" else ""


CALIBRATION: Final = EntryKind(
    name="calibration",
    body=CalibrationBody,
    says="Zero and span of a probe, or a pH probe in its buffers, from a time on. Readings stay as they are; their "
    "values are converted again.",
    example="k1-pressure --truth '0 kPa' --reads '1.2 kPa'",
    place=PlaceRule(VESSEL_KINDS | {"cylinder", "room"}),
    words=_words,
    spread_words=_spread_words,
    problems=_problems,
    warnings=_warnings,
    caution=_caution,
)
