"""Readings and alarm changes as lines: read back by another parser, and beside the client library's own points."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from a_store import NOW
from hypothesis import given
from hypothesis import strategies as st
from influx_server import parse_line
from influxdb_client.client.write.point import Point

from ingest.mirror.encoder import Head, alarm_line, heads, reading_lines, reading_ms
from ingest.reading import ESTIMATED, Quality, Reason, quality_code
from ingest.store.alarms.alarm_record import TransitionRow
from ingest.store.readings.block import Arrays

SITES = [(0, "Mill Lane cellar")]


def readings(*rows: tuple[int, float, int]) -> Arrays:
    times, values, qualities = zip(*rows, strict=True)
    return Arrays(np.array(times, np.int64), np.array(values, np.float64), np.array(qualities, np.uint16))


def one_line(value: float = 12.5, *, probe: str = "k1-pressure", place: str = "K1", site: str = "S") -> str:
    (line,) = reading_lines(readings((NOW, value, 0)), heads((probe, place), [], "pressure", [(0, site)]))
    return line


def test_a_reading_as_it_is_written() -> None:
    lines = reading_lines(readings((NOW, 12.5, 0)), heads(("k1-pressure", "K1"), [], "pressure", SITES))
    assert lines == [
        r"reading,place=K1,probe=k1-pressure,quantity=pressure,site=Mill\ Lane\ cellar value=12.5,quality=0i "
        "1795631400000000000"
    ]
    assert reading_ms(lines[0]) == NOW


def test_a_whole_number_stays_a_float() -> None:
    assert " value=3.0," in one_line(3)


def test_quality_is_the_class_without_its_reason() -> None:
    codes = [quality_code(quality, Reason.JUMP) for quality in (Quality.GOOD, Quality.UNCERTAIN, Quality.BAD)]
    lines = reading_lines(readings(*((NOW + code, 1.0, code) for code in codes)), [Head(0, "reading,site=S")])
    assert [line.split("quality=")[1][:2] for line in lines] == ["0i", "1i", "2i"]


def test_what_is_not_finite_or_has_no_sure_time_has_no_line() -> None:
    rows = [(NOW, math.nan, 0), (NOW + 1, math.inf, 0), (NOW + 2, -math.inf, 0), (NOW + 3, 1.0, ESTIMATED + 17)]
    lines = reading_lines(readings(*rows, (NOW + 4, 1.0, 0)), [Head(0, "reading,site=S")])
    assert [reading_ms(line) for line in lines] == [NOW + 4]


_NASTY = st.text(st.sampled_from(list("aK1é ,=\"\\\n\r\t#'")), min_size=1, max_size=8)


@given(_NASTY, _NASTY, _NASTY, st.floats(allow_nan=False, allow_infinity=False))
def test_tags_and_value_as_the_library_writes_them(probe: str, place: str, site: str, value: float) -> None:
    line = one_line(value, probe=probe, place=place, site=site)
    theirs: Any = Point("reading")  # type: ignore[no-untyped-call]  # has no hints
    theirs.tag("place", place).tag("probe", probe).tag("quantity", "pressure").tag("site", site)
    assert line.split(" value=")[0] == theirs.field("value", value).time(0).to_line_protocol().split(" value=")[0]
    assert "\n" not in line


@given(_NASTY, _NASTY, _NASTY, st.floats(allow_nan=False, allow_infinity=False))
def test_a_line_read_back_is_what_went_in(probe: str, place: str, site: str, value: float) -> None:
    measurement, tags, fields, at = parse_line(one_line(value, probe=probe, place=place, site=site))
    breaks = str.maketrans({"\n": "\\n", "\r": "\\r", "\t": "\\t"})

    def kept(text: str) -> str:
        text = text.translate(breaks)
        # A server takes the library's blank behind a last backslash for a guarded one.
        return text[:-1] + " " if text.endswith("\\") else text

    assert (measurement, at) == ("reading", NOW * 1_000_000)
    assert tags == {"place": kept(place), "probe": kept(probe), "quantity": "pressure", "site": kept(site)}
    assert float(fields["value"]) == value
    assert fields["quality"] == "0i"


def test_a_point_keeps_the_names_of_its_own_time() -> None:
    renamed = [(NOW + 200, "p2", "K2"), (NOW + 100, "p1", "K1")]
    dated = heads(("p3", "K3"), renamed, "pH", [(NOW - 900, "first"), (NOW + 150, "second")])
    rows = [(NOW + step, 1.0, 0) for step in (-5000, 99, 100, 149, 150, 199, 200, 5000)]
    names = [parse_line(line)[1] for line in reading_lines(readings(*rows), dated)]
    assert [(tags["probe"], tags["place"], tags["site"]) for tags in names] == [
        ("p1", "K1", "first"),
        ("p1", "K1", "first"),
        ("p2", "K2", "first"),
        ("p2", "K2", "first"),
        ("p2", "K2", "second"),
        ("p2", "K2", "second"),
        ("p3", "K3", "second"),
        ("p3", "K3", "second"),
    ]


def transition(**changes: object) -> TransitionRow:
    row = TransitionRow(NOW, "K1/pressure/low", "a2b", "condition began", "normal", "unacknowledged", 3.5, "", "")
    return row._replace(**changes)  # type: ignore[arg-type]  # a test's keywords


def test_an_alarm_as_it_is_written() -> None:
    line = alarm_line(7, transition(who="Ana", note='the "lid"\nsat badly \\'), "Mill Lane")
    assert line == (
        r"alarm,limit=K1/pressure/low,site=Mill\ Lane active=1i,event=" + '"condition began",from_state="normal",'
        'to_state="unacknowledged",occurrence="a2b",who="Ana",note="the \\"lid\\" sat badly \\\\",value=3.5 '
        "1795631400000000007"
    )
    measurement, tags, fields, _ = parse_line(line)
    assert (measurement, tags["site"]) == ("alarm", "Mill Lane")
    assert fields["note"] == '"the \\"lid\\" sat badly \\\\"'
    assert reading_ms(line) is None


@pytest.mark.parametrize(
    ("state", "active"),
    [
        ("unacknowledged", 1),
        ("acknowledged", 1),
        ("returned", 0),
        ("normal", 0),
        ("suppressed", 0),
        ("shelved", 0),
        ("out of service", 0),
    ],
)
def test_active_follows_the_state(state: str, active: int) -> None:
    line = alarm_line(1, transition(to_state=state, value=math.nan, occurrence=None), "S")
    assert parse_line(line)[2]["active"] == f"{active}i"
    assert "value" not in line
    assert "occurrence" not in line


def test_two_changes_of_a_limit_in_one_millisecond_are_two_points() -> None:
    first, second = (alarm_line(id, transition(), "S") for id in (1_999_999, 2_000_000))
    assert first.rsplit(" ", 1)[1] != second.rsplit(" ", 1)[1]


@given(st.text(st.sampled_from(list('a "\\\n,=')), max_size=10))
def test_text_fields_as_the_library_writes_them(note: str) -> None:
    line = alarm_line(0, transition(note=note, value=None), "S")
    flat = note.replace("\n", " ")
    assert "\n" not in line
    if note:
        assert 'note="' + flat.replace("\\", "\\\\").replace('"', '\\"') + '"' in line
        theirs: Any = Point("alarm")  # type: ignore[no-untyped-call]  # has no hints
        line_of_theirs = theirs.tag("site", "S").field("note", flat).time(NOW * 1_000_000).to_line_protocol()
        assert parse_line(line_of_theirs)[2]["note"] == parse_line(line)[2]["note"]
