"""`leeside export --entries` and `leeside import --entries`: a journal from one cellar to another, and wrong input."""

from __future__ import annotations

import csv
import io
import json
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from a_journal import JournalOnDisk

from ingest.process import wall_ms
from ingest.store.journal.stored_ledger import contents


def _filled(journal: JournalOnDisk) -> JournalOnDisk:
    journal.enter("lot", "--lot", "ries", "--name", "Riesling", "--style", "white", "--at", "2026-01-01")
    journal.enter("first-filling", "--vessel", "K1", "--lot", "ries", "--volume", "16 L", "--at", "2026-01-02")
    hazy = ("--clarity", "hazy", "--remark", "žlahtno", "--who", "Ana")
    journal.enter("inspection", "--vessel", "K1", *hazy, "--at", "2026-01-03")
    journal.enter("racking", "--from", "K1", "--to", "K3", "--at", "2026-01-04")
    journal.enter("sample", "--vessel", "K3", "--volume", "100 mL", "--at", "2026-01-05")
    zero = ("--truth", "0 kPa", "--reads", "1.2 kPa")
    done = journal.run("enter", "calibration", str(journal.file), "k1-pressure", *zero)
    assert done.returncode == 0, done.stderr
    done = journal.run("strike", str(journal.file), "4", "--reason", "other keg", "--with-later", "--who", "Ben")
    assert done.returncode == 0, done.stderr
    return journal


@contextmanager
def _made(folder: Path) -> Iterator[JournalOnDisk]:
    folder.mkdir()
    journal = JournalOnDisk(folder)
    with journal.store:
        yield journal


@pytest.fixture
def old(tmp_path: Path) -> Iterator[JournalOnDisk]:
    with _made(tmp_path / "old") as journal:
        yield _filled(journal)


@pytest.fixture
def new(tmp_path: Path) -> Iterator[JournalOnDisk]:
    with _made(tmp_path / "new") as journal:
        yield journal


def _take(journal: JournalOnDisk, lines: Path, *options: str) -> subprocess.CompletedProcess[str]:
    return journal.run("import", str(journal.file), str(lines), "--entries", *options)


def _scale(journal: JournalOnDisk) -> list[Any]:
    query = "SELECT gain, offset, because FROM scale WHERE kind = 'calibration'"
    return journal.store.connection.execute(query).fetchall()


def test_a_journal_goes_from_one_cellar_to_another_and_only_once(tmp_path: Path) -> None:
    with (
        _made(tmp_path / "old") as old,
        _made(tmp_path / "new") as new,
    ):
        _goes_over(_filled(old), new, tmp_path)


def _goes_over(old: JournalOnDisk, new: JournalOnDisk, tmp_path: Path) -> None:
    lines = tmp_path / "journal.jsonl"
    assert old.run("export", str(old.file), "--entries", "--output", str(lines)).returncode == 0
    told = [json.loads(line) for line in lines.read_text(encoding="utf-8").splitlines()]
    assert [one["id"] for one in told] == [1, 2, 3, 4, 5, 6]
    assert told[4]["struck"]["together_with"] == 4

    shown = _take(new, lines)
    assert shown.returncode == 0, shown.stdout + shown.stderr
    for words in (
        "6 lines",
        "6 new, 2026-01-01 12:00:00 CET to ",
        "no. 1 to 6: lot 1, first-filling 1, racking 1, sample 1, inspection 1, calibration 1; 2 of them struck",
        "Nothing was written yet; the same with --write brings them in.",
    ):
        assert words in shown.stdout
    assert new.written() == []

    written = _take(new, lines, "--write")
    assert "6 entries were brought in." in written.stdout
    assert new.written() == old.written()
    now_ms = wall_ms()
    assert contents(new.store, now_ms) == contents(old.store, now_ms)
    assert _scale(new) == _scale(old) != []
    assert new.run("export", str(new.file), "--entries").stdout == lines.read_text(encoding="utf-8")

    for journal in (old, new):
        again = _take(journal, lines, "--write")
        assert (again.returncode, "6 are there already\nNothing is new" in again.stdout) == (0, True)
    # An entry that is written afterwards has the next number.
    assert new.enter("inspection", "--vessel", "K1", "--clarity", "clear")["id"] == 7


