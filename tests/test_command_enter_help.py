"""What `leeside enter` understands and says besides what is right: ids that are near, wine that is lost, the time."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from a_journal import JournalOnDisk
from a_terminal import AtTheTerminal, start_at_a_terminal

from ingest.journal.answers import Clock, VesselVolume, each_answer
from ingest.process import wall_ms
from ingest.times import spoken_moment


@pytest.fixture
def journal(tmp_path: Path) -> JournalOnDisk:
    desk = JournalOnDisk(tmp_path)
    for kind, *options in (
        ("lot", "--lot", "ries-26", "--name", "Riesling", "--style", "white", "--at", "2026-01-01"),
        ("first-filling", "--vessel", "K1", "--lot", "ries-26", "--volume", "18.7 L", "--at", "2026-01-02"),
        ("first-filling", "--vessel", "C1", "--lot", "ries-26", "--volume", "4 L", "--at", "2026-01-02"),
    ):
        desk.enter(kind, *options)
    return desk


@pytest.fixture
def opened() -> Iterator[list[AtTheTerminal]]:
    found: list[AtTheTerminal] = []
    yield found
    for terminal in found:
        terminal.close()


def refused(journal: JournalOnDisk, kind: str, *options: str) -> str:
    done = journal.run("enter", kind, str(journal.file), *options)
    assert done.returncode != 0
    return " ".join(done.stderr.split())


# ---- ids -----------------------------------------------------------------------------------------------------------


def test_a_wrong_id_names_the_nearest_one(journal: JournalOnDisk) -> None:
    said = refused(journal, "sample", "--vessel", "k1", "--volume", "0.1 L")
    assert "is not in any cellar file of this store; did you mean K1?" in said


def test_where_none_is_near_all_are_named(journal: JournalOnDisk) -> None:
    said = refused(journal, "sample", "--vessel", "barrel7", "--volume", "0.1 L")
    assert "of this store; there are: " in said and "K1" in said and "CO2" in said


def test_a_wrong_lot_names_the_nearest_one(journal: JournalOnDisk) -> None:
    said = refused(journal, "first-filling", "--vessel", "K3", "--lot", "ries-25", "--volume", "5 L")
    assert "Did you mean ries-26?" in said


def test_a_wrong_target_is_reported_as_the_target(journal: JournalOnDisk) -> None:
    said = refused(journal, "racking", "--from", "K1", "--to", "G9")
    assert 'for --to: "G9" is not in any cellar file of this store' in said
    assert "--from" not in said


# ---- several vessels in one answer ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("K1 and K2", ["K1", "K2"]),
        ("K1=16 L and C1=8.5L", ["K1=16 L", "C1=8.5L"]),
        ("K1, K2 & K3", ["K1", "K2", "K3"]),
        ("K1=16,5 L", ["K1=16,5 L"]),
        ("K1 and", ["K1 and"]),
        ("K1", ["K1"]),
    ],
)
def test_several_vessels_are_taken_apart(text: str, parts: list[str]) -> None:
    assert each_answer(VesselVolume(), text) == parts


@pytest.mark.parametrize("text", ["K1=16L", "K1 16 L", "16 L from K1", "16L of K1"])
def test_a_vessel_and_its_volume_as_people_say_it(text: str, journal: JournalOnDisk) -> None:
    clock = Clock(journal.cellar.site.zone, wall_ms())
    assert VesselVolume().read(text, clock) == {"vessel": "K1", "volume_l": 16.0}


def test_k1_and_c1_are_two_sources(journal: JournalOnDisk) -> None:
    entry = journal.enter("racking", "--from", "K1=10L and C1=4L", "--to", "K3")
    assert [source["vessel"] for source in entry["body"]["sources"]] == ["K1", "C1"]


# ---- wine that is lost, and how much a topping takes ---------------------------------------------------------------


def test_a_racking_that_loses_a_litre_says_so(journal: JournalOnDisk) -> None:
    (note,) = journal.enter("racking", "--from", "K1", "--to", "K3=17.5L")["body"]["notes"]
    assert note.startswith("18.7 L drawn, 17.5 L came in: 1.2 L lost on the way.")


@pytest.mark.parametrize("options", [("--to", "K3=17.5L", "--lees", "1.2 L"), ("--to", "K3"), ("--to", "K3=18.6L")])
def test_a_racking_that_loses_nothing_says_nothing(journal: JournalOnDisk, options: tuple[str, ...]) -> None:
    assert "notes" not in journal.enter("racking", "--from", "K1", *options)["body"]


def test_a_topping_without_an_amount_says_what_the_headspace_holds(journal: JournalOnDisk) -> None:
    (note,) = journal.enter("topping", "--vessel", "K1", "--from", "C1")["body"]["notes"]
    assert note == "how much went in is not said; to the brim it would be 0.8 L by the headspace"


def test_at_a_terminal_the_brim_is_offered(journal: JournalOnDisk, opened: list[AtTheTerminal]) -> None:
    terminal = start_at_a_terminal(opened, "enter", "topping", str(journal.file), "--vessel", "K1", "--from", "C1")
    terminal.until("[0.8 L]")
    assert "To the brim it is 0.8 L by the headspace of K1" in terminal.seen
    terminal.say("")
    terminal.until("Write it? [Y/n]")
    terminal.say("y")
    assert terminal.end() == 0
    assert journal.written()[-1].body.volume_l == pytest.approx(0.8)  # type: ignore[attr-defined]


# ---- when ----------------------------------------------------------------------------------------------------------


def test_when_it_was_can_be_said_where_it_is_asked(journal: JournalOnDisk, opened: list[AtTheTerminal]) -> None:
    terminal = start_at_a_terminal(
        opened, "enter", "sample", str(journal.file), "--vessel", "K1", "--volume", "60 mL", "--purpose", "smell"
    )
    terminal.until("(or say when it was: 18:30, yesterday 18:30)")
    terminal.say("yesterday half past six")
    terminal.until("(or say when it was: 18:30, yesterday 18:30)")
    assert "is not a time; write" in terminal.seen
    terminal.say("yesterday 18:30")
    terminal.until("(or say when it was: 18:30, yesterday 18:30)")
    terminal.say("")
    assert terminal.end() == 0
    entry = journal.written()[-1]
    assert entry.at_ms == spoken_moment("yesterday 18:30", journal.cellar.site.zone, wall_ms())


def test_a_time_at_which_it_cannot_have_been_is_refused_and_asked_again(
    journal: JournalOnDisk, opened: list[AtTheTerminal]
) -> None:
    terminal = start_at_a_terminal(
        opened, "enter", "sample", str(journal.file), "--vessel", "K1", "--volume", "60 mL", "--purpose", "smell"
    )
    terminal.until("Write it?")
    terminal.say("2030-01-01")
    terminal.until("Write it?")
    assert "As of then it cannot be written" in terminal.seen
    terminal.say("n")
    assert terminal.end() == 1
    assert len(journal.written()) == 3


@pytest.mark.parametrize("since", ["today", "yesterday", "2026-01-01"])
def test_a_history_begins_where_a_person_says(journal: JournalOnDisk, since: str) -> None:
    done = journal.run("history", str(journal.file), "--place", "K1", "--quantity", "pressure", "--from", since)
    assert done.stdout == "Nothing was read or found in that time.\n", done.stderr


@pytest.mark.parametrize("command", ["now", "dose"])
def test_a_command_names_the_nearest_vessel(journal: JournalOnDisk, command: str) -> None:
    assert "no vessel 'k1'; did you mean K1?" in " ".join(journal.run(command, str(journal.file), "k1").stderr.split())
