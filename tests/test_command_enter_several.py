"""`leeside enter titration --several`: a day of titrations at a terminal or from lines, all of them or none."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from a_journal import JournalOnDisk
from a_terminal import AtTheTerminal, start_at_a_terminal

from ingest.journal.titration_lines import read_titration_line
from ingest.store.journal.hand_results import hand_results

BENCH = ("--quantity", "free", "--method", "iodometric", "--titrant", "iodine 3", "--sample", "25 mL")


@pytest.fixture
def journal(tmp_path: Path) -> JournalOnDisk:
    made = JournalOnDisk(tmp_path)
    at = ("--at", "2026-10-01")
    for lot in ("ries", "sylv"):
        made.enter("lot", "--lot", lot, "--name", lot, "--style", "white", *at)
    for vessel, lot in (("K1", "ries"), ("C1", "sylv")):
        made.enter("first-filling", "--vessel", vessel, "--lot", lot, "--volume", "16 L", *at)
    bottle = ("--name", "iodine 3", "--substance", "iodine", "--strength", "0.02 N", "--factor", "1")
    made.enter("titrant", *bottle, "--standardised", "2026-10-01", *at)
    return made


def _several(journal: JournalOnDisk, tmp_path: Path, text: str, *options: str) -> tuple[int, str, str]:
    lines = tmp_path / "day.txt"
    lines.write_text(text, encoding="utf-8")
    call = ("enter", "titration", str(journal.file), "--several", "--lines", str(lines))
    done = journal.run(*call, *(options or BENCH), "--at", "2026-10-05 18:00")
    return done.returncode, done.stdout, done.stderr


@pytest.mark.parametrize(
    ("text", "name", "amounts"),
    [
        ("K1 1.25", "K1", ("1.25 mL",)),
        ("K1, 1.25 mL", "K1", ("1.25 mL",)),
        ("K1;1,25", "K1", ("1.25 mL",)),
        ("  K1   1.25 1.3 ", "K1", ("1.25 mL", "1.3 mL")),
        ("riesling-26; 1,25; 1,30 mL", "riesling-26", ("1.25 mL", "1.3 mL")),
        ("K1 .9, 1", "K1", ("0.9 mL", "1.0 mL")),
        ("K1 -1", "K1", ("-1.0 mL",)),
        ("K1 0.001 L", "K1", ("0.001 L",)),
    ],
)
def test_a_line_is_a_wine_and_its_flasks(text: str, name: str, amounts: tuple[str, ...]) -> None:
    assert read_titration_line(text, "mL") == (name, amounts)


@pytest.mark.parametrize("text", ["", "K1", "K1 ,", "K1 a lot", "K1 1.2.3", "K1 1:25"])
def test_any_other_line_is_told_how_to_be_written(text: str) -> None:
    with pytest.raises(ValueError, match=r"write (it|the line) as K1 1\.25 mL"):
        read_titration_line(text, "mL")


def test_a_file_of_lines_becomes_a_table_and_entries(journal: JournalOnDisk, tmp_path: Path) -> None:
    code, said, errors = _several(journal, tmp_path, "# the fifth\nK1 1.25 1.30\n\nsylv; 1,1\nC1 0.9 mL\n")
    assert code == 0, errors
    rows = [line.split() for line in said.splitlines() if line.startswith("  ")]
    assert rows[0][:3] == ["wine", "titres", "found"]
    assert [row[0] for row in rows[1:]] == ["K1", "sylv", "C1"]
    assert "1.25, 1.3 mL" in said and "33 mg/L free SO2" in said
    assert said.count("Caution: ") == 1
    assert "Written as no. 6, 7, 8." in said
    found = hand_results(journal.store, "free_so2")
    assert [result.value for result in found] == pytest.approx([32.67, 28.19, 23.06], abs=0.01)
    assert [(result.vessel, result.lot) for result in found] == [("K1", None), (None, "sylv"), ("C1", None)]


def test_with_json_and_results_from_elsewhere(journal: JournalOnDisk, tmp_path: Path) -> None:
    options = ("--quantity", "total", "--method", "elsewhere", "--json")
    code, said, errors = _several(journal, tmp_path, "K1 92 mg/L\nC1 80", *options)
    assert code == 0, errors
    assert [entry["body"]["so2_mg_l"] for entry in json.loads(said)] == [92.0, 80.0]


def test_all_mistakes_are_told_with_their_line_and_nothing_is_written(journal: JournalOnDisk, tmp_path: Path) -> None:
    before = len(journal.written())
    code, _, errors = _several(journal, tmp_path, "K1 1.25\nK9 1.1\nC1\nK3 1 mL\nK1 1.3\n")
    assert code != 0
    for words in (
        "line 2: there is no vessel or lot 'K9'; there are: K1, C1, K3, ries, sylv",
        "line 3: 'C1' is not a vessel or lot and its mL",
        "line 5: K1 is there already; write all its flasks in one line",
        "Nothing was written",
    ):
        assert words in errors, errors
    assert len(journal.written()) == before


def test_a_warning_of_one_holds_all_up(journal: JournalOnDisk, tmp_path: Path) -> None:
    before = len(journal.written())
    code, said, errors = _several(journal, tmp_path, "K1 1.25\nC1 9.0\n")
    assert (code, "warning: C1: 231 mg/L of free SO2 is implausible" in said) == (1, True), said
    assert "--despite-warnings" in errors
    assert len(journal.written()) == before
    assert _several(journal, tmp_path, "K1 1.25\nC1 9.0\n", *BENCH, "--despite-warnings")[0] == 0


def test_a_file_that_cannot_be_read_is_named_with_the_reason(journal: JournalOnDisk, tmp_path: Path) -> None:
    lines = tmp_path / "day.txt"
    call = ("enter", "titration", str(journal.file), "--several", "--lines", str(lines), *BENCH)
    assert journal.run(*call).stderr.strip() == f"{lines}: cannot be read: No such file or directory"
    lines.write_bytes(b"K1 1.25 \xff\n")
    assert journal.run(*call).stderr.strip() == f"{lines}: is not UTF-8 text; save the file as UTF-8"


def test_a_call_that_does_not_fit_names_its_option(journal: JournalOnDisk, tmp_path: Path) -> None:
    for options, named in (
        ((*BENCH, "--vessel", "K1"), "--vessel"),
        ((*BENCH, "--titre", "1 mL"), "--titre"),
        (BENCH[:4], "--titrant"),
        ((*BENCH[:4], "--titrant", "iodine 9", "--sample", "25 mL"), "--titrant"),
    ):
        code, _, errors = _several(journal, tmp_path, "K1 1.25", *options)
        assert (code, named in errors) == (2, True), errors
    done = journal.run("enter", "titration", str(journal.file), "--several", *BENCH)
    assert (done.returncode, "--lines" in done.stderr) == (2, True)


@pytest.fixture
def opened() -> Iterator[list[AtTheTerminal]]:
    found: list[AtTheTerminal] = []
    yield found
    for terminal in found:
        terminal.close()


@pytest.mark.parametrize("agrees", [True, False])
def test_at_a_terminal_what_is_common_is_asked_once(
    journal: JournalOnDisk, opened: list[AtTheTerminal], agrees: bool
) -> None:
    terminal = start_at_a_terminal(opened, "enter", "titration", str(journal.file), "--several")
    for question, answer in (
        ("Free or total?", "free"),
        ("By which method?", "iodometric"),
        ("Which bottle of titrant?", "iodine 3"),
        ("How much wine in the flask?", "25 mL"),
        ("The blank?", ""),
        ("How long did the blue stay?", ""),
        ("Vessel or lot, and mL", "K1 1.2"),
        ("Vessel or lot, and mL", "K7 1.2"),
        ("Vessel or lot, and mL", "C1, 0,9"),
        ("Vessel or lot, and mL", "K1 1.25"),
        ("Vessel or lot, and mL", ""),
    ):
        terminal.until(question)
        terminal.say(answer)
    terminal.until("2 titrations of K1, C1. Write it? [Y/n]")
    for words in (
        "iodine 3: iodine, 0.02 N, factor 1, standardised 2026-10-01",
        "K1: 16.0 L of ries",
        "sylv: sylv, white; in C1",
        "K1: 1.2 mL of 0.02 N (factor 1) on 25 mL: 31 mg/L free SO2",
        "there is no vessel or lot 'K7'",
        "K1 was there already; this takes its place.",
    ):
        assert words in terminal.seen
    assert len(journal.written()) == 5
    terminal.say("" if agrees else "n")
    assert (terminal.end() == 0) is agrees
    found = [round(result.value, 1) for result in hand_results(journal.store, "free_so2")]
    assert found == ([32.0, 23.1] if agrees else [])
