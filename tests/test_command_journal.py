"""`leeside journal` and the contents in `leeside now`: what is read back, and how struck entries look."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from a_journal import JournalOnDisk


@pytest.fixture
def journal(tmp_path: Path) -> JournalOnDisk:
    made = JournalOnDisk(tmp_path)
    made.enter("lot", "--lot", "ries", "--name", "Riesling", "--style", "white", "--at", "2026-01-01")
    made.enter(
        "first-filling", "--vessel", "K1", "--lot", "ries", "--volume", "16 L", "--at", "2026-01-02", "--remark", "calm"
    )
    made.enter("inspection", "--vessel", "K1", "--clarity", "hazy", "--at", "2026-01-03")
    made.enter("inspection", "--vessel", "C1", "--clarity", "bright", "--at", "2026-01-04")
    assert made.run("strike", str(made.file), "3", "--reason", "other vessel", "--who", "Ana").returncode == 0
    return made


def _ids(journal: JournalOnDisk, *options: str) -> list[int]:
    done = journal.run("journal", str(journal.file), *options, "--json")
    assert done.returncode in (0, 1), done.stderr
    return [entry["id"] for entry in json.loads(done.stdout)]


@pytest.mark.parametrize(
    ("options", "ids"),
    [
        ([], [1, 2, 3, 4]),
        (["--vessel", "K1"], [2, 3]),
        (["--lot", "ries"], [1, 2, 3]),
        (["--kind", "inspection"], [3, 4]),
        (["--kind", "lot", "--kind", "first-filling"], [1, 2]),
        (["--from", "2026-01-03"], [3, 4]),
        (["--to", "2026-01-03"], [1, 2]),
        (["--struck"], [3]),
        (["--vessel", "K3"], []),
    ],
)
def test_asked_by_vessel_lot_kind_and_time(journal: JournalOnDisk, options: list[str], ids: list[int]) -> None:
    assert _ids(journal, *options) == ids


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--vessel", "k1"], "no such entry; did you mean K1?"),
        (["--lot", "rise"], "no such entry; did you mean ries?"),
        (["--vessel", "K3"], "no such entry"),
    ],
)
def test_a_mistyped_id_names_the_nearest_one(journal: JournalOnDisk, options: list[str], said: str) -> None:
    done = journal.run("journal", str(journal.file), *options)
    assert (done.returncode, done.stdout.splitlines()[0]) == (1, said)


def test_a_struck_entry_is_shown_crossed_out_with_its_reason(journal: JournalOnDisk) -> None:
    said = journal.run("journal", str(journal.file)).stdout
    lines = said.splitlines()
    index = next(index for index, line in enumerate(lines) if line.startswith("struck:"))
    assert "inspection K1: hazy" in lines[index]
    assert "Ana" in lines[index + 1] and "other vessel" in lines[index + 1]
    assert "16 L of ries (calm)" in said


def test_contents_follow_the_entries(journal: JournalOnDisk) -> None:
    said = journal.run("journal", str(journal.file)).stdout
    assert "K1: 16.0 L of ries, headspace 3.5 L, since 2026-01-02 12:00 CET" in said
    assert "C1: contents not entered yet" in said
    before = journal.run("journal", str(journal.file), "--to", "2026-01-02").stdout
    assert "K1: contents not entered yet" in before


def test_wine_without_a_lot_is_called_bought_or_not_entered_yet(journal: JournalOnDisk) -> None:
    journal.enter("topping", "--vessel", "K1", "--bottles", "2 x 0.75 L", "--at", "2026-01-05")
    assert "K1: 17.5 L of 91 % ries, 9 % bought wine" in journal.run("journal", str(journal.file)).stdout
    journal.enter("topping", "--vessel", "K1", "--from", "C1", "--volume", "0.5 L", "--at", "2026-01-06")
    assert "K1: 18.0 L of 89 % ries, 11 % wine not entered yet" in journal.run("journal", str(journal.file)).stdout


def test_now_shows_what_each_vessel_holds(journal: JournalOnDisk) -> None:
    assert "16.0 L of ries, headspace 3.5 L" in journal.run("now", str(journal.file)).stdout
    places = json.loads(journal.run("now", str(journal.file), "--json").stdout)["places"]
    held = {place["id"]: place["holds"] for place in places}
    assert held["K1"]["lots"] == [{"lot": "ries", "share": 1.0}]
    assert held["K1"]["headspace_l"] == pytest.approx(3.5)
    assert held["C1"]["known"] is False
    assert held["CO2"] is None


def test_no_such_entry_is_exit_code_1(journal: JournalOnDisk) -> None:
    done = journal.run("journal", str(journal.file), "--vessel", "K3")
    assert (done.returncode, "no such entry" in done.stdout) == (1, True)


@pytest.mark.parametrize(("options", "named"), [(["--kind", "look-up"], "--kind"), (["--from", "soon"], "--from")])
def test_a_wrong_call_names_its_option(journal: JournalOnDisk, options: list[str], named: str) -> None:
    done = journal.run("journal", str(journal.file), *options)
    assert (done.returncode, named in done.stderr) == (2, True), done.stderr
