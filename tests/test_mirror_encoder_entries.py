"""Entries of the journal as lines of the line protocol."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from influx_server import parse_line
from journal_entries import an_entry

from ingest.journal.entry import Entry, Strike
from ingest.journal.kinds import KINDS
from ingest.mirror.encoder import entry_lines

AT = 1_795_631_400_000
FREE: dict[str, Any] = {"quantity": "free", "method": "elsewhere", "so2_mg_l": 31.0, "u_so2_mg_l": 2.0}


def parsed(entry: Entry) -> list[tuple[str, dict[str, str], dict[str, str], int]]:
    return [parse_line(line) for line in entry_lines(entry, "Mill Lane")]


def plain(field: str) -> str:
    """What a text field means."""
    return re.sub(r'\\(["\\])', r"\1", field[1:-1])


def test_a_titration_is_an_entry_and_a_result_with_its_uncertainty() -> None:
    entry, result = parsed(an_entry(12, "titration", AT, "K1", "A", remark="end point pale", **FREE))
    assert entry[:2] == ("entry", {"kind": "titration", "lot": "A", "place": "K1", "site": "Mill Lane"})
    fields = entry[2]
    assert (fields["entry"], fields["struck"], fields["written_ms"]) == ("12i", "0i", f"{AT}i")
    assert plain(fields["said"]).startswith("31 mg/L free SO2")
    assert (plain(fields["who"]), plain(fields["remark"])) == ("Ana", "end point pale")
    assert json.loads(plain(fields["body"])) == {**FREE, "remark": "end point pale"}
    assert result[:2] == ("result", {"lot": "A", "place": "K1", "quantity": "free_so2", "site": "Mill Lane"})
    assert result[2] == {"value": "31.0", "u": "2.0", "unit": '"mg/L"', "entry": "12i", "struck": "0i"}
    assert entry[3] == result[3] == AT * 1_000_000 + 12


def test_a_strike_changes_fields_and_nothing_by_which_a_point_is_known() -> None:
    written = an_entry(12, "titration", AT, "K1", **FREE)
    struck = replace(written, struck=Strike(AT + 5, "Ben", 'not "K1"'))
    before, after = parsed(written), parsed(struck)
    assert [(line[0], line[1], line[3]) for line in before] == [(line[0], line[1], line[3]) for line in after]
    assert [line[2]["struck"] for line in after] == ["1i", "1i"]
    fields = after[0][2]
    assert (plain(fields["struck_by"]), plain(fields["struck_reason"]), fields["struck_ms"]) == (
        "Ben",
        'not "K1"',
        f"{AT + 5}i",
    )
    # What the first point says is said again, so that nothing of it is left behind.
    assert set(before[0][2]) <= set(after[0][2])


def test_a_racking_stands_at_each_of_its_vessels() -> None:
    entry = an_entry(3, "racking", AT, sources=[{"vessel": "K1"}], targets=[{"vessel": "C1"}, {"vessel": "K3"}])
    assert [line[1]["place"] for line in parsed(entry)] == ["K1", "C1", "K3"]


def test_a_lot_has_no_place_and_a_measurement_its_own_unit() -> None:
    (lot,) = parsed(an_entry(1, "lot", AT, None, "A", name="Malvasia", style="white"))
    assert lot[1] == {"kind": "lot", "lot": "A", "site": "Mill Lane"}
    _, result = parsed(an_entry(2, "measurement", AT, "K1", quantity="conductivity", value=2, unit="mS/cm"))
    assert (result[1]["quantity"], result[2]["unit"], result[2]["value"]) == ("conductivity", '"mS/cm"', "2.0")
    assert "u" not in result[2]
    _, ph = parsed(an_entry(2, "measurement", AT, "K1", quantity="pH", value=3.41, u_value=0.02))
    assert (ph[2]["value"], ph[2]["u"], "unit" in ph[2]) == ("3.41", "0.02", False)


def test_a_titration_below_its_blank_has_no_result() -> None:
    answers: dict[str, Any] = {
        "quantity": "free",
        "method": "iodometric",
        "flasks": [{"titre_ml": 0.1}],
        "sample_ml": 50.0,
    }
    assert [line[0] for line in parsed(an_entry(2, "titration", AT, "K1", **answers))] == ["entry"]


def test_two_entries_of_one_millisecond_are_two_points() -> None:
    lines = [parsed(an_entry(id, "vessel-status", AT, "K1", remark="x"))[0] for id in (7, 8)]
    assert lines[0][3] != lines[1][3]


WORDS = st.text(st.characters(exclude_categories=("Cc", "Cf", "Cs", "Co", "Cn")), min_size=1, max_size=40).filter(
    lambda text: text.strip()
)


@given(
    remark=WORDS, who=WORDS, lot=st.sampled_from(["A", "B-2"]), kind=st.sampled_from(["vessel-status", "inspection"])
)
def test_whatever_people_write_is_a_line_that_a_server_can_read(remark: str, who: str, lot: str, kind: str) -> None:
    assert kind in KINDS
    ((measurement, tags, fields, _),) = parsed(replace(an_entry(1, kind, AT, "K1", lot, remark=remark), who=who))
    assert (measurement, tags["lot"]) == ("entry", lot)
    assert plain(fields["who"]) == who
    assert plain(fields["remark"]) == remark.strip()
    assert json.loads(plain(fields["body"])) == {"remark": remark.strip()}
