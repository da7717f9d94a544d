"""The history of a probe, a place or a lot, against a plain model: any journal, readings in every vessel."""

from __future__ import annotations

import math
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from a_store import NOW, declared, new_store
from hypothesis import given, settings
from hypothesis import strategies as st
from journal_acts import ACTS, VESSELS
from journal_entries import EQUIPMENT, a_body, journal_cellar

from ingest.cellar import Cellar
from ingest.errors import EntryRefused
from ingest.history import (
    MergedHistory,
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
from ingest.journal.entry import Draft, Entry
from ingest.journal.ledger import Ledger
from ingest.journal.vessel_state import VesselState
from ingest.reading import Part, Quality, Reason, quality_code
from ingest.store import Store
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.entries import entries, strike, write_entry
from ingest.store.readings.fresh import Appender
from ingest.store.readings.retention import drop_old
from ingest.store.readings.scales import add_part
from ingest.store.readings.series import declare
from ingest.store.readings.settling import DAY_MS, Settler
from ingest.store.readings.summaries import CatchUp
from ingest.store.readings.summary import LEVELS
from ingest.times import END_OF_TIME_MS

HOUR = 3_600_000
BASE_MS = NOW // DAY_MS * DAY_MS
# Acts happen at whole numbers of steps: no divisor of an hour, so that a lot comes and goes within hours and minutes.
STEP_MS = 1_703_000
READ_EVERY_MS = 10 * 60_000 + 7_000
BAD = quality_code(Quality.BAD, Reason.FAULT)

Row = tuple[int, float, str, int, bool, float | None]


class Cellar3:
    """K1, C1 and K3 with a temperature probe each, K3 with two; a lot A and a lot B; entries at steps of time."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.cellar: Cellar = journal_cellar()
        keep_cellar_file(store, self.cellar.text, BASE_MS - HOUR)
        probes = [(f"{vessel}-t", vessel) for vessel in VESSELS] + [("K3-air", "K3")]
        wanted = [
            declared(probe=probe, place=place, quantity="temperature", gain=1.0, unit="degC") for probe, place in probes
        ]
        self.series = declare(store, wanted, BASE_MS - HOUR)
        self.now = BASE_MS + DAY_MS
        for lot in "AB":
            self.write("lot", lot=lot, at=-1, name=lot, style="white")

    def write(self, kind: str, place: str | None = None, lot: str | None = None, *, at: float, **said: Any) -> Entry:
        self.now += 1
        draft = Draft(kind, BASE_MS + round(at * STEP_MS), "Ana", a_body(kind, **said), place, lot)
        return write_entry(self.store, draft, self.cellar, self.now)

    def titrate(self, place: str | None, mg_l: float, *, at: float, lot: str | None = None) -> Entry:
        said = {"quantity": "free", "method": "elsewhere", "so2_mg_l": mg_l, "u_so2_mg_l": 2.0}
        return self.write("titration", place, lot, at=at, **said)

    def read(self, steps: int = 22) -> list[tuple[int, int, float, int]]:
        """Readings of every probe, all values different, some bad; stored."""
        rows: list[tuple[int, int, float, int]] = []
        for at_ms in range(BASE_MS, BASE_MS + steps * STEP_MS, READ_EVERY_MS):
            for series in self.series.values():
                number = len(rows) * 0.25 % 97
                rows.append((series, at_ms + series, number, BAD if len(rows) % 7 == 3 else 0))
        Appender(self.store).append(rows)
        return rows

    def settle(self, before_ms: int) -> None:
        settler = Settler(self.store)
        settler.begin(before_ms)
        while settler.slice():
            pass

    def catch_up(self) -> None:
        following = CatchUp(self.store)
        while following.slice():
            pass


@pytest.fixture
def cellar(tmp_path: Path) -> Iterator[Cellar3]:
    with new_store(tmp_path) as store:
        yield Cellar3(store)


def rows_of(history: MergedHistory) -> list[Row]:
    """(at, value, vessel, entry, struck, share) of each row."""
    rows: list[Row] = []
    for at_ms, value, _, _, source, entry, share in zip(*(column.tolist() for column in history.rows), strict=True):
        result = history.results.get(entry)
        vessel = history.sources[source].place if result is None else result.vessel or ""
        struck = result is not None and result.struck
        rows.append((at_ms, value, vessel, entry, struck, None if math.isnan(share) else share))
    return rows


def share_in(held: VesselState | None, lot: str) -> tuple[bool, float | None]:
    if held is None or held.empty:
        return False, None
    return any(each == lot for each, _ in held.wine.parts), dict(held.wine.parts).get(lot)


def model(
    cellar: Cellar3, readings: list[tuple[int, int, float, int]], lot: str, quantity: str, *, struck: bool = False
) -> list[Row]:
    """What the history of a lot should be, by asking the whole journal again for every row."""
    written = entries(cellar.store)
    ledger = Ledger(written, EQUIPMENT)
    where = {series: probe.split("-")[0] for probe, series in cellar.series.items()}
    found: list[tuple[int, int, int, Row]] = []
    for series, at_ms, number, _ in readings if quantity == "temperature" else ():
        there, share = share_in(ledger.states_at(at_ms).get(where[series]), lot)
        if there:
            found.append((at_ms, 0, series, (at_ms, number, where[series], 0, False, share)))
    for entry in written:
        for result in entry.body.results:
            if result.quantity != quantity or (entry.struck and not struck):
                continue
            key = (entry.at_ms, entry.id)
            before = share_in(ledger.before(key).get(entry.place or ""), lot)
            if entry.lot == lot or (entry.lot is None and before[0]):
                row = (entry.at_ms, result.value, entry.place or "", entry.id, entry.struck is not None, before[1])
                found.append((entry.at_ms, 1, entry.id, row))
    return [row for *_, row in sorted(found, key=lambda one: one[:3])]


_results = st.tuples(
    st.integers(0, 20), st.sampled_from(VESSELS), st.sampled_from([None, "A"]), st.sampled_from([11.0, 30.0])
)


@settings(max_examples=60, deadline=None)
@given(st.lists(ACTS | _results, max_size=16), st.sampled_from([0, 9, 30]), st.integers(1, 40))
def test_the_history_of_a_lot_is_what_was_read_and_found_where_it_lay(
    acts: list[tuple[Any, ...]], settled: int, points: int
) -> None:
    with tempfile.TemporaryDirectory() as folder, new_store(Path(folder)) as store:
        cellar = Cellar3(store)
        readings = cellar.read()
        cellar.settle(BASE_MS + settled * STEP_MS)
        if settled:
            cellar.catch_up()
        for number, *act in acts:
            try:
                match act:
                    case [bool(later)]:
                        known = entries(store)
                        strike(store, known[number % len(known)].id, "Ben", "x", cellar.now, with_later=later)
                    case [(kind, place, lot, said)]:
                        cellar.write(kind, place, lot, at=number, **said)
                    case [vessel, lot, mg_l]:
                        cellar.titrate(vessel, mg_l, at=number, lot=lot)
            except EntryRefused:
                pass
        for lot in "AB":
            for quantity in ("temperature", "free_so2", "volume"):
                for struck in (False, True):
                    subject = OfLot(lot, quantity)
                    wanted = model(cellar, readings, lot, quantity, struck=struck)
                    history = raw(store, subject, struck=struck)
                    assert rows_of(history) == wanted
                    ends = (wanted[0][0], wanted[-1][0]) if wanted else None
                    assert span(store, subject, struck=struck) == ends
                    part = BASE_MS + 5 * STEP_MS, BASE_MS + 12 * STEP_MS + 1
                    inner = [row for row in wanted if part[0] <= row[0] < part[1]]
                    assert rows_of(raw(store, subject, *part, struck=struck)) == inner
            hold_summary(cellar, readings, lot, points)
            hold_latest(cellar, readings, lot)
            hold_entries(store, lot)


def hold_summary(cellar: Cellar3, readings: list[tuple[int, int, float, int]], lot: str, points: int) -> None:
    """Summaries are those of the raw readings of each probe, span by span."""
    subject = OfLot(lot, "temperature")
    from_ms, to_ms = BASE_MS + 2 * STEP_MS, BASE_MS + 17 * STEP_MS
    downsampled = summary(cellar.store, subject, from_ms, to_ms, points)
    span_ms = 1 if downsampled.level is None else LEVELS[downsampled.level]
    asked = raw(cellar.store, subject, from_ms, to_ms).rows.at_ms.tolist()
    if not asked:
        assert downsampled.sources == ()
        return
    # What is asked for is given in whole spans.
    history = raw(cellar.store, subject, asked[0] // span_ms * span_ms, (asked[-1] // span_ms + 1) * span_ms)
    wanted: dict[tuple[int, int], list[tuple[float, int]]] = {}
    for at_ms, value, _, quality, source, *_ in zip(*(column.tolist() for column in history.rows), strict=True):
        if source >= 0:
            wanted.setdefault((source, at_ms // span_ms * span_ms), []).append((value, quality & 3))
    found = {}
    for part in downsampled.sources:
        source = history.sources.index(part.source)
        for place, begin_ms in enumerate(part.rows.from_ms.tolist()):
            found[(source, begin_ms)] = [
                int(part.rows.readings[place]),
                *(float(column[place]) for column in part.rows[2:7]),
                int(part.rows.worst[place]),
            ]
    assert found.keys() == wanted.keys()
    for key, values in wanted.items():
        sound = [value for value, quality in values if quality < 2]
        numbers = [math.nan] * 5
        if sound:
            numbers = [min(sound), max(sound), math.fsum(sound) / len(sound), sound[0], sound[-1]]
        worst = max(quality for _, quality in values)
        assert found[key] == pytest.approx([len(sound), *numbers, worst], nan_ok=True)


def hold_latest(cellar: Cellar3, readings: list[tuple[int, int, float, int]], lot: str) -> None:
    ledger = Ledger(entries(cellar.store), EQUIPMENT)
    where = {series: probe.split("-")[0] for probe, series in cellar.series.items()}
    lies = [vessel for vessel in VESSELS if share_in(ledger.states_at(cellar.now).get(vessel), lot)[0]]
    rows = model(cellar, readings, lot, "temperature")
    here = history_sources(cellar.store, OfLot(lot, "temperature"))
    since = {one.place: one.from_ms for one in here if one.to_ms is None}
    assert sorted(since) == sorted(lies)
    newest = {series: (at_ms, number) for series, at_ms, number, _ in readings}
    wanted = sorted(
        (*newest[series], vessel)
        for series, vessel in where.items()
        if vessel in lies and newest[series][0] >= since[vessel]
    )
    found = rows_of(latest(cellar.store, OfLot(lot, "temperature")))
    assert [row[:3] for row in found] == wanted
    assert all(row in rows for row in found)


def hold_entries(store: Store, lot: str) -> None:
    """The entries of a lot: those that name it, and those on a vessel that held it before or after them."""
    written = entries(store)
    ledger = Ledger(written, EQUIPMENT)
    wanted = []
    for entry in written:
        sides = (ledger.before((entry.at_ms, entry.id)), ledger.before((entry.at_ms, entry.id + 1)))
        places = entry.places
        if entry.lot == lot or any(share_in(side.get(place), lot)[0] for side in sides for place in places):
            wanted.append(entry.id)
    assert [entry.id for entry in entries(store, lot=lot)] == wanted


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
