"""Scales made of parts: the cellar file's, the barometer's, a calibration's."""

from __future__ import annotations

import pytest
from a_store import NOW, declared
from hypothesis import given
from hypothesis import strategies as st

from ingest.reading import Part, Scale
from ingest.store import Store
from ingest.store.change_feed import touched_after
from ingest.store.readings.fresh import Appender
from ingest.store.readings.scales import add_part, compose, newest_part_id, scales
from ingest.store.readings.series import declare
from ingest.store.readings.series_history import raw


def file(from_ms: int, gain: float, offset: float = 0.0) -> Part:
    return Part(from_ms, "file", gain, offset, "psi", "cellar file")


def test_parts_work_one_after_the_other() -> None:
    made = compose(
        [
            file(0, 10.0, -90.0),
            Part(5, "barometer", 1.0, 2.0, "kPa", "room barometer"),
            Part(7, "calibration", 1.1, -0.5, "kPa", "Ana"),
        ]
    )
    assert made == [
        Scale(0, 10.0, -90.0, "psi"),
        Scale(5, 10.0, -88.0, "psi"),
        Scale(7, 11.0, 1.1 * -88.0 - 0.5, "psi"),
    ]


def test_a_new_unit_in_the_file_keeps_the_calibration_of_the_value() -> None:
    made = compose([file(0, 10.0), Part(5, "calibration", 1.0, 0.5, "kPa", "Ana"), file(9, 1.0)])
    assert made[-1] == Scale(9, 1.0, 0.5, "psi")


def test_of_two_with_one_time_the_later_written_counts_and_nothing_stands_twice() -> None:
    barometer = Part(5, "barometer", 1.0, 2.0, "kPa", "b")
    assert compose([file(0, 1.0), file(0, 2.0), barometer, barometer]) == [
        Scale(0, 2.0, 0.0, "psi"),
        Scale(5, 2.0, 2.0, "psi"),
    ]


_PARTS = st.lists(
    st.tuples(
        st.integers(0, 20), st.sampled_from(["file", "barometer", "calibration"]), st.integers(1, 3), st.integers(-3, 3)
    ),
    max_size=12,
)


@given(_PARTS, st.integers(0, 25))
def test_whole_scales_equal_the_parts_applied_one_by_one(rows: list[tuple[int, str, int, int]], at: int) -> None:
    ordered = sorted(rows, key=lambda row: row[0])
    parts = [file(0, 2.0)] + [Part(a, kind, float(g), float(o), "psi", "x") for a, kind, g, o in ordered]  # type: ignore[arg-type]  # hypothesis gives plain text
    newest = {part.kind: part for part in parts if part.from_ms <= at}
    number = 7.0
    measured = newest["file"].gain * number + newest["file"].offset
    if "barometer" in newest:
        measured += newest["barometer"].offset
    if "calibration" in newest:
        measured = newest["calibration"].gain * measured + newest["calibration"].offset
    whole = [scale for scale in compose(parts) if scale.from_ms <= at][-1]
    assert whole.gain * number + whole.offset == pytest.approx(measured)


def test_a_back_dated_part_changes_values_not_numbers_and_is_told_to_followers(store: Store) -> None:
    series = declare(store, [declared(gain=1.0, unit="kPa")], NOW)["k1-pressure"]
    Appender(store).append([(series, NOW + second * 1000, 50.0, 0) for second in range(10)])
    place = touched_after(store, 0)[-1].seq
    part_id = newest_part_id(store)
    with store.write() as connection:
        add_part(connection, series, Part(NOW + 4000, "calibration", 1.0, -2.0, "kPa", "Ana"), NOW + 60_000)
    assert [row.value for row in raw(store, series)] == [50.0] * 4 + [48.0] * 6
    assert store.connection.execute("SELECT DISTINCT number FROM fresh").fetchall() == [(50.0,)]
    assert touched_after(store, place) == [(place + 1, series, NOW + 4000, NOW + 660_000)]
    assert newest_part_id(store) > part_id
    view = store.connection.execute("SELECT value FROM fresh_reading ORDER BY at").fetchall()
    assert [row[0] for row in view] == [50.0] * 4 + [48.0] * 6
    assert len(scales(store, series)) == 2
