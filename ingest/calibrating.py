"""Calibrating a probe: from points to an entry that its scale takes, worked out and judged before it is written."""

from __future__ import annotations

__all__ = ["JudgedCalibration", "drafted_calibration", "judged_calibration", "series_now"]

from collections.abc import Sequence
from dataclasses import replace
from typing import Final, Literal, NamedTuple

from ingest.cellar import QUANTITIES, Probe
from ingest.errors import IngestError
from ingest.journal.body import read_body
from ingest.journal.entry import Draft
from ingest.journal.kinds.calibration import (
    CALIBRATION,
    CalibrationBody,
    CalibrationPoint,
    Correction,
    Point,
    calibration_notes,
    drift_warnings,
    scale_correction,
)
from ingest.journal.kinds.kind import NamedVessels
from ingest.journal.ph_drift import PhDrift, ph_drift
from ingest.store import Store
from ingest.store.journal.calibration_parts import points_measured
from ingest.store.journal.ph_records import ph_records
from ingest.store.readings.scales import parts
from ingest.store.readings.series import Series, all_series

BufferSet = Literal["technical", "nist", "printed"]

_DAY_MS: Final = 86_400_000


class JudgedCalibration(NamedTuple):
    """What a person should know of a calibration before it is written.

    draft: with its warnings and notes; measured: its points without any calibration; correction: what the scale takes,
    None where it says nothing of what leeside shows; drift: since the last one, None where that is not known.
    """

    draft: Draft
    measured: tuple[Point, ...]
    correction: Correction | None
    drift: PhDrift | None
    caution: str

    @property
    def body(self) -> CalibrationBody:
        """What would be written."""
        return _body(self.draft)

    @property
    def moves(self) -> list[tuple[float, float]]:
        """(measured, what it counts as from then on) of each point, in the quantity's unit."""
        if self.correction is None:
            return []
        gain, offset = self.correction.gain, self.correction.offset
        return [(point.measured, gain * point.measured + offset) for point in self.measured]


def series_now(store: Store, probe: Probe) -> Series:
    """Find the series that a probe's next reading will belong to. Raises IngestError for a probe that is new."""
    for series in all_series(store):
        if (series.probe, series.place, series.quantity) == (probe.id, probe.at, probe.quantity):
            return series
    raise IngestError(
        f"the store does not know the probe {probe.id} yet; start `leeside run` once with this cellar file"
    )


def drafted_calibration(
    store: Store,
    probe: Probe,
    points: Sequence[CalibrationPoint],
    *,
    who: str,
    from_ms: int,
    temperature_c: float | None = None,
    buffer_set: BufferSet | None = None,
    despite_grade: bool = False,
    remark: str | None = None,
) -> Draft:
    """Make the entry of a calibration. temperature_c, buffer_set: of a pH probe's buffers; from_ms: UTC ms.

    Raises BodyWrong, IngestError for a probe that is new.
    """
    shown = all(point.shown is not None for point in points)
    if probe.quantity == "pH" and temperature_c is not None and len(points) > 1 and shown:
        # What the probe itself gave, from which its slope is worked out.
        measured = points_measured(parts(store, series_now(store, probe).id), points, from_ms)
        points = [
            point.model_copy(update={"measured": plain.measured}) for point, plain in zip(points, measured, strict=True)
        ]
    said = {
        "probe": probe.id,
        "points": [point.model_dump(exclude_none=True) for point in points],
        "unit": QUANTITIES[probe.quantity].unit,
        "temperature_c": temperature_c,
        "buffer_set": buffer_set,
        "despite_grade": despite_grade,
        "remark": remark,
    }
    body = read_body(CalibrationBody, CALIBRATION.name, said)
    return Draft(CALIBRATION.name, from_ms, who, body, probe.at)


def judged_calibration(store: Store, probe: Probe, draft: Draft) -> JudgedCalibration:
    """Work out what a calibration does, and what speaks against it. Raises IngestError for points that fix no scale."""
    body, row = _body(draft), QUANTITIES[probe.quantity]
    measured = tuple(points_measured(parts(store, series_now(store, probe).id), body.points, draft.at_ms))
    correction = scale_correction(body, measured, row.resolution, row.unit)
    drift = _drift_since_last(store, probe, body, draft.at_ms)
    caution = CALIBRATION.caution(body, NamedVessels())
    judged = JudgedCalibration(draft, measured, correction, drift, caution)
    warnings = drift_warnings(probe.quantity, row.unit, judged.moves)
    noted = body.model_copy(update={"warnings": warnings, "notes": calibration_notes(body)})
    return judged._replace(draft=replace(draft, body=noted))


def _drift_since_last(store: Store, probe: Probe, body: CalibrationBody, from_ms: int) -> PhDrift | None:
    """What became of a pH probe since its last calibration; None without one that has a slope, or on the same day."""
    line, record = body.ph_line, ph_records(store.connection).get(probe.id)
    last = None if record is None else record.newest_line(from_ms - 1, in_mv=body.is_in_mv)
    if line is None or last is None or from_ms - last[0] < _DAY_MS:
        return None
    return ph_drift(last[1], line, (from_ms - last[0]) / _DAY_MS)


def _body(draft: Draft) -> CalibrationBody:
    if not isinstance(draft.body, CalibrationBody):
        raise ValueError(f"{draft} is not a calibration")
    return draft.body
