"""`leeside import --results`: titrations and measurements as people keep them in a spreadsheet."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from a_journal import JournalOnDisk

from ingest.store.journal.hand_results import hand_results
from ingest.times import iso_utc

SHEET = """sep=;
Date;Vessel;Free SO2 (mL);Total SO2 (mg/L);pH;Temp (°C);Notes;Colour
25.10.2026 10:00;K1;1,25 1,30;92;3,42;12,5;after the rain;yellow
25.10.2026;C1;0,9;;3,31;;;
26.10.2026 18:30;sylv;-;78;;;;pale
"""
MAP = ("--map", "temperature (°C)=Temp (°C)")
BENCH = ("--titrant", "iodine 3", "--sample", "25 mL", "--who", "Ana")


@pytest.fixture
def journal(tmp_path: Path) -> JournalOnDisk:
    made = JournalOnDisk(tmp_path)
    at = ("--at", "2026-10-01")
    for lot, vessel in (("ries", "K1"), ("sylv", "C1")):
        made.enter("lot", "--lot", lot, "--name", lot, "--style", "white", *at)
        made.enter("first-filling", "--vessel", vessel, "--lot", lot, "--volume", "16 L", *at)
    bottle = ("--name", "iodine 3", "--substance", "iodine", "--strength", "0.02 N", "--factor", "1")
    made.enter("titrant", *bottle, "--standardised", "2026-10-01", *at)
    return made


def _take(journal: JournalOnDisk, tmp_path: Path, text: str, *options: str) -> tuple[int, str, str]:
    table = tmp_path / "sheet.csv"
    table.write_text(text, encoding="utf-8")
    done = journal.run("import", str(journal.file), str(table), "--results", *options)
    return done.returncode, done.stdout, done.stderr


def _found(journal: JournalOnDisk, quantity: str) -> list[tuple[str | None, str | None, float]]:
    return [(each.vessel, each.lot, round(each.value, 1)) for each in hand_results(journal.store, quantity)]


def test_a_sheet_is_shown_first_and_then_brought_in_once(journal: JournalOnDisk, tmp_path: Path) -> None:
    before = len(journal.written())
    code, said, errors = _take(journal, tmp_path, SHEET, *MAP, *BENCH)
    assert (code, len(journal.written())) == (0, before), errors
    assert "3 rows" in said and "7 new" in said and "titration 4, measurement 3" in said
    assert "nothing is read from the columns Colour" in said
    assert "the same with --write brings them in" in said
    code, said, _ = _take(journal, tmp_path, SHEET, *MAP, *BENCH, "--write")
    assert (code, len(journal.written())) == (0, before + 7), said
    # (1.25 + 1.30) / 2 mL x 0.02 eq/L x 32.03 g/mol / 25 mL
    assert _found(journal, "free_so2") == [("K1", None, 32.7), ("C1", None, 23.1)]
    assert _found(journal, "total_so2") == [("K1", None, 92.0), (None, "sylv", 78.0)]
    assert _found(journal, "pH") == [("K1", None, 3.4), ("C1", None, 3.3)]
    assert _found(journal, "temperature") == [("K1", None, 12.5)]
    written: Any = next(entry for entry in journal.written() if entry.kind == "measurement" and entry.place == "K1")
    assert (written.who, written.body.remark, iso_utc(written.at_ms)) == (
        "Ana", "after the rain", "2026-10-25T09:00:00.000Z",
    )  # fmt: skip
    code, said, _ = _take(journal, tmp_path, SHEET, *MAP, *BENCH, "--write")
    assert (code, "7 are there already" in said, len(journal.written())) == (0, True, before + 7)


@pytest.mark.parametrize("method", ["Ripper", "iodometric", "aeration-oxidation"])
def test_a_method_as_the_bench_calls_it(journal: JournalOnDisk, tmp_path: Path, method: str) -> None:
    text = "Date,Vessel,Free SO2 (mL)\n2026-10-25,K1,1.25\n"
    options = ("--sample", "25 mL", "--titrant", "iodine 3", "--method", method)
    code, said, errors = _take(journal, tmp_path, text, *options)
    assert ("is not a method" in errors, (code, "1 new" in said) == (0, True)) == (
        False,
        method != "aeration-oxidation",
    )


def test_a_wine_that_is_nearly_another_names_it(journal: JournalOnDisk, tmp_path: Path) -> None:
    _, said, errors = _take(journal, tmp_path, "Date,Vessel,pH\n2026-10-25,k1,3.3\n2026-10-25,silv,3.3\n")
    assert "line 2: there is no vessel or lot 'k1'; did you mean K1?" in said + errors
    assert "line 3: there is no vessel or lot 'silv'; did you mean sylv?" in said + errors


def test_dates_of_other_people_and_names_by_map(journal: JournalOnDisk, tmp_path: Path) -> None:
    text = 'Wann,Fass,SO2 frei\n10/25/2026 2:30 PM,K1,"31,5"\n'
    names = ("--map", "wine=Fass,free SO2 (mg/L)=SO2 frei", "--at", "Wann")
    code, said, _ = _take(journal, tmp_path, text, *names, "--write")
    assert (code, "line 2: day or month first?" in said, "--dates" in said) == (1, True, True)
    code, said, errors = _take(journal, tmp_path, text, *names, "--dates", "month-first", "--write")
    assert code == 0, said + errors
    assert _found(journal, "free_so2") == [("K1", None, 31.5)]
    newest = max(journal.written(), key=lambda entry: entry.id)
    assert iso_utc(newest.at_ms) == "2026-10-25T13:30:00.000Z"


def test_every_mistake_has_its_line_and_column_and_nothing_is_written(journal: JournalOnDisk, tmp_path: Path) -> None:
    before = len(journal.written())
    rows = ("25.10.2026;K9;30;3,4", "soon;K1;30;3,4", "25.10.2026;K1;<5;3,4", "25.10.2026;K3;30;", "1.1.2031;K1;30;")
    text = "\n".join(("Date;Vessel;Free SO2 (mg/L);pH", *rows))
    code, said, _ = _take(journal, tmp_path, text, "--write")
    assert code == 1
    for words in (
        "line 2: there is no vessel or lot 'K9'; there are: K1, C1, K3, ries, sylv",
        "line 3: not a time",
        "line 4: Free SO2 (mg/L): '<5' is not a number",
        "line 6: in the future",
    ):
        assert words in said, said
    assert len(journal.written()) == before


def test_what_can_hardly_be_takes_a_person_who_insists(journal: JournalOnDisk, tmp_path: Path) -> None:
    text = "Date;Vessel;pH;Free SO2 (mL)\n25.10.2026;K1;34;9\n"
    code, said, _ = _take(journal, tmp_path, text, *BENCH, "--write", "--json")
    out = json.loads(said)
    assert (code, out["written"]) == (1, False)
    assert [(each["line"], each["warning"].split(",")[0]) for each in out["warnings"]] == [
        (2, "Free SO2 (mL): 231 mg/L of free SO2 is implausible"),
        (2, "pH: pH 34 is not of wine"),
    ]
    assert _take(journal, tmp_path, text, *BENCH, "--write", "--despite-warnings")[0] == 0
    assert _found(journal, "pH") == [("K1", None, 34.0)]


@pytest.mark.parametrize(
    ("head", "options", "words"),
    [
        ("", (), "the table is empty; the first row must name the columns"),
        ("Vessel,pH", (), "no column is the date"),
        ("Wann,Vessel,pH", (), "name it there, or with --map 'date=Wann'"),
        ("Date,pH", (), "no column is the wine"),
        ("Date,Vessel,Colour", (), "no column holds a result"),
        ("Date,Vessel,Free SO2", (), "'Free SO2' does not say whether it is a result in mg/L or a titre in mL"),
        ("Date,Vessel,Free SO2 (mL)", (), "say --titrant and --sample"),
        ("Date,Time,Vessel,pH", (), "'Date' and 'Time' are both the date"),
        ("Date,Vessel,pH", ("--map", "TA=Acid"), "there is no column 'Acid'"),
        ("Date,Vessel,pH,Acid", ("--map", "sourness=Acid"), "'sourness' is nothing that a column can be"),
        ("Date,Vessel,pH", ("--map", "pH"), "'pH' is not meaning=column"),
        ("Date,Vessel,pH", ("--dates", "year-first"), "day-first or month-first"),
        ("Date,Vessel,pH", ("--probe", "k1-pressure"), "--probe"),
    ],
)
def test_a_table_or_call_that_will_not_do_says_why(
    journal: JournalOnDisk, tmp_path: Path, head: str, options: tuple[str, ...], words: str
) -> None:
    code, said, errors = _take(journal, tmp_path, f"{head}\n2026-10-25,K1,3.4,1\n", *options, "--write")
    assert code != 0
    assert words in " ".join((said + errors).split())


def test_readings_take_such_dates_and_a_separator_line_as_well(journal: JournalOnDisk, tmp_path: Path) -> None:
    table = tmp_path / "logger.csv"
    table.write_text("sep=;\nTime;P\n10/25/2026 10:00;8,1\n25.10.2026 11:00;8,2\n", encoding="utf-8")
    options = ("--probe", "k1-pressure", "--at", "Time", "--value", "P", "--decimal", ",", "--dates", "month-first")
    done = journal.run("import", str(journal.file), str(table), *options, "--write")
    assert (done.returncode, "2 new" in done.stdout) == (0, True), done.stdout + done.stderr
