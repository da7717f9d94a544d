"""Dated scales: what turns a series' numbers into our unit, from a time on. Readings are never rewritten for it.

Three kinds of part make a scale: what the cellar file says (unit and reference), what the barometer takes off an
absolute sensor, and a calibration that a person entered. At any time the newest part of each kind counts:

    value = c_gain x (f_gain x number + f_offset + b_offset) + c_offset
"""

from __future__ import annotations

__all__ = ["add_part", "compose", "newest_part_id", "parts", "scales", "value_at"]

import sqlite3
from bisect import bisect_right
from collections.abc import Iterable, Sequence

from ingest.reading import LARGEST_DOUBLE, Part, Scale
from ingest.store.change_feed import touch
from ingest.store.connection import Store

# A probe's own clock may be ahead of ours by as much as is let in.
_AHEAD_MS = 10 * 60 * 1000


def parts(store: Store, series: int) -> list[Part]:
    """The parts of a series' scale, in order of time; of two with one time the later written comes last."""
    rows = store.connection.execute(
        "SELECT from_ms, kind, gain, offset, unit, because FROM scale WHERE series = ? ORDER BY from_ms, id", (series,)
    )
    return [Part(*row) for row in rows]


def scales(store: Store, series: int) -> list[Scale]:
    """The dated scales of a series, in order of time, each whole."""
    return compose(parts(store, series))


def compose(ordered: Iterable[Part]) -> list[Scale]:
    """Whole scales from parts in order of time; a part that changes nothing makes no scale of its own."""
    dated: list[Scale] = []
    file: Part | None = None
    barometer_offset = 0.0
    gain, offset = 1.0, 0.0
    for part in ordered:
        if part.kind == "file":
            file = part
        elif part.kind == "barometer":
            barometer_offset = part.offset
        else:
            gain, offset = part.gain, part.offset
        if file is None:
            continue
        scale = Scale(part.from_ms, gain * file.gain, gain * (file.offset + barometer_offset) + offset, file.unit)
        if dated and dated[-1].from_ms == part.from_ms:
            dated[-1] = scale
        elif not dated or dated[-1][1:] != scale[1:]:
            dated.append(scale)
    return dated


def value_at(dated: Sequence[Scale], at_ms: int, number: float) -> float:
    """The number of a reading at at_ms in our unit, through the newest scale not after it (or the first there is).

    What overflows is the largest that a double holds.
    """
    if not dated:
        return number
    scale = dated[0] if len(dated) == 1 else dated[max(0, bisect_right(dated, at_ms, key=_from_ms) - 1)]
    return max(-LARGEST_DOUBLE, min(LARGEST_DOUBLE, scale.gain * number + scale.offset))


def _from_ms(scale: Scale) -> int:
    return scale.from_ms


def add_part(connection: sqlite3.Connection, series: int, part: Part, now_ms: int) -> None:
    """Write a part, inside the caller's transaction, and note in the change feed which values change with it."""
    connection.execute(
        "INSERT INTO scale (series, from_ms, kind, gain, offset, unit, because, written_ms)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (series, part.from_ms, part.kind, part.gain, part.offset, part.unit, part.because, now_ms),
    )
    touch(connection, [(series, part.from_ms, max(part.from_ms, now_ms) + _AHEAD_MS)])


def newest_part_id(store: Store) -> int:
    """Grows with each part of any series: a reader that keeps scales in memory asks whether it has."""
    return int(store.connection.execute("SELECT max(id) FROM scale").fetchone()[0] or 0)
