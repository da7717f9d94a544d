"""Series and their dated scales, as the cellar file changes."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from a_store import NOW, declared, new_store
from hypothesis import given
from hypothesis import strategies as st

from ingest.reading import Part, PartKind, Scale
from ingest.store import Store
from ingest.store.readings.fresh import Appender
from ingest.store.readings.scales import add_part, scales, value_at
from ingest.store.readings.series import Series, all_series, declare
from ingest.store.readings.series_history import raw

DAY = 86_400_000


def _former(store: Store) -> list[tuple[int, str, str, int]]:
    return store.connection.execute("SELECT series, probe, place, until_ms FROM former_name ORDER BY rowid").fetchall()


def test_a_new_probe_begins_a_series_whose_scale_covers_the_past_too(store: Store) -> None:
    found = declare(store, [declared()], NOW)
    assert all_series(store) == [Series(found["k1-pressure"], "k1-pressure", "K1", "pressure", NOW, None)]
    assert scales(store, found["k1-pressure"]) == [Scale(0, 6.894757, 0.0, "psi")]


def test_the_same_file_again_changes_nothing(store: Store) -> None:
    first = declare(store, [declared(), declared(probe="k1-temperature", quantity="temperature")], NOW)
    before = list(store.connection.iterdump())
    assert declare(store, [declared(), declared(probe="k1-temperature", quantity="temperature")], NOW + DAY) == first
    assert list(store.connection.iterdump()) == before


@pytest.mark.parametrize("moved", [{"place": "K2"}, {"quantity": "temperature"}])
def test_another_place_or_quantity_is_another_series(store: Store, moved: dict[str, str]) -> None:
    old = declare(store, [declared()], NOW)["k1-pressure"]
    new = declare(store, [declared(**moved)], NOW + DAY)["k1-pressure"]
    assert new != old
    assert [(row.id, row.begun_ms, row.ended_ms) for row in all_series(store)] == [
        (old, NOW, NOW + DAY),
        (new, NOW + DAY, None),
    ]
    assert declare(store, [declared()], NOW + 2 * DAY)["k1-pressure"] == old
    assert [row.ended_ms for row in all_series(store)] == [None, NOW + 2 * DAY]


@pytest.mark.parametrize(
    "names",
    [
        {"probe": "keg-pressure", "former_probe": "k1-pressure"},
        {"place": "N1", "former_place": "K1"},
        {"probe": "n1-pressure", "place": "N1", "former_probe": "k1-pressure", "former_place": "K1"},
    ],
    ids=["probe", "place", "both"],
)
def test_a_renamed_series_goes_on_and_its_former_name_is_kept(store: Store, names: dict[str, str]) -> None:
    old = declare(store, [declared()], NOW)["k1-pressure"]
    for later in (1, 2):  # `was` stays in the file, and must rename once only
        assert set(declare(store, [declared(**names)], NOW + later * DAY).values()) == {old}
    assert _former(store) == [(old, "k1-pressure", "K1", NOW + DAY)]
    (row,) = all_series(store)
    assert (row.probe, row.place, row.begun_ms, row.ended_ms) == (
        names.get("probe", "k1-pressure"),
        names.get("place", "K1"),
        NOW,
        None,
    )


def test_a_former_name_that_never_was_begins_a_series(store: Store) -> None:
    declare(store, [declared(former_probe="never-seen")], NOW)
    assert len(all_series(store)) == 1
    assert _former(store) == []


def test_what_left_the_file_is_ended_and_what_comes_back_goes_on(store: Store) -> None:
    both = [declared(), declared(probe="k2-pressure", place="K2")]
    found = declare(store, both, NOW)
    declare(store, both[:1], NOW + DAY)
    assert [row.ended_ms for row in all_series(store)] == [None, NOW + DAY]
    declare(store, both[:1], NOW + 2 * DAY)
    assert [row.ended_ms for row in all_series(store)] == [None, NOW + DAY]
    assert declare(store, both, NOW + 3 * DAY) == found
    assert [row.ended_ms for row in all_series(store)] == [None, None]


def test_a_file_without_probes_ends_them_all(store: Store) -> None:
    declare(store, [declared()], NOW)
    assert declare(store, [], NOW + DAY) == {}
    assert [row.ended_ms for row in all_series(store)] == [NOW + DAY]


def test_a_changed_unit_counts_from_now_and_old_readings_keep_the_old_one(store: Store) -> None:
    series = declare(store, [declared(gain=6.894757, unit="psi")], NOW)["k1-pressure"]
    Appender(store).append([(series, NOW + at, 10.0, 0) for at in (-DAY, 0, DAY - 1, DAY, 2 * DAY)])
    stored = store.connection.execute("SELECT * FROM fresh").fetchall()
    declare(store, [declared(gain=100.0, unit="bar")], NOW + DAY)
    declare(store, [declared(gain=100.0, unit="bar")], NOW + 2 * DAY)
    assert scales(store, series) == [Scale(0, 6.894757, 0.0, "psi"), Scale(NOW + DAY, 100.0, 0.0, "bar")]
    assert [row.value for row in raw(store, series)] == [68.94757, 68.94757, 68.94757, 1000.0, 1000.0]
    assert store.connection.execute("SELECT * FROM fresh").fetchall() == stored


def test_a_scale_tells_why_and_when_it_was_written(store: Store) -> None:
    declare(store, [declared()], NOW)
    assert store.connection.execute("SELECT because, written_ms FROM scale").fetchall() == [("cellar file", NOW)]


def test_a_calibration_mends_the_past_without_touching_readings(store: Store) -> None:
    series = declare(store, [declared(gain=1.0, unit="kPa")], NOW)["k1-pressure"]
    Appender(store).append([(series, NOW + DAY, 50.0, 0), (series, NOW + 2 * DAY, 50.0, 0)])
    with store.write() as connection:
        for offset in (2.0, 3.0):  # found wrong twice; of two from the same moment the later written counts
            add_part(connection, series, Part(NOW + 2 * DAY, "calibration", 1.0, offset, "kPa", "Ana"), NOW + 9 * DAY)
    assert [row.value for row in raw(store, series)] == [50.0, 53.0]
    view = store.connection.execute("SELECT value FROM fresh_reading ORDER BY at").fetchall()
    assert view == [(50.0,), (53.0,)]


_SCALES = st.lists(
    st.tuples(st.integers(0, 20), st.sampled_from([0.5, 1.0, 2.0]), st.integers(-3, 3)), min_size=1, max_size=6
)


@given(_SCALES, st.integers(-5, 25), st.integers(-9, 9))
def test_the_newest_scale_not_after_a_reading_counts(rows: list[tuple[int, float, int]], at: int, number: int) -> None:
    dated = [Scale(from_ms, gain, float(offset), "u") for from_ms, gain, offset in sorted(rows, key=lambda row: row[0])]
    before = [scale for scale in dated if scale.from_ms <= at]
    meant = before[-1] if before else dated[0]
    assert value_at(dated, at, number) == meant.gain * number + meant.offset


def test_without_a_scale_a_number_is_itself() -> None:
    assert value_at([], NOW, 12.5) == 12.5


_PARTS = st.lists(
    st.tuples(
        st.integers(0, 12),
        st.sampled_from(["file", "barometer", "calibration"]),
        st.sampled_from([0.5, 1.0, 2.0]),
        st.integers(-3, 3),
    ),
    max_size=8,
)


@given(_PARTS)
def test_the_view_and_the_history_scale_alike(parts: list[tuple[int, PartKind, float, int]]) -> None:
    with tempfile.TemporaryDirectory() as folder, new_store(Path(folder)) as store:
        series = declare(store, [declared(gain=2.0)], NOW)["k1-pressure"]
        Appender(store).append([(series, at, 8.0, 0) for at in range(14)])
        with store.write() as connection:
            for from_ms, kind, gain, offset in parts:
                part_gain = 1.0 if kind == "barometer" else gain
                add_part(connection, series, Part(from_ms, kind, part_gain, float(offset), "psi", "a test"), NOW)
        view = store.connection.execute("SELECT value FROM fresh_reading ORDER BY at").fetchall()
        assert view == [(row.value,) for row in raw(store, series)]
