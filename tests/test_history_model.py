"""The history of any lot, held against a second, simple way to work it out."""

from __future__ import annotations

import math
import tempfile
from pathlib import Path
from typing import Any

import pytest
from a_history import BASE_MS, STEP_MS, Cellar3, Row, rows_of, share_in
from a_store import new_store
from hypothesis import given, settings
from hypothesis import strategies as st
from journal_acts import ACTS, VESSELS
from journal_entries import EQUIPMENT

from ingest.errors import EntryRefused
from ingest.history import (
    OfLot,
    history_sources,
    latest,
    raw,
    span,
    summary,
)
from ingest.journal.ledger import Ledger
from ingest.store import Store
from ingest.store.journal.entries import entries, strike
from ingest.store.readings.summary import LEVELS


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
