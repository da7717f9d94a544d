"""What a calibration entry does to its probe's scale, and what its strike does: parts are added, none is ever changed.

A struck entry's part stays where it is; newer parts beside it say what counts without it.
"""

from __future__ import annotations

__all__ = ["CalibrationPart", "apply_calibration", "points_measured", "take_back_calibration", "without"]

import sqlite3
from collections.abc import Collection, Sequence
from typing import Final, NamedTuple

from ingest.cellar import QUANTITIES
from ingest.errors import EntryRefused, IngestError, Problem
from ingest.journal.entry import Entry
from ingest.journal.kinds.calibration import CalibrationBody, CalibrationPoint, Correction, Point, scale_correction
from ingest.reading import Part
from ingest.store.readings.scales import add_part, compose, value_at

_TAKEN_BACK: Final = "struck: "


class CalibrationPart(NamedTuple):
    """A row of the table ``scale`` of kind calibration. because: who says so; written_ms: when it was written."""

    from_ms: int
    gain: float
    offset: float
    because: str
    written_ms: int


def apply_calibration(connection: sqlite3.Connection, entry: Entry) -> None:
    """Let the probe's scale take the points of an entry from its time on, wherever the probe was since.

    Call inside the transaction that adds it. Points that leeside showed nothing for change no scale. Raises
    EntryRefused for a probe that was never read, for mV of one that is not a pH probe, and for points that no
    adjustment explains.
    """
    body = _body(entry)
    series, quantity = _series(connection, body.probe)
    row = QUANTITIES[quantity]
    if quantity != "pH" and body.describes_ph_probe:
        why = f"{body.probe} reads {quantity.replace('_', ' ')}; mV and what a probe measured are of pH probes"
        raise EntryRefused([Problem("calibration", "points", "", why)])
    measured = points_measured(_parts(connection, series), body.points, entry.at_ms)
    try:
        made = scale_correction(body, measured, row.resolution, row.unit)
    except IngestError as error:
        raise EntryRefused([Problem("calibration", "points", "", str(error))]) from None
    if made is None:
        return
    points = ", ".join(f"{point.measured:.4g} -> {point.truth:.4g} {row.unit}".rstrip() for point in measured)
    part = Part(entry.at_ms, "calibration", *made, row.unit, f"calibration by {entry.who}: {points}")
    for each in _everywhere(connection, series):
        add_part(connection, each, part, entry.written_ms)


def points_measured(parts: Sequence[Part], points: Sequence[CalibrationPoint], at_ms: int) -> list[Point]:
    """The points that leeside showed something for, with what the probe measured without any calibration.

    What was shown went through the calibration that held then.
    """
    whole = compose(parts)
    plain = compose(part for part in parts if part.kind != "calibration")
    zero = value_at(whole, at_ms, 0.0)
    gain = value_at(whole, at_ms, 1.0) - zero
    return [
        Point(value_at(plain, at_ms, (point.shown - zero) / gain), point.truth)
        for point in points
        if point.shown is not None
    ]


def take_back_calibration(connection: sqlite3.Connection, struck: Entry, who: str, now_ms: int) -> None:
    """Let the probe's scale be as if the entry had not been written, wherever the probe has been since.

    Call inside the transaction that strikes it.
    """
    newest, quantity = _series(connection, _body(struck).probe)
    for series in _everywhere(connection, newest):
        _take_back(connection, series, struck, QUANTITIES[quantity].unit, who, now_ms)


def _take_back(connection: sqlite3.Connection, series: int, struck: Entry, unit: str, who: str, now_ms: int) -> None:
    rows = connection.execute(
        "SELECT from_ms, gain, offset, because, written_ms FROM scale WHERE series = ? AND kind = 'calibration'"
        " ORDER BY from_ms, id",
        (series,),
    )
    gone = connection.execute(
        "SELECT entry.at_ms, written_ms FROM entry JOIN strike ON strike.entry = entry.id"
        " WHERE kind = 'calibration' AND json_extract(body, '$.probe') IN"
        " (SELECT probe FROM series WHERE id = ? UNION SELECT probe FROM former_name WHERE series = ?)",
        (series, series),
    )
    dead = {*gone.fetchall(), (struck.at_ms, struck.written_ms)}
    for from_ms, made in without([CalibrationPart(*row) for row in rows], dead):
        because = f"{_TAKEN_BACK}no. {struck.id} by {who}"
        add_part(connection, series, Part(from_ms, "calibration", *made, unit, because), now_ms)


def without(parts: Sequence[CalibrationPart], dead: Collection[tuple[int, int]]) -> list[tuple[int, Correction]]:
    """What is to be added, and from when on, so that a scale is as if some parts had never been.

    parts: in the order in which they count; dead: (from_ms, written_ms) of those that are struck. Parts that earlier
    strikes added follow from the others and count for nothing.
    """
    living = [
        part
        for part in parts
        if (part.from_ms, part.written_ms) not in dead and not part.because.startswith(_TAKEN_BACK)
    ]
    found = []
    for from_ms in sorted({part.from_ms for part in parts}):
        has, wanted = _counting(parts, from_ms), _counting(living, from_ms)
        if has != wanted:
            found.append((from_ms, wanted))
    return found


def _counting(parts: Sequence[CalibrationPart], at_ms: int) -> Correction:
    last = [part for part in parts if part.from_ms <= at_ms]
    return Correction(last[-1].gain, last[-1].offset) if last else Correction(1.0, 0.0)


def _body(entry: Entry) -> CalibrationBody:
    if not isinstance(entry.body, CalibrationBody):
        raise ValueError(f"{entry} is not a calibration")
    return entry.body


def _parts(connection: sqlite3.Connection, series: int) -> list[Part]:
    rows = connection.execute(
        "SELECT from_ms, kind, gain, offset, unit, because FROM scale WHERE series = ? ORDER BY from_ms, id", (series,)
    )
    return [Part(*row) for row in rows]


def _everywhere(connection: sqlite3.Connection, series: int) -> list[int]:
    """The series of a series' probe at every place where it was."""
    rows = connection.execute(
        "SELECT other.id FROM series JOIN series AS other USING (probe, quantity, origin) WHERE series.id = ?",
        (series,),
    )
    return [int(row[0]) for row in rows.fetchall()]


def _series(connection: sqlite3.Connection, probe: str) -> tuple[int, str]:
    """The series of a probe, the one that is read now before one that ended; also under its former name."""
    row = connection.execute(
        "SELECT id, quantity FROM series WHERE origin = 'probe' AND (probe = ? OR id IN"
        " (SELECT series FROM former_name WHERE probe = ?)) ORDER BY probe <> ?, ended_ms IS NOT NULL, id DESC LIMIT 1",
        (probe, probe, probe),
    ).fetchone()
    if row is None:
        why = f"{probe} has never been read on this store; start `leeside run` first"
        raise EntryRefused([Problem("calibration", "probe", "", why)])
    return int(row[0]), str(row[1])
