"""Entries as lines: what goes out comes in again; any line is an entry, or its mistakes are reported."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from journal_entries import a_body

from ingest.exchange.entry_lines import LONGEST_LINE, entry_line, entry_object, read_entry_lines
from ingest.exchange.entry_table import ENTRY_COLUMNS, entry_row, table_rows
from ingest.journal.entry import Entry, Strike
from ingest.journal.kinds import KINDS
from ingest.journal.merging import EntryLine

ZONE = ZoneInfo("Europe/Ljubljana")
NOW = 1_795_631_400_000  # 2026-11-25T18:30:00Z

# One body of each kind, with all that a kind can say.
SAID: dict[str, dict[str, Any]] = {
    "lot": {"name": "Žlahtna", "style": "rosé", "vintage": 2025, "alcohol_percent_vol": 12.1, "malolactic": "complete"},
    "first-filling": {"volume_l": 16.000000000000004, "u_volume_l": 0.1, "blend": True},
    "titration": {
        "quantity": "total", "method": "aeration", "flasks": [{"titre_ml": 1.25}, {"start_ml": 0.1, "end_ml": 1.3}],
        "blank_ml": 0.05, "sample_ml": 20.0, "titrant": "NaOH 3",
        "strength": {"number": 0.01, "meaning": "sodium hydroxide molarity"},
        "factor": 0.98, "so2_mg_l": 61.2, "u_so2_mg_l": 1.7, "warnings": ["old"], "end_point_s": 30.0, "remark": "a\nb",
    },
    "titrant": {
        "name": "I2", "substance": "iodine", "strength": {"number": 0.02, "meaning": "normality"},
        "opened_ms": NOW - 1, "standardised_ms": 0, "factor": 1.01,
    },
    "measurement": {"quantity": "iron", "value": -3.5e-7, "u_value": 0.1, "unit": "mg/L", "instrument": "strip"},
    "addition": {"form": "metabisulfite", "salt": "potassium", "mass_g": 1.2, "so2_g": 0.69},
    "racking": {
        "sources": [{"vessel": "K1", "volume_l": 3.0, "emptied": False, "lees_l": 0.1}], "targets": [{"vessel": "K3"}],
        "begun": 3,
    },
    "topping": {"volume_l": 0.7, "bought": {"number": 1, "size_l": 0.75, "name": "x", "ph": 3.4, "sugar_g_l": 1.0}},
    "sample": {},
    "gas": {"act": "gas changed", "gas": "argon", "cylinder": "Ar"},
    "inspection": {"clarity": "hazy", "turbidity_ntu": 12.0, "lees_mm": 4.0, "smell": "fine", "film": False},
    "bottling": {"bottles": [{"number": 20, "size_l": 0.75}], "closure": "cork", "waste_l": 0.2, "remainder_l": 0.0},
    "calibration": {"probe": "p", "points": [{"truth": 0.0, "shown": 1.5}], "unit": "kPa", "temperature_c": 20.0},
    "vessel-status": {"status": "out of use", "airlock_liquid_seen": True},
}  # fmt: skip
STRUCK = Strike(NOW, "Ben", 'it was "K2"\n\ttwice,\u00a05 L', 4)


def an_entry(kind: str, struck: Strike | None = None) -> Entry:
    return Entry(17, kind, NOW - 61_001, NOW - 2, "Ana Ž", "K1", "ries", a_body(kind, **SAID[kind]), struck)


def read(*lines: str | bytes) -> tuple[list[EntryLine], list[tuple[int, str]]]:
    raw = b"".join(line.encode() if isinstance(line, str) else line for line in lines)
    found = read_entry_lines(io.BytesIO(raw), ZONE, NOW)
    return found.entries, [(line, why) for line, why in found.mistakes]


@pytest.mark.parametrize("struck", [None, STRUCK])
@pytest.mark.parametrize("kind", KINDS)
def test_what_goes_out_comes_in_again(kind: str, struck: Strike | None) -> None:
    entry = an_entry(kind, struck)
    line = entry_line(entry)
    assert line.endswith("\n") and "\n" not in line[:-1]
    (told,), mistakes = read(line)
    assert mistakes == []
    assert (told.entry, told.dated) == (entry, True)
    assert json.loads(line) == entry_object(entry)


def test_each_kind_has_its_example() -> None:
    assert set(SAID) == set(KINDS)


def test_times_are_texts_in_utc_with_milliseconds() -> None:
    found: Any = entry_object(an_entry("titrant", STRUCK))
    assert found["at"] == "2026-11-25T18:28:58.999Z"
    assert found["struck"]["at"] == "2026-11-25T18:30:00.000Z"
    assert found["body"]["opened"] == "2026-11-25T18:29:59.999Z"
    assert found["body"]["standardised"] == "1970-01-01T00:00:00.000Z"


def test_a_hand_written_line_needs_little() -> None:
    line = '{"kind":"sample","at":"2026-11-25 18:30","who":" Ana ","place":"K1","body":{"volume_l":1}}'
    (told, again), mistakes = read("\ufeff" + line + "\r\n", "\n", line.replace("18:30", "18:30:00.000+01:00"))
    assert mistakes == []
    assert (told.line, again.line, again.entry) == (1, 3, told.entry)
    assert (told.entry.id, told.entry.who, told.entry.struck) == (0, "Ana", None)
    assert (told.entry.written_ms, told.dated) == (NOW, False)
    assert told.entry.at_ms == NOW - 3_600_000


def test_blank_lines_count_as_lines_but_say_nothing() -> None:
    _, mistakes = read("\n", " \r\n", "x\n")
    assert [line for line, _ in mistakes] == [3]


GOOD: dict[str, Any] = {
    "id": 3, "kind": "titrant", "at": "2026-11-25T18:30:00Z", "who": "Ana",
    "body": {"name": "I2", "substance": "iodine", "strength": {"number": 0.02, "meaning": "normality"}},
}  # fmt: skip
STRIKE = {"at": "2026-11-25T18:30:00Z", "who": "Ana", "reason": "x"}


@pytest.mark.parametrize(
    ("changes", "whys"),
    [
        ({"at": "2026-11-25"}, ['at = "2026-11-25": is not a time of a day; write such as "2026-11-25T18:30:00.000Z"']),
        ({"at": "2026-13-25T18:30:00Z"}, ["month must be in 1..12"]),
        ({"at": "2026-10-25 02:30"}, ["occurred twice"]),
        ({"at": "1960-01-01T00:00:00Z"}, ["is before 1970"]),
        ({"at": 5}, ["at = 5: is not a text"]),
        ({"at": None, "who": None}, ["at = null", "who = null"]),
        ({"id": 0}, ["id = 0: must be at least 1"]),
        ({"id": True}, ["id = true"]),
        ({"id": 2**52 + 1}, ["must be at most 4503599627370496"]),
        ({"who": " "}, ['who = " ": must not be empty']),
        ({"who": "A\u0007"}, ["must not hold control characters"]),
        ({"place": "K 1"}, ['place = "K 1": 1 to 64 letters']),
        ({"kind": "filling"}, ['kind = "filling": there is no such kind; there are: lot, first-filling']),
        ({"volume_l": 3}, ['"volume_l": there is no such key; there are: id, kind, at, written, who, place']),
        ({"body": []}, ["body = []: must be an object with keys"]),
        ({"body": {}}, ["body name: is missing", "body substance: is missing", "body strength: is missing"]),
        ({"body": {**GOOD["body"], "opened": "soon"}}, ["body opened = \"soon\": is not a time of a day"]),
        ({"body": {**GOOD["body"], "opened": 5}}, ["body opened = 5: is not a text"]),
        ({"body": {**GOOD["body"], "opened": "2026-11-25T18:30:00Z", "opened_ms": 5}}, ["given twice"]),
        ({"body": {**GOOD["body"], "factor": -1}}, ["body factor = -1: must be more than 0"]),
        ({"struck": {**STRIKE, "reason": ""}}, ["struck reason = \"\""]),
        ({"struck": {**STRIKE, "why": "x"}}, ['"struck" "why": there is no such key; there are: at, who, reason']),
        ({"struck": {**STRIKE, "at": "x"}, "at": "y"}, ["at = \"y\"", "struck at = \"x\""]),
        ({"struck": True}, ["struck = true"]),
    ],
)  # fmt: skip
def test_every_mistake_of_a_line_is_told_with_its_key(changes: dict[str, Any], whys: list[str]) -> None:
    told, mistakes = read(json.dumps(GOOD) + "\n", json.dumps({**GOOD, **changes}) + "\n")
    assert len(told) == 1
    assert [line for line, _ in mistakes] == [2] * len(whys)
    for (_, found), why in zip(mistakes, whys, strict=True):
        assert why in found


@pytest.mark.parametrize(
    ("raw", "why"),
    [
        (b"{", "is not a JSON object (Expecting property name"),
        (b"[1]", "is [1], not a JSON object"),
        (b"[", "take a list apart"),
        (b"1" * 5000, "is not a JSON object (Exceeds the limit"),
        (b"NaN", "holds NaN, which is not a number"),
        (b'{"who": "A", "who": "B"}', 'has the key "who" twice'),
        (b'{"who": "\xff"}', "is not UTF-8 text (byte 10 cannot be read)"),
        (b'{"who": "\\ud800"}', "half a character"),
        (b"[" * 100_000, "is nested too deep"),
        (b" " + b"x" * LONGEST_LINE, "is longer than 1,048,576 bytes"),
        (json.dumps({**GOOD, "body": {"name": 1e300}}).replace("1e+300", "1e999").encode(), "body"),
    ],
)
def test_what_is_no_entry_at_all_is_told(raw: bytes, why: str) -> None:
    _, mistakes = read(raw + b"\n", "{}\n")
    assert mistakes[0][0] == 1
    assert why in mistakes[0][1]
    assert {line for line, _ in mistakes} == {1, 2}


def test_a_file_in_utf_16_is_told_once() -> None:
    _, mistakes = read("\n".join([json.dumps(GOOD)] * 9).encode("utf-16"))
    assert mistakes == [(1, "is not UTF-8 text but UTF-16; save the file as UTF-8")]


_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.just("2026-11-25T18:30Z"),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=5,
)  # fmt: skip


@given(st.sampled_from(list(KINDS)), st.dictionaries(st.sampled_from([*GOOD, "struck", "written", "lot", "x"]), _JSON))
def test_any_object_is_an_entry_or_its_mistakes_are_told(kind: str, changes: dict[str, Any]) -> None:
    line = json.dumps({**entry_object(an_entry(kind)), **changes})
    told, mistakes = read("\n", line)
    assert bool(told) != bool(mistakes)
    assert all(number == 2 and why for number, why in mistakes)
    for one in told:
        assert read(entry_line(replace(one.entry, id=1)))[1] == []


@given(st.binary(max_size=200))
def test_any_bytes_are_told_line_by_line(raw: bytes) -> None:
    _, mistakes = read(raw)
    assert {line for line, _ in mistakes} <= set(range(1, raw.count(b"\n") + 2))


def test_a_row_of_the_table_is_for_people_and_runs_nothing() -> None:
    body = a_body("inspection", smell="fine", remark="=1+1")
    entry = Entry(3, "inspection", NOW, NOW, "@Ana", "K1", None, body, Strike(NOW, "-", "a,b"))
    text = table_rows([ENTRY_COLUMNS, entry_row(entry), entry_row(an_entry("racking"))])
    head, first, second = csv.reader(io.StringIO(text))
    row = dict(zip(head, first, strict=True))
    assert (row["id"], row["at"], row["places"]) == ("3", "2026-11-25T18:30:00.000Z", "K1")
    assert (row["remark"], row["who"], row["struck_by"], row["struck_because"]) == ("'=1+1", "'@Ana", "'-", "a,b")
    assert json.loads(row["body"])["remark"] == "=1+1"
    assert dict(zip(head, second, strict=True))["places"] == "K1, K3"


@pytest.mark.parametrize(
    ("former", "said", "kind", "present"),
    [
        ("fill", {"volume_l": 16.0}, "first-filling", {"volume_l": 16.0}),
        ("look", {"clarity": "hazy"}, "inspection", {"clarity": "hazy"}),
        (
            "state",
            {"state": "cleaned", "lock_liquid_seen": False},
            "vessel-status",
            {"status": "cleaned", "airlock_liquid_seen": False},
        ),
    ],
)
def test_a_line_with_the_former_name_of_a_kind_is_an_entry_of_the_kind_as_it_is_called_now(
    former: str, said: dict[str, Any], kind: str, present: dict[str, Any]
) -> None:
    lot = {"lot": "A"} if former == "fill" else {}
    line = {"at": "2026-01-02 12:00", "who": "Ana", "place": "K1", **lot}
    told, mistakes = read(json.dumps({**line, "kind": former, "body": said}))
    assert mistakes == []
    assert (told[0].entry.kind, told[0].entry.body) == (kind, a_body(kind, **present))
