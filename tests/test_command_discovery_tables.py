"""Proposed probe tables: valid TOML whatever came, and a cellar file that loads once the gaps are filled."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Collection
from pathlib import Path

import pytest
from cellar_text import KEG, MQTT, SITE, cylinder, room, serial, site
from hypothesis import given
from hypothesis import strategies as st

from alerts.command.discovery.probe_table import SampleGroup, probe_tables
from alerts.command.sample_outcome import TrialDecoder
from ingest.cellar import Cellar, parse_cellar
from ingest.sources.sample import Sample

NOW_MS = 1_795_595_400_000
ROOM = room()
LINE = serial("/dev/serial/by-id/usb-example")
EQUIPMENT = site(altitude="340 m") + MQTT + LINE + KEG + cylinder() + ROOM
BASE = Path("/srv/cellar")
CELLAR = parse_cellar(EQUIPMENT, file="cellar.toml", base=BASE)


def mqtt(topic: str, payload: bytes) -> SampleGroup:
    return SampleGroup("mqtt", topic, newest=payload)


def line(payload: bytes, encoding: str = "utf-8") -> SampleGroup:
    return SampleGroup("bench-line", "bench-line", encoding, payload)


def propose(group: SampleGroup, cellar: Cellar = CELLAR, ids: Collection[str] = ()) -> str:
    return "\n".join(probe_tables(group, cellar, ids, NOW_MS).values())


def filled(text: str) -> str:
    """The proposal with each gap filled by its first choice."""
    return re.sub(r"^# (at|quantity|unit) = ", r"\1 = ", text, flags=re.MULTILINE)


def loaded(group: SampleGroup) -> Cellar:
    text = propose(group)
    tomllib.loads(text)
    coded = "" if group.encoding in (None, "utf-8") else f'encoding = "{group.encoding}"\n'
    equipment = EQUIPMENT.replace(LINE, LINE + coded)
    return parse_cellar(equipment + filled(text), file="cellar.toml", base=BASE)


FORMS = {
    "plain number": (mqtt("cellar/K1/pressure", b"8.0"), [8.0]),
    "plain number with a decimal comma": (mqtt("cellar/K1/temp_c", b"8,5"), [8.5]),
    "topic without a name": (mqtt("7", b"8.0"), [8.0]),
    "topic with quotes and backslashes": (mqtt("a\\\"'b", b"8.0"), [8.0]),
    "JSON": (mqtt("box", b'{"at": "2026-11-25T08:30:00Z", "gas": {"kPa": 54.2, "t": 12.5}}'), [54.2, 12.5]),
    "JSON, numbers in a list": (mqtt("box", b'{"ts": 1795595400, "values": [1, 2.5]}'), [1.0, 2.5]),
    "JSON with keys that a pointer escapes": (mqtt("box", b'{"a/b~c": 3}'), [3.0]),
    "SenML": (
        mqtt("s", b'[{"bn": "k1:", "n": "temp", "u": "Cel", "v": 20}, {"n": "p", "u": "Pa", "v": 3000}]'),
        [20.0, 3000.0],
    ),
    "SenML without a unit": (mqtt("s", b'[{"n": "k1", "v": 20}]'), [20.0]),
    "pH in SenML": (mqtt("s", b'[{"n": "k1", "u": "pH", "v": 3.4}]'), [3.4]),
    "line of one number": (line(b"K3 P=54.2"), [54.2]),
    "line with padding and unit": (line(b"  +0012.35 kg "), [12.35]),
    "line with a time of day": (line(b"12:30:05;K1;11,8;OK"), [11.8]),
    "line with a date": (line(b"2026-11-25 10:11:12, 5.5, 6"), [5.5, 6.0]),
    "line of two numbers": (line(b"P=54.2 T=11.8"), [54.2, 11.8]),
    "line of three columns": (line(b"1,2,3"), [1.0, 2.0, 3.0]),
    "line with tabs and a control character": (line(b"K1\tT\t21.5\x01"), [21.5]),
    "line with both kinds of quotes": (line(b'it\'s "5"'), [5.0]),
    "line with what a pattern must escape": (line(b"(K1) [T] 4.5 ^$.*+?{}|"), [4.5]),
    "line with a backslash before a quote": (line(b'C:\\"x" 4.5'), [4.5]),
    "line with an exponent": (line(b"T -1.5e-1"), [-0.15]),
    "line in Latin-1": (line("T 21.5 °C".encode("latin-1"), encoding="latin-1"), [21.5]),
}


@pytest.mark.parametrize("form", FORMS)
def test_a_filled_proposal_loads_and_its_probes_take_the_very_sample(form: str) -> None:
    group, numbers = FORMS[form]
    sample = Sample(group.source, group.address, group.newest, NOW_MS, 0.0)
    outcome = TrialDecoder(loaded(group)).decode(sample)
    assert [reading.number for reading in outcome.readings] == pytest.approx(numbers)
    assert not outcome.refusals


@pytest.mark.parametrize(
    "group",
    [
        mqtt("cellar/K1/lid", b"open"),
        mqtt("cellar/K1/lid", b""),
        mqtt("cellar/K1/lid", b'{"lid": "open", "ok": true, "at": "2026-11-25T08:30:00Z"}'),
        mqtt("cellar/K1/lid", b'"21.5"'),
        mqtt("cellar/K1/lid", b"\xff\xfe"),
        line(b"hello"),
        line(b"\xff\xfe 21.5"),
    ],
)
def test_where_no_number_stands_nothing_is_proposed(group: SampleGroup) -> None:
    assert propose(group) == ""


def test_what_is_clear_stands_there_and_what_is_not_is_a_choice() -> None:
    group = mqtt("cellar/K1/pressure", b"8.0")
    group.arrivals_mono = [0.0, 9.8, 19.5]
    assert propose(group).splitlines() == [
        "# 8.0 came here",
        "[[probe]]",
        'id = "cellar-k1-pressure"',
        '# at = "K1"  # or "N2"',
        'quantity = "pressure"',
        'topic = "cellar/K1/pressure"',
        '# unit = "kPa"  # or "psi", "mbar", "bar"',
        'every = "10 s"',
    ]


def test_a_time_beside_the_number_becomes_its_time_pointer() -> None:
    payload = json.dumps({"a": {"t": 1_795_595_400, "c": 3}, "b": {"c": 4}, "at": "2026-11-25T08:30:00Z"}).encode()
    tables = tomllib.loads(propose(mqtt("box", payload)))["probe"]
    assert [(table["pointer"], table["time_pointer"]) for table in tables] == [("/a/c", "/a/t"), ("/b/c", "/at")]


def test_a_member_called_t_that_is_no_time_is_a_number() -> None:
    tables = tomllib.loads(propose(mqtt("box", b'{"t": 21.5}')))["probe"]
    assert [table["pointer"] for table in tables] == ["/t"]
    assert "time_pointer" not in tables[0]


def test_a_number_in_quotes_is_told_but_not_proposed() -> None:
    text = propose(mqtt("box", b'{"a": 1, "b": "21.5"}'))
    assert '# numbers in quotes are texts and are not read: /b "21.5"' in text
    assert text.count("[[probe]]") == 1


def test_a_name_that_is_taken_gets_a_number() -> None:
    assert list(probe_tables(mqtt("k1/p", b"8"), CELLAR, ("k1-p",), NOW_MS)) == ["k1-p-2"]
    assert list(probe_tables(mqtt("k1/p", b"8"), CELLAR, ("k1-p", "k1-p-2"), NOW_MS)) == ["k1-p-3"]


def test_without_a_fitting_place_the_proposal_says_which_to_write() -> None:
    text = propose(mqtt("cellar/K1/pressure", b"8.0"), parse_cellar(SITE + ROOM, file="cellar.toml", base=BASE))
    assert "# at: write its place first (barrel, bottle, carboy, cylinder, keg, tank), then the place's id here" in text
    assert tomllib.loads(text)["probe"][0]["quantity"] == "pressure"


def test_a_one_wire_chip_is_a_temperature() -> None:
    probe = loaded(SampleGroup("w1", "28-3c01f0964f2b", arrivals_mono=[0.0, 10.3])).probe[0]
    assert (probe.w1, probe.quantity, probe.unit, probe.every_s) == ("28-3c01f0964f2b", "temperature", "degC", 10.0)


@given(st.text(min_size=1, max_size=30), st.binary(max_size=60))
def test_whatever_comes_over_mqtt_the_proposal_is_toml(topic: str, payload: bytes) -> None:
    tomllib.loads(filled(propose(mqtt(topic, payload))))


@given(st.text(alphabet=st.characters(codec="utf-8", exclude_characters="\r\n"), min_size=1, max_size=60))
def test_whatever_stands_in_a_line_each_proposed_pattern_takes_it(text: str) -> None:
    tables = tomllib.loads(filled(propose(line(text.encode())))).get("probe", [])
    for table in tables:
        assert re.fullmatch(table["pattern"], text)


_NUMBERS = st.floats(-1e6, 1e6).map(lambda number: f"{number:.3f}")


@given(st.lists(st.tuples(st.text("abcKT =:;,\t°(*", min_size=1, max_size=8), _NUMBERS), min_size=1, max_size=5))
def test_lines_of_names_and_numbers_load(parts: list[tuple[str, str]]) -> None:
    group = line("".join(name + number for name, number in parts).encode())
    if propose(group):
        loaded(group)


@given(st.dictionaries(st.text(max_size=8), st.integers() | st.floats() | st.none() | st.text(max_size=5), max_size=5))
def test_whatever_stands_in_json_the_filled_proposal_loads(members: dict[str, object]) -> None:
    group = mqtt("box", json.dumps({"inner": members}).encode())
    if propose(group):
        loaded(group)
