"""A bottle of titrant that was wrong: its titrations are listed, and worked out again only if a person wishes it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from a_journal import JournalOnDisk
from a_terminal import AtTheTerminal, start_at_a_terminal

from ingest.store.journal.hand_results import hand_results

BOTTLE = ("--substance", "iodine", "--factor", "1", "--standardised", "2026-10-01", "--at", "2026-10-01")


@pytest.fixture
def journal(tmp_path: Path) -> JournalOnDisk:
    """The bottles "iodine 3" (no. 3) and "iodine 4"; two titrations with the first, one with the other."""
    made = JournalOnDisk(tmp_path)
    made.enter("lot", "--lot", "ries", "--name", "Riesling", "--style", "white", "--at", "2026-09-30")
    made.enter("first-filling", "--vessel", "K1", "--lot", "ries", "--volume", "16 L", "--at", "2026-09-30")
    for name in ("iodine 3", "iodine 4"):
        made.enter("titrant", "--name", name, "--strength", "0.02 N", *BOTTLE)
    bench = ("--vessel", "K1", "--quantity", "free", "--method", "iodometric", "--sample", "25 mL")
    for bottle, titre, day in (("iodine 3", "1.25 mL", 5), ("iodine 4", "1.2 mL", 6), ("iodine 3", "1.1 mL", 7)):
        made.enter("titration", *bench, "--titrant", bottle, "--titre", titre, "--at", f"2026-10-0{day}")
    return made


def _found(journal: JournalOnDisk) -> list[float]:
    return [result.value for result in hand_results(journal.store, "free_so2")]


BEFORE = pytest.approx([32.03, 30.75, 28.19], abs=0.01)


def test_they_are_listed_with_what_they_would_be_and_stay_as_they_are(journal: JournalOnDisk) -> None:
    done = journal.run("amend", str(journal.file), "3", "--strength", "0.01 N")
    assert done.returncode == 0, done.stderr
    assert "With another strength of iodine 3 were worked out:" in done.stdout
    assert "no. 5 K1, 2026-10-05 12:00" in done.stdout
    assert "now 1.25 mL of 0.01 N (factor 1) on 25 mL: 16 mg/L free SO2" in done.stdout
    assert "no. 6" not in done.stdout
    assert "works one out again: 5, 7." in done.stdout
    assert _found(journal) == BEFORE
    assert journal.run("amend", str(journal.file), "5").returncode == 0
    assert _found(journal) == pytest.approx([16.015, 30.75, 28.19], abs=0.01)


def test_with_again_each_becomes_an_amended_entry(journal: JournalOnDisk) -> None:
    done = journal.run("amend", str(journal.file), "3", "--strength", "0.01 N", "--again")
    assert "Worked out again as no. 9, no. 10." in done.stdout
    assert _found(journal) == pytest.approx([16.015, 30.75, 14.09], abs=0.01)
    shown = journal.run("journal", str(journal.file)).stdout
    assert "amended by 9: the bottle iodine 3 has another strength" in shown
    again = journal.run("amend", str(journal.file), "8", "--remark", "label read again", "--again")
    assert "With another strength" not in again.stdout


def test_of_a_struck_bottle_it_is_said_that_they_cannot_be(journal: JournalOnDisk) -> None:
    done = journal.run("strike", str(journal.file), "3", "--reason", "no such bottle", "--json")
    assert done.returncode == 0
    assert "no. 5 K1" in done.stderr and "it cannot be worked out again" in done.stderr
    assert "there is no bottle 'iodine 3'" in done.stderr
    entered = journal.run("enter", "titrant", str(journal.file), "--name", "iodine 3", "--strength", "0.04 N", *BOTTLE)
    assert "works one out again: 5, 7." in entered.stdout


def test_what_becomes_doubtful_is_not_written_again_unasked(journal: JournalOnDisk) -> None:
    total = ("--vessel", "K1", "--quantity", "total", "--method", "elsewhere", "--result", "40 mg/L")
    journal.enter("titration", *total, "--at", "2026-10-04")
    done = journal.run("amend", str(journal.file), "3", "--strength", "0.04 N", "--again")
    assert done.returncode == 1
    assert "warning: 64 mg/L of free SO2 is more than the 40 mg/L of total" in done.stdout
    assert _found(journal) == BEFORE


@pytest.fixture
def opened() -> Iterator[list[AtTheTerminal]]:
    found: list[AtTheTerminal] = []
    yield found
    for terminal in found:
        terminal.close()


@pytest.mark.parametrize("answer", ["", "y"])
def test_at_a_terminal_a_person_is_asked(journal: JournalOnDisk, opened: list[AtTheTerminal], answer: str) -> None:
    terminal = start_at_a_terminal(opened, "amend", str(journal.file), "3", "--strength", "0.01 N")
    terminal.until("Write it? [Y/n]")
    terminal.say("")
    terminal.until("Work them out again? Each becomes an amended entry. [y/N]")
    terminal.say(answer)
    assert terminal.end() == 0
    assert (_found(journal) == BEFORE) is (answer == "")
