"""Tables with any columns become readings, or reasons with their lines."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import IngestError
from ingest.exchange.layout import OWN_COLUMNS, Layout, one_probe_layout, own_layout, wide_layout
from ingest.exchange.moments import Moments
from ingest.exchange.rows import EXAMPLES, Rows

NOW = 1_795_631_400_000
KNOWN = {("k1", "K1", "pressure"): 4, ("k1-t", "K1", "temperature"): 5}


def rows(layout: Layout, given_rows: list[list[str]]) -> Rows:
    taking = Rows(layout, Moments(ZoneInfo("UTC"), NOW))
    for line, row in enumerate(given_rows, 2):
        taking.take(line, row)
    return taking


def test_one_probe() -> None:
    layout = one_probe_layout(["No", " Time ", "Temp"], "Time", "Temp", 7)
    taken = rows(layout, [["1", "2026-11-01 10:00", "17.5"], [], ["2", "2026-11-01 10:01", "17.6"]])
    column = taken.take_out()[7]
    assert list(column.value) == [17.5, 17.6]
    assert column.at_ms[1] - column.at_ms[0] == 60_000
    assert (taken.rows, taken.held, taken.refused) == (2, 0, {})


def test_many_probes_and_their_gaps() -> None:
    layout = wide_layout(["t", "a", "b"], "t", [("b", 2), ("a", 1)])
    taken = rows(layout, [["1795600000", "1", "2"], ["1795600010", "", "3"], ["1795600020", "x"]])
    assert {number: list(column.value) for number, column in taken.columns.items()} == {1: [1.0], 2: [2.0, 3.0]}
    refused = {reason: (found.times, found.examples[0][0]) for reason, found in taken.refused.items()}
    assert refused == {"empty": (1, 3), "too few cells": (1, 4), "not a number": (1, 4)}


def test_a_table_without_names_is_told_by_number_and_its_first_row_counts() -> None:
    layout = wide_layout(["1795600000", "5.5"], "1", [("2", 9)])
    assert (layout.headed, layout.at, layout.values) == (False, 0, ((1, 9),))
    assert wide_layout(["1", "2"], "1", [("2", 9)]).headed


@pytest.mark.parametrize(
    ("first", "at", "value", "words"),
    [
        (["Time", "Temp"], "time", "Temp", ["no column 'time'", "'Time', 'Temp'"]),
        (["Time;Temp"], "Time", "Temp", ["no column 'Time'", "--delimiter"]),
        (["Time", "Temp", "Temp"], "Time", "Temp", ["'Temp' 2 times"]),
        (["Time", "Temp"], "Time", "Time", ["cannot be two things"]),
        (["1795600000", "5"], "1", "3", ["no column 3", "has 2"]),
    ],
)
def test_columns_that_are_not_there(first: list[str], at: str, value: str, words: list[str]) -> None:
    with pytest.raises(IngestError) as caught:
        one_probe_layout(first, at, value, 1)
    assert all(word in str(caught.value) for word in words)


def test_a_table_that_leeside_wrote_needs_no_words() -> None:
    layout = own_layout(OWN_COLUMNS, KNOWN)
    assert layout is not None
    good = ["2026-11-01T10:00:00.000Z", "k1", "K1", "pressure", "55.5", "kPa", "bad"]
    wrong = {
        "no such series in the store": {1: "k9"},
        "another unit": {5: "psi"},
        "not a quality": {6: "fine"},
        "not a number": {4: "high"},
        "not a time": {0: "noon"},
    }
    table = [good] + [[changed.get(place, cell) for place, cell in enumerate(good)] for changed in wrong.values()]
    taken = rows(layout, [*table, good[:3]])
    assert list(taken.columns[4].value) == [55.5]
    assert list(taken.columns[4].quality) == [2]
    assert {*taken.refused} == {*wrong, "too few cells"}
    assert own_layout(["at", "value"], KNOWN) is None


def test_only_the_first_examples_are_kept() -> None:
    taken = rows(one_probe_layout(["t", "v"], "t", "v", 1), [["noon", "1"]] * 10)
    assert taken.refused["not a time"].times == 10
    assert [line for line, _ in taken.refused["not a time"].examples] == list(range(2, 2 + EXAMPLES))


@given(st.lists(st.lists(st.text(max_size=12), max_size=8), max_size=5))
def test_any_rows_are_taken_or_refused(table: list[list[str]]) -> None:
    own = own_layout(OWN_COLUMNS, KNOWN)
    assert own is not None
    for layout in (own, wide_layout(["t", "a"], "t", [("a", 1)])):
        taken = rows(layout, table)
        assert taken.held + sum(found.times for found in taken.refused.values()) == taken.rows
