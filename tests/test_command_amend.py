"""`leeside amend`: shown, asked, written in one step, and refused with the option that is wrong."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from a_journal import JournalOnDisk
from a_terminal import AtTheTerminal, start_at_a_terminal

from ingest.journal.kinds import KINDS


@pytest.fixture
def journal(tmp_path: Path) -> JournalOnDisk:
    made = JournalOnDisk(tmp_path)
    made.enter("lot", "--lot", "ries", "--name", "Riesling", "--style", "white")
    made.enter("first-filling", "--vessel", "K1", "--lot", "ries", "--volume", "14.8 L")
    made.enter("racking", "--from", "K1=10 L", "--to", "K3")
    return made


def _amend(journal: JournalOnDisk, number: int, *options: str) -> tuple[int, str, str]:
    done = journal.run("amend", str(journal.file), str(number), *options)
    return done.returncode, done.stdout, done.stderr


def test_an_entry_is_amended_and_the_old_one_stays_readable(journal: JournalOnDisk) -> None:
    code, said, errors = _amend(journal, 2, "--volume", "18.4 L", "--who", "Ben", "--reason", "misread")
    assert code == 0, errors
    assert "was:     2" in said
    assert "18.4 L of ries. Written as no. 4; no. 2 is struck as amended." in said
    shown = journal.run("journal", str(journal.file)).stdout
    assert shown.index("struck:     2") < shown.index("    3  "), "where it happened"
    assert "amended by 4: misread" in shown
    assert "K1: 8.4 L of ries" in shown


def test_an_amount_in_words_does_not_count_as_the_mass_of_a_salt(journal: JournalOnDisk) -> None:
    salt = ("addition", "--vessel", "K1", "--form", "metabisulfite", "--salt", "potassium", "--mass", "0.4 g")
    journal.enter(*salt)
    code, said, errors = _amend(journal, 4, "--amount", "400")
    assert (code, said) == (2, "")
    errors = " ".join(errors.split())
    assert (
        "an amount in words goes with other additions only; of metabisulfite give the mass, such as '0.4 g'" in errors
    )
    assert len(journal.written()) == 4
    journal.enter("addition", "--vessel", "K1", "--form", "other", "--name", "oak", "--amount", "two staves")


def test_with_json_the_new_entry_is_printed(journal: JournalOnDisk) -> None:
    code, said, _ = _amend(journal, 2, "--volume", "18.4 L", "--json")
    entry = json.loads(said)
    assert (code, entry["id"], entry["in_place_of"], entry["body"]) == (0, 4, 2, {"volume_l": 18.4})


def test_what_cannot_be_is_refused_with_its_reason_and_option(journal: JournalOnDisk) -> None:
    for number, options, code, words in (
        (2, ("--volume", "8 L"), 1, "With --with-later no. 3 would be struck"),
        (2, ("--volume", "40 L"), 1, "K1 would hold 40 L, and brimful it takes 19.5 L"),
        (2, ("--volume", "40"), 2, "--volume"),
        (2, ("--titre", "1 mL"), 2, "--titre"),
        (2, ("--without", "blend"), 2, "--without"),
        (2, (), 1, "nothing would change"),
        (9, ("--volume", "8 L"), 1, "there is no entry of that number"),
        (2, ("--at", "2026-13-01"), 2, "--at"),
    ):
        found, said, errors = _amend(journal, number, *options)
        assert (found, words in errors) == (code, True), (options, said, errors)
    assert [entry.struck for entry in journal.written()] == [None, None, None]
    assert _amend(journal, 2, "--volume", "8 L", "--with-later")[:1] == (0,)
    assert [entry.id for entry in journal.written() if entry.struck] == [2, 3]


def test_a_warning_holds_an_amendment_up_as_well(journal: JournalOnDisk) -> None:
    journal.enter("measurement", "--vessel", "K1", "--quantity", "pH", "--value", "3.4")
    code, said, errors = _amend(journal, 4, "--value", "34")
    assert (code, "warning: pH 34" in said, "--despite-warnings" in errors) == (1, True, True)
    assert _amend(journal, 4, "--value", "34", "--despite-warnings")[0] == 0
    assert journal.written()[-1].body.warnings


@pytest.fixture
def opened() -> Iterator[list[AtTheTerminal]]:
    found: list[AtTheTerminal] = []
    yield found
    for terminal in found:
        terminal.close()


@pytest.mark.parametrize("answer", ["", "n"])
def test_at_a_terminal_it_is_shown_first(journal: JournalOnDisk, opened: list[AtTheTerminal], answer: str) -> None:
    terminal = start_at_a_terminal(opened, "amend", str(journal.file), "2", "--volume", "18.4 L")
    terminal.until("18.4 L of ries. Write it? [Y/n]")
    assert "was:     2" in terminal.seen
    assert "K1 then: 18.4 L of ries" in terminal.seen
    terminal.say(answer)
    assert (terminal.end() == 0) is (answer == "")
    assert len(journal.written()) == (4 if answer == "" else 3)


def test_help_lists_what_can_be_changed_of_each_kind(journal: JournalOnDisk) -> None:
    said = journal.run("amend", "--help").stdout
    assert "first-filling: --vessel --lot --volume --uncertainty --blend --remark" in said
    assert all(f"    {kind.name}: --" in said for kind in KINDS.values() if kind.questions)