def test_what_is_asked_for_goes_out(old: JournalOnDisk) -> None:
    def ids(*options: str) -> list[int]:
        done = old.run("export", str(old.file), "--entries", *options)
        assert done.returncode in (0, 1), done.stderr
        return [json.loads(line)["id"] for line in done.stdout.splitlines()]

    assert ids("--vessel", "K3") == [4, 5]
    assert ids("--lot", "ries") == [1, 2, 3, 4, 6]
    assert ids("--kind", "inspection", "--kind", "first-filling") == [2, 3]
    assert ids("--from", "2026-01-03", "--to", "2026-01-05") == [3, 4]
    assert ids("--without-struck") == [1, 2, 3, 6]
    assert ids("--vessel", "C1") == []
    assert old.run("export", str(old.file), "--entries", "--vessel", "C1").returncode == 1


def test_the_journal_as_a_table(old: JournalOnDisk) -> None:
    done = old.run("export", str(old.file), "--entries", "--csv", "--vessel", "K1")
    rows = list(csv.DictReader(io.StringIO(done.stdout)))
    assert [row["id"] for row in rows] == ["2", "3", "4", "6"]
    assert (rows[1]["said"], rows[1]["remark"], rows[1]["who"], rows[1]["struck"]) == ("hazy", "žlahtno", "Ana", "")
    assert (rows[2]["places"], rows[2]["struck_by"], rows[2]["struck_because"]) == ("K1, K3", "Ben", "other keg")


def test_what_the_journal_command_prints_is_taken_too(old: JournalOnDisk, new: JournalOnDisk, tmp_path: Path) -> None:
    lines = tmp_path / "journal.jsonl"
    printed = json.loads(old.run("journal", str(old.file), "--json").stdout)
    lines.write_text("\n".join(json.dumps(one) for one in printed), encoding="utf-8")
    assert _take(new, lines, "--write").returncode == 0
    assert new.written() == old.written()


HAND = """\
{"kind": "lot", "at": "2025-10-01 10:00", "who": "Ana", "lot": "m", "body": {"name": "Mal", "style": "white"}}

{"kind": "first-filling", "at": "2025-10-01T12:00Z", "who": "A", "place": "C1", "lot": "m", "body": {"volume_l": 9}}
{"kind": "sample", "at": "2025-10-02 10:00", "who": "Ana", "place": "C1", "body": {"volume_l": 0.1}}
"""


def test_a_hand_written_file_is_taken_once(old: JournalOnDisk, tmp_path: Path) -> None:
    lines = tmp_path / "hand.jsonl"
    lines.write_text(HAND, encoding="utf-8")
    done = _take(old, lines, "--write", "--json")
    assert json.loads(done.stdout) == {
        "file": str(lines),
        "written": True,
        "lines": 3,
        "new": [
            {"line": 1, "id": 7, "kind": "lot"},
            {"line": 3, "id": 8, "kind": "first-filling"},
            {"line": 4, "id": 9, "kind": "sample"},
        ],
        "struck": [],
        "there_already": 0,
        "warnings": [],
        "not_taken": [],
    }
    before = old.written()
    again = json.loads(_take(old, lines, "--write", "--json").stdout)
    assert (again["written"], again["new"], again["there_already"]) == (False, [], 3)
    assert old.written() == before


def test_another_cellars_journal_is_refused_by_number_or_gets_new_ones(
    old: JournalOnDisk, new: JournalOnDisk, tmp_path: Path
) -> None:
    new.enter("lot", "--lot", "mal", "--name", "Malvasia", "--style", "white")
    lines = tmp_path / "journal.jsonl"
    old.run("export", str(old.file), "--entries", "--output", str(lines))
    done = _take(new, lines, "--write")
    assert done.returncode == 1
    assert "line 1: no. 1 is there already and says something else:" in done.stdout
    assert "--new-numbers" in done.stdout
    assert len(new.written()) == 1
    done = _take(new, lines, "--write", "--new-numbers")
    assert (done.returncode, "no. 2 to 7" in done.stdout) == (0, True), done.stdout
    assert "6 are there already" in _take(new, lines, "--write", "--new-numbers").stdout
    assert contents(new.store, wall_ms())["K1"].volume_l == 16.0


