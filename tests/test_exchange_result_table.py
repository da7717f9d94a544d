"""A spreadsheet of results: whatever stands in it becomes entries or mistakes with their line, and nothing else."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from journal_entries import journal_cellar

from ingest.errors import IngestError
from ingest.exchange.moments import Moments
from ingest.exchange.result_table import ResultForm, read_result_table
from ingest.journal.kinds.measurement import MeasurementBody
from ingest.journal.kinds.titration import TitrationBody
from ingest.journal.titration_lines import read_titration_line

NOW = 1_795_631_400_000  # 2026-11-25T18:30:00Z
CELLAR = journal_cellar()
FORM = ResultForm({}, "Ana", None, "iodine 3", "25 mL", "0.1 mL")
MOMENTS = Moments(ZoneInfo("Europe/Ljubljana"), NOW, order="month-first", noon=True)
HEADS = ("Date", "Vessel", "Free SO2 (mL)", "Total SO2 (mg/L)", "pH", "Temp", "Notes")

_cell = st.one_of(
    st.text(max_size=8),
    st.from_regex(r"[-+<]?[0-9]{0,4}[.,]?[0-9]{0,3}( ?mL)?", fullmatch=True),
    st.sampled_from(
        ["25.11.2026", "11/20/2026 6:30 PM", "2026-11-01 10:00", "K1", "ries", "1,25 1,30", "-", "", "nan"]
    ),
)


@given(st.lists(st.lists(_cell, max_size=9), max_size=4))
def test_any_cells_are_entries_or_mistakes(rows: list[list[str]]) -> None:
    numbered = list(enumerate([list(HEADS), *rows], start=1))
    read = read_result_table(numbered, FORM, CELLAR, ("ries",), MOMENTS, NOW)
    assert read.count == sum(any(cell.strip() for cell in row) for row in rows)
    assert {mistake.line for mistake in read.mistakes} <= set(range(2, len(rows) + 2))
    assert [line.line for line in read.entries] == list(read.cells) == list(range(1, len(read.entries) + 1))
    for line in read.entries:
        row, head = read.cells[line.line]
        assert rows[row - 2][HEADS.index(head)].strip()
        assert isinstance(line.entry.body, TitrationBody | MeasurementBody)
        assert (line.entry.place is None) is (line.entry.lot == "ries")


@given(st.lists(st.text(max_size=12), max_size=6))
def test_any_heads_are_read_or_refused_in_words(heads: list[str]) -> None:
    try:
        read_result_table([(1, heads)], FORM, CELLAR, (), MOMENTS, NOW)
    except IngestError as error:
        assert "column" in str(error) or "are both" in str(error)


@given(st.text(max_size=30))
def test_any_line_of_a_day_is_read_or_told_how_to_be_written(text: str) -> None:
    try:
        line = read_titration_line(text, "mL")
    except ValueError as error:
        assert "write" in str(error)
    else:
        assert line.name.strip() and line.amounts


@pytest.mark.parametrize("head", ["Free SO2 (mg/L)", "free so₂ [ppm]", "FSO2 mg/l", "Free sulphur dioxide (mg/L)"])
def test_a_head_may_be_written_in_several_ways(head: str) -> None:
    rows = [(1, ["Day", "Keg", head]), (2, ["2026-11-20", "K1", "31"])]
    (line,) = read_result_table(rows, FORM, CELLAR, (), MOMENTS, NOW).entries
    assert isinstance(line.entry.body, TitrationBody)
    assert (line.entry.body.quantity, line.entry.body.so2_mg_l) == ("free", 31.0)


@pytest.mark.parametrize(
    ("head", "cell", "quantity", "value"),
    [
        ("TA (g/L)", "6,1", "titratable acidity", 6.1),
        ("temperature (°F)", "54", "temperature", 12.222),
        ("pH", "3.42", "pH", 3.42),
        ("Alcohol", "12.5", "alcohol", 12.5),
        ("density", "0.993", "density", 0.993),
    ],
)
def test_what_else_is_measured(head: str, cell: str, quantity: str, value: float) -> None:
    rows = [(1, ["Date", "Lot", head]), (2, ["2026-11-20", "ries", cell])]
    read = read_result_table(rows, FORM, CELLAR, ("ries",), MOMENTS, NOW)
    assert read.mistakes == []
    body = read.entries[0].entry.body
    assert isinstance(body, MeasurementBody)
    assert body.quantity == quantity
    assert body.value == pytest.approx(value, abs=1e-3)


@pytest.mark.parametrize(
    ("cell", "titres"), [("1.25", [1.25]), ("1,25 1,30", [1.25, 1.3]), (",5", [0.5]), ("0.9 mL; 1", [0.9, 1.0])]
)
def test_a_cell_holds_a_titre_for_each_flask(cell: str, titres: list[float]) -> None:
    rows = [(1, ["Date", "Keg", "Free SO2 (mL)"]), (2, ["2026-11-20", "K1", cell])]
    (line,) = read_result_table(rows, FORM, CELLAR, (), MOMENTS, NOW).entries
    assert isinstance(line.entry.body, TitrationBody)
    assert [flask.titre_ml for flask in line.entry.body.flasks] == titres


def test_a_cell_that_holds_no_titre_is_told_how_to_be_written() -> None:
    rows = [(1, ["Date", "Keg", "Free SO2 (mL)"]), (2, ["2026-11-20", "K1", "1.25 ?"])]
    (mistake,) = read_result_table(rows, FORM, CELLAR, (), MOMENTS, NOW).mistakes
    assert mistake.why == (
        "Free SO2 (mL): '?' is not a number of mL; write the titres alone, such as 1.25 1.30, or leave the cell empty"
    )
