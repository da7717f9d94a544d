"""Series: which readings belong together, as the cellar file declares its probes."""

from __future__ import annotations

__all__ = ["Series", "all_series", "declare", "former_names"]

import sqlite3
from collections.abc import Sequence
from typing import NamedTuple

from ingest.reading import Declaration, Part
from ingest.store.change_feed import touch
from ingest.store.connection import Store
from ingest.store.readings.scales import add_part


class Series(NamedTuple):
    """One row of the table ``series``; ended_ms is None while the cellar file has the probe."""

    id: int
    probe: str
    place: str
    quantity: str
    begun_ms: int
    ended_ms: int | None


def declare(store: Store, declarations: Sequence[Declaration], now_ms: int) -> dict[str, int]:
    """Bring series and scales in line with the cellar file; give probe id -> series id.

    A new (probe, place, quantity) begins a series. One that left the file is ended, one that came back goes on. A probe
    that was moved keeps its calibrations.
    A changed unit or reference is a new scale from now on; the readings themselves are never touched.
    """
    declared: dict[str, int] = {}
    with store.write() as connection:
        for item in declarations:
            series = _find(connection, item) or _rename(connection, item, now_ms) or _begin(connection, item, now_ms)
            declared[item.probe] = series
            _bring_calibrations(connection, series, now_ms)
            connection.execute("UPDATE series SET ended_ms = NULL WHERE id = ? AND ended_ms IS NOT NULL", (series,))
            _keep_scale(connection, series, item, now_ms)
        living = tuple(declared.values())
        marks = ",".join("?" * len(living))
        connection.execute(
            f"UPDATE series SET ended_ms = ? WHERE ended_ms IS NULL AND id NOT IN ({marks})",  # noqa: S608  only question marks
            (now_ms, *living),
        )
    return declared


def _find(connection: sqlite3.Connection, item: Declaration) -> int | None:
    row = connection.execute(
        "SELECT id FROM series WHERE probe = ? AND place = ? AND quantity = ?",
        (item.probe, item.place, item.quantity),
    ).fetchone()
    return int(row[0]) if row else None


def _rename(connection: sqlite3.Connection, item: Declaration, now_ms: int) -> int | None:
    """The series under a former name of its probe or place, if there is one, under its new name from now on."""
    row = connection.execute(
        "SELECT id FROM series WHERE probe IN (?, ?) AND place IN (?, ?) AND quantity = ?",
        (item.former_probe, item.probe, item.former_place, item.place, item.quantity),
    ).fetchone()
    if row is None:
        return None
    connection.execute(
        "INSERT INTO former_name (series, probe, place, until_ms) SELECT id, probe, place, ? FROM series WHERE id = ?",
        (now_ms, row[0]),
    )
    connection.execute("UPDATE series SET probe = ?, place = ? WHERE id = ?", (item.probe, item.place, row[0]))
    return int(row[0])


def _begin(connection: sqlite3.Connection, item: Declaration, now_ms: int) -> int:
    cursor = connection.execute(
        "INSERT INTO series (probe, place, quantity, begun_ms) VALUES (?, ?, ?, ?)",
        (item.probe, item.place, item.quantity, now_ms),
    )
    return int(cursor.lastrowid or 0)


def _bring_calibrations(connection: sqlite3.Connection, series: int, now_ms: int) -> None:
    """Give a series that begins or comes back the calibrations that its probe had at other places.

    They are of the instrument. Each keeps its times, so that a strike finds it.
    """
    (starts,) = connection.execute(
        "SELECT begun_ms = ? OR ended_ms IS NOT NULL FROM series WHERE id = ?", (now_ms, series)
    ).fetchone()
    if not starts:
        return
    added = connection.execute(
        "INSERT INTO scale (series, from_ms, kind, gain, offset, unit, because, written_ms)"
        " SELECT DISTINCT here.id, there.from_ms, there.kind, there.gain, there.offset, there.unit, there.because,"
        " there.written_ms FROM scale AS there JOIN series AS other ON other.id = there.series"
        " JOIN series AS here ON here.id = ? AND other.id <> here.id AND other.probe = here.probe"
        " AND other.quantity = here.quantity AND other.origin = here.origin"
        " WHERE there.kind = 'calibration' AND NOT EXISTS"
        " (SELECT 1 FROM scale AS own WHERE own.series = here.id AND own.kind = 'calibration'"
        " AND own.from_ms = there.from_ms AND own.written_ms = there.written_ms AND own.because = there.because)"
        " ORDER BY there.from_ms, there.id",
        (series,),
    )
    if added.rowcount:
        touch(connection, [(series, 0, now_ms)])


def _keep_scale(connection: sqlite3.Connection, series: int, item: Declaration, now_ms: int) -> None:
    newest = connection.execute(
        "SELECT gain, offset, unit FROM scale WHERE series = ? AND kind = 'file'"
        " ORDER BY from_ms DESC, id DESC LIMIT 1",
        (series,),
    ).fetchone()
    if newest == (item.gain, item.offset, item.unit):
        return
    # The first scale also covers readings that are brought in from before the series began.
    from_ms = 0 if newest is None else now_ms
    part = Part(from_ms, "file", item.gain, item.offset, item.unit, "cellar file")
    add_part(connection, series, part, now_ms)


def all_series(store: Store) -> list[Series]:
    """Every series, oldest first."""
    rows = store.connection.execute("SELECT id, probe, place, quantity, begun_ms, ended_ms FROM series ORDER BY id")
    return [Series(*row) for row in rows]


def former_names(store: Store, series: int) -> list[tuple[int, str, str]]:
    """(until when, UTC ms; probe; place) of each name that a series had before it was renamed."""
    return store.connection.execute(
        "SELECT until_ms, probe, place FROM former_name WHERE series = ? ORDER BY until_ms", (series,)
    ).fetchall()
