"""The history of a probe, a place or a lot: what belongs to it, in which unit, and summed up."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from a_history import BASE_MS, HOUR, STEP_MS, Cellar3, rows_of
from a_store import declared, new_store

from ingest.history import (
    OfLot,
    OfPlace,
    OfProbe,
    Subject,
    history_sources,
    latest,
    pieces,
    raw,
    span,
    summary,
)
from ingest.reading import Part
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.entries import entries, strike
from ingest.store.readings.fresh import Appender
from ingest.store.readings.retention import drop_old
from ingest.store.readings.scales import add_part
from ingest.store.readings.series import declare
from ingest.store.readings.settling import DAY_MS
from ingest.times import END_OF_TIME_MS


@pytest.fixture
def cellar(tmp_path: Path) -> Iterator[Cellar3]:
    with new_store(tmp_path) as store:
        yield Cellar3(store)


def test_two_titrations_in_one_minute_are_both_there_and_a_struck_one_only_where_it_is_asked_for(
    cellar: Cellar3,
) -> None:
    cellar.write("first-filling", "K1", "A", at=0, volume_l=10.0)
    first = cellar.titrate("K1", 30.0, at=2)
    second = cellar.titrate("K1", 32.0, at=2)
    for subject in (OfLot("A", "free_so2"), OfPlace("K1", "free_so2")):
        history = raw(cellar.store, subject)
        assert [(row[1], row[3]) for row in rows_of(history)] == [(30.0, first.id), (32.0, second.id)]
        assert history.rows.u.tolist() == [2.0, 2.0]
    strike(cellar.store, first.id, "Ben", "wrong flask", cellar.now)
    for subject in (OfLot("A", "free_so2"), OfPlace("K1", "free_so2")):
        assert [row[3] for row in rows_of(raw(cellar.store, subject))] == [second.id]
        assert [row[3] for row in rows_of(latest(cellar.store, subject))] == [second.id]
        rows = rows_of(raw(cellar.store, subject, struck=True))
        assert [(row[3], row[4]) for row in rows] == [(first.id, True), (second.id, False)]
        assert [result.entry for result in summary(cellar.store, subject, 0, END_OF_TIME_MS, 10).results] == [second.id]
    strike(cellar.store, second.id, "Ben", "wrong bottle", cellar.now)
    assert latest(cellar.store, OfLot("A", "free_so2")).rows.at_ms.tolist() == []
    assert span(cellar.store, OfLot("A", "free_so2")) is None
    assert span(cellar.store, OfLot("A", "free_so2"), struck=True) == (first.at_ms, first.at_ms)


def test_what_was_titrated_in_the_minute_of_the_racking_belongs_by_its_number(cellar: Cellar3) -> None:
    cellar.write("first-filling", "K1", "A", at=0, volume_l=10.0)
    before = cellar.titrate("K1", 30.0, at=3)
    cellar.write("racking", at=3, sources=[{"vessel": "K1"}], targets=[{"vessel": "K3"}])
    cellar.write("first-filling", "K1", "B", at=3, volume_l=5.0)
    after = cellar.titrate("K1", 10.0, at=3)
    assert [row[3] for row in rows_of(raw(cellar.store, OfLot("A", "free_so2")))] == [before.id]
    assert [row[3] for row in rows_of(raw(cellar.store, OfLot("B", "free_so2")))] == [after.id]
    ids = {lot: [entry.id for entry in entries(cellar.store, lot=lot)] for lot in "AB"}
    assert before.id in ids["A"]
    assert after.id not in ids["A"]
    assert before.id not in ids["B"]
    assert after.id in ids["B"]


def test_a_blend_is_in_the_history_of_both_lots_with_their_shares(cellar: Cellar3) -> None:
    readings = cellar.read()
    cellar.write("first-filling", "K1", "A", at=0, volume_l=8.0)
    cellar.write("first-filling", "C1", "B", at=0, volume_l=2.0)
    racked = cellar.write("racking", at=10, sources=[{"vessel": "K1"}, {"vessel": "C1"}], targets=[{"vessel": "K3"}])
    found = cellar.titrate("K3", 25.0, at=12)
    for lot, own, share in (("A", "K1", 0.8), ("B", "C1", 0.2)):
        history = raw(cellar.store, OfLot(lot, "temperature"))
        expected = [own if at_ms < racked.at_ms else "K3" for at_ms in history.rows.at_ms.tolist()]
        assert [row[2] for row in rows_of(history)] == expected
        assert sorted(set(history.rows.share.tolist())) == pytest.approx([share, 1.0])
        assert {source.probe for source in history.sources} == {f"{own}-t", "K3-t", "K3-air"}
        (result,) = raw(cellar.store, OfLot(lot, "free_so2")).results.values()
        assert result.entry == found.id
        assert result.share == pytest.approx(share)
    mostly = raw(cellar.store, OfLot("B", "temperature", least_share=0.5))
    assert {row[2] for row in rows_of(mostly)} == {"C1"}
    assert raw(cellar.store, OfLot("B", "free_so2", least_share=0.5)).results == {}
    assert len(readings) > 200


def test_a_split_lot_has_the_readings_of_both_vessels(cellar: Cellar3) -> None:
    cellar.read()
    cellar.write("first-filling", "K1", "A", at=0, volume_l=8.0)
    cellar.write("racking", at=10, sources=[{"vessel": "K1", "volume_l": 3.0}], targets=[{"vessel": "C1"}])
    assert {row[2] for row in rows_of(latest(cellar.store, OfLot("A", "temperature")))} == {"K1", "C1"}
    cellar.write("racking", at=22.5, sources=[{"vessel": "K1", "volume_l": 1.0}], targets=[{"vessel": "K3"}])
    # In K3 nothing was read since it came there.
    assert {row[2] for row in rows_of(latest(cellar.store, OfLot("A", "temperature")))} == {"K1", "C1"}
    strike(cellar.store, entries(cellar.store)[-1].id, "Ben", "it stayed", cellar.now)
    parts = summary(cellar.store, OfLot("A", "temperature"), BASE_MS, BASE_MS + DAY_MS, 8).sources
    assert [part.source.place for part in parts] == ["K1", "C1"]
    cellar.write("bottling", "C1", at=14, bottles=[{"number": 4, "size_l": 0.75}], remainder_l=0.0)
    cellar.write("vessel-status", "K1", at=15, status="emptied")
    assert len(latest(cellar.store, OfLot("A", "temperature"))) == 0
    ends = span(cellar.store, OfLot("A", "temperature"))
    assert ends is not None
    assert BASE_MS + 14 * STEP_MS <= ends[1] < BASE_MS + 15 * STEP_MS


def test_values_go_through_the_dated_scale(cellar: Cellar3) -> None:
    readings = cellar.read()
    from_ms = BASE_MS + 6 * STEP_MS
    series = cellar.series["K1-t"]
    with cellar.store.write() as connection:
        add_part(connection, series, Part(from_ms, "calibration", 1.0, -2.0, "degC", "ice"), cellar.now)
    wanted = [number - 2.0 * (at_ms >= from_ms) for one, at_ms, number, _ in readings if one == series]
    for subject in (OfProbe("K1-t"), OfPlace("K1", "temperature")):
        assert raw(cellar.store, subject).rows.value.tolist() == wanted
        assert latest(cellar.store, subject).rows.value.tolist() == wanted[-1:]


def test_a_probe_is_followed_to_where_it_stands_and_has_no_results(cellar: Cellar3) -> None:
    cellar.read(4)
    at = {"probe": "K1-t", "quantity": "temperature", "gain": 1.0, "unit": "degC"}
    moved = declare(cellar.store, [declared(place="C1", **at)], cellar.now)
    cellar.write("measurement", "C1", at=2, quantity="temperature", value=11.0, u_value=0.2)
    Appender(cellar.store).append([(moved["K1-t"], cellar.now, 12.5, 0)])
    probe, place = raw(cellar.store, OfProbe("K1-t")), raw(cellar.store, OfPlace("C1", "temperature"))
    assert {row[2] for row in rows_of(probe)} == {"K1", "C1"}
    assert probe.results == {}
    assert rows_of(latest(cellar.store, OfProbe("K1-t"))) == [(cellar.now, 12.5, "C1", 0, False, None)]
    assert {source.probe for source in place.sources} == {"C1-t", "K1-t"}
    assert [one.value for one in place.results.values()] == [11.0]
    # Nobody reads K1 any more: the probe that went last still tells how it stood.
    assert [row[2] for row in rows_of(latest(cellar.store, OfPlace("K1", "temperature")))] == ["K1"]


@pytest.mark.parametrize("subject", [OfProbe("x"), OfPlace("x", "pH"), OfLot("x", "pH"), OfLot("A", "pH")])
def test_what_nobody_knows_has_no_history(cellar: Cellar3, subject: Subject) -> None:
    assert len(raw(cellar.store, subject)) == len(latest(cellar.store, subject)) == 0
    assert list(pieces(cellar.store, subject)) == []
    assert span(cellar.store, subject) is None
    assert summary(cellar.store, subject, 0, END_OF_TIME_MS, 100) == (None, (), ())
    assert history_sources(cellar.store, subject) == ()


def test_a_renamed_vessel_keeps_the_probes_that_had_left_it(cellar: Cellar3) -> None:
    cellar.write("first-filling", "K1", "A", at=0, volume_l=8.0)
    readings = cellar.read()
    rows = [row for row in readings if row[0] == cellar.series["K1-t"]]
    text = cellar.cellar.text.replace('id = "K1"', 'id = "Keg1"\nwas = "K1"')
    at = {"place": "C1", "quantity": "temperature", "gain": 1.0, "unit": "degC"}
    cellar.now += HOUR
    # As the daemon does it at its start.
    keep_cellar_file(cellar.store, text, cellar.now)
    declare(cellar.store, [declared(probe="C1-t", **at)], cellar.now)
    for subject in (OfLot("A", "temperature"), OfPlace("Keg1", "temperature")):
        assert [row[:3] for row in rows_of(raw(cellar.store, subject))] == [
            (at, number, "Keg1") for _, at, number, _ in rows
        ]
    assert len(raw(cellar.store, OfPlace("K1", "temperature"))) == 0


def test_a_summary_takes_the_coarsest_level_that_has_the_points_and_loses_no_extreme(cellar: Cellar3) -> None:
    series = cellar.series["K1-t"]
    rows = [(series, BASE_MS + minute * 60_000, 12.0 + minute % 5, 0) for minute in range(3 * 24 * 60)]
    rows[777] = (series, rows[777][1] + 1, 55.5, 0)
    Appender(cellar.store).append(rows)
    cellar.catch_up()
    for points, level in (
        (1, "day"),
        (2, "day"),
        (3, "hour"),
        (71, "hour"),
        (72, "minute"),
        (4319, "minute"),
        (4320, None),
    ):
        downsampled = summary(cellar.store, OfProbe("K1-t"), 0, END_OF_TIME_MS, points)
        assert downsampled.level == level
        (part,) = downsampled.sources
        assert len(part.rows.from_ms) >= min(points, len(rows))
        assert np.nanmax(part.rows.high) == 55.5
        assert np.nanmin(part.rows.low) == 12.0
        assert part.rows.readings.sum() == len(rows)
    with pytest.raises(ValueError, match="at least 1"):
        summary(cellar.store, OfProbe("K1-t"), 0, END_OF_TIME_MS, 0)


def test_what_was_dropped_by_wish_is_given_by_the_summaries_that_are_left(cellar: Cellar3) -> None:
    series = cellar.series["K1-t"]
    ten = BASE_MS - 10 * DAY_MS
    rows = [(series, ten + number * 600_000, number % 50 / 2, 0) for number in range(10 * 144)]
    Appender(cellar.store).append(rows)
    cellar.settle(BASE_MS)
    cellar.catch_up()
    # It lay in K1 from the middle of an hour of the second day on.
    cellar.write("first-filling", "K1", "A", at=(-8.5 * DAY_MS - 1000 * 1000) / STEP_MS, volume_l=8.0)
    begin_ms = history_sources(cellar.store, OfLot("A", "temperature"))[0].from_ms
    subject = OfLot("A", "temperature")
    whole = summary(cellar.store, subject, 0, END_OF_TIME_MS, 60)
    assert whole.level == "hour"
    drop_old(cellar.store, BASE_MS, 3 * 86_400.0, None, None)
    assert len(raw(cellar.store, subject)) == 3 * 144
    for points in (8, 60):
        (part,) = summary(cellar.store, subject, 0, END_OF_TIME_MS, points).sources
        assert part.rows.readings.sum() == sum(at_ms >= begin_ms for _, at_ms, _, _ in rows)
        assert part.rows.high.max() == 24.5
    assert summary(cellar.store, subject, ten, ten + 3 * DAY_MS, 100_000).level == "minute"
    drop_old(cellar.store, BASE_MS, 3 * 86_400.0, 3 * 86_400.0, 3 * 86_400.0)
    (part,) = summary(cellar.store, OfProbe("K1-t"), ten, BASE_MS, 60).sources
    # Seven days by the day, three by the hour.
    assert len(part.rows.from_ms) == 7 + 3 * 24
    assert part.rows.readings.sum() == len(rows)
    assert span(cellar.store, OfProbe("K1-t")) == (ten, rows[-1][1])


def test_pieces_are_the_whole_a_day_at_a_time(cellar: Cellar3) -> None:
    rows = [
        (one, BASE_MS + hour * HOUR + one, hour + one / 8, 0) for hour in range(96) for one in cellar.series.values()
    ]
    Appender(cellar.store).append(rows)
    cellar.settle(BASE_MS + 3 * DAY_MS)
    cellar.write("measurement", "K3", at=0.5, quantity="temperature", value=11.0)
    cellar.write("measurement", "K3", at=20.5, quantity="temperature", value=12.0)
    for subject in (OfPlace("K3", "temperature"), OfProbe("C1-t")):
        parts = list(pieces(cellar.store, subject))
        assert len(parts) >= 4
        assert all(np.ptp(part.rows.at_ms) <= DAY_MS for part in parts)
        whole = raw(cellar.store, subject)
        assert np.concatenate([part.rows.at_ms for part in parts]).tolist() == whole.rows.at_ms.tolist()
        assert (np.diff(whole.rows.at_ms) >= 0).all()
    assert (whole.rows.entry == 0).all()