def test_every_mistake_is_told_by_its_line_and_nothing_is_written(old: JournalOnDisk, tmp_path: Path) -> None:
    lines = tmp_path / "hand.jsonl"
    sample = '{"kind": "sample", "at": "2026-01-03 10:00", "who": "Ana", "place": "K1", "body": {"volume_l": 17}}\n'
    damaged = HAND.replace('"volume_l": 9', '"volume_l": "20 L"') + sample + "# the end\n"
    lines.write_text(damaged, encoding="utf-8")
    before = old.written()
    done = _take(old, lines, "--write")
    assert done.returncode == 1
    said = done.stdout.splitlines()
    for start in (
        '  line 3: body volume_l = "20 L": ',
        "  line 5: sample no. 9 (K1): 17 L drawn as a sample from K1, which holds 16 L: 1 L too much",
        "  line 6: is not a JSON object",
        "What a line says that cannot be read is missing for the others",
        "Nothing was written: all lines are brought in together, or none.",
    ):
        assert any(line.startswith(start) for line in said), said
    assert old.written() == before
    told = json.loads(_take(old, lines, "--write", "--json").stdout)
    assert (told["written"], [one["line"] for one in told["not_taken"]]) == (False, [3, 5, 6])


def test_a_file_of_something_else_is_told_shortly(new: JournalOnDisk, tmp_path: Path) -> None:
    lines = tmp_path / "readings.csv"
    lines.write_text("at,value\n" * 400, encoding="utf-8")
    done = _take(new, lines)
    assert (done.returncode, done.stdout.count("  line ")) == (1, 50)
    assert "and 350 more; --json lists them all" in done.stdout
    lines.write_text("", encoding="utf-8")
    done = _take(new, lines)
    assert (done.returncode, "It holds no entries" in done.stdout) == (1, True)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["import", "FILE", "DATA", "--entries", "--probe", "k1-pressure", "--unit", "psi"], "--probe, --unit"),
        (["import", "FILE", "DATA", "--new-numbers"], "add --entries"),
        (["export", "FILE", "--vessel", "K1", "--without-struck"], "--vessel, --without-struck"),
        (["export", "FILE", "k1-pressure", "--entries"], "an entry is of no probe"),
        (["export", "FILE", "--entries", "--senml"], "SenML is for readings"),
        (["export", "FILE", "--entries", "--kind", "filling"], "there is no kind 'filling'"),
        (["export", "FILE", "--entries", "--from", "soon"], "'soon' is not a time"),
    ],
)
def test_a_wrong_call_says_what_is_wrong(new: JournalOnDisk, tmp_path: Path, words: list[str], told: str) -> None:
    lines = tmp_path / "hand.jsonl"
    lines.write_text(HAND, encoding="utf-8")
    done = new.run(*({"FILE": str(new.file), "DATA": str(lines)}.get(word, word) for word in words))
    assert done.returncode == 2
    assert told in " ".join(done.stderr.split())


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with _made(tmp_path / "new") as new:
        done = _take(new, tmp_path / "nowhere.jsonl")
        assert (done.returncode, done.stderr) == (
            1,
            f"{tmp_path}/nowhere.jsonl: cannot be read: No such file or directory\n",
        )


def test_a_warning_holds_the_import_up_until_a_person_insists(old: JournalOnDisk, tmp_path: Path) -> None:
    lines = tmp_path / "hand.jsonl"
    ph = {"quantity": "pH", "value": 34.0}
    line = {"kind": "measurement", "at": "2026-10-02 10:00", "who": "Ana", "place": "C1", "body": ph}
    lines.write_text(json.dumps(line), encoding="utf-8")
    before = len(old.written())
    for options in ((), ("--write",)):
        done = _take(old, lines, *options)
        assert (done.returncode, len(old.written())) == (1, before)
        assert "line 1: warning: pH 34 is not of wine" in done.stdout
        assert "--despite-warnings brings them in" in done.stdout
    done = _take(old, lines, "--write", "--despite-warnings")
    assert (done.returncode, len(old.written())) == (0, before + 1), done.stdout
    assert "warning: pH 34 is not of wine" in old.run("journal", str(old.file)).stdout
