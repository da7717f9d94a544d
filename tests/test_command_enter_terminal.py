"""`leeside enter` at a real terminal: what is asked, what is offered, and what a no or a kill leaves."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from a_journal import JournalOnDisk
from a_terminal import AtTheTerminal, start_at_a_terminal

from ingest.entering import enter
from ingest.probes.binding import declarations
from ingest.store.readings.series import declare
from ingest.times import moment_of


@pytest.fixture
def journal(tmp_path: Path) -> JournalOnDisk:
    made = JournalOnDisk(tmp_path)
    now_ms = 1_795_600_000_000
    at = "2026-01-10 12:00"
    for kind, told in (
        ("lot", {"lot": "ries", "name": "Riesling", "style": "white"}),
        ("first-filling", {"vessel": "K1", "lot": "ries", "volume": "16 L"}),
        ("titrant", {"name": "iodine 3", "substance": "iodine", "strength": "0.02 N"}),
    ):
        enter(made.store, made.cellar, kind, told, who="Ana", now_ms=now_ms, at=at)
    return made


@pytest.fixture
def opened() -> Iterator[list[AtTheTerminal]]:
    found: list[AtTheTerminal] = []
    yield found
    for terminal in found:
        terminal.close()


def _start(opened: list[AtTheTerminal], journal: JournalOnDisk, kind: str, *options: str) -> AtTheTerminal:
    return start_at_a_terminal(opened, "enter", kind, str(journal.file), *options)


def test_what_is_missing_is_asked_and_shown_before_it_is_written(
    journal: JournalOnDisk, opened: list[AtTheTerminal]
) -> None:
    terminal = _start(opened, journal, "titration", "--vessel", "K1")
    for question, answer in (
        ("Free or total?", "free"),
        ("By which method?", "iodo"),
        ("Which bottle of titrant?", "iodine 3"),
        ("How much wine in the flask?", "25 mL"),
        ("The blank?", ""),
        ("The titre?", "1.25 mL"),
        ("Another one?", ""),
        ("How long did the blue stay?", "15 s"),
    ):
        terminal.until(question)
        terminal.say(answer)
    terminal.until("1.25 mL of 0.02 N on 25 mL: 32 mg/L free SO2. Write it? [Y/n]")
    assert "Caution: the acid burns" in terminal.seen
    assert "standard uncertainty 2.0 mg/L" in terminal.seen
    assert len(journal.written()) == 3
    terminal.say("")
    assert terminal.end() == 0
    assert journal.written()[-1].kind == "titration"


def test_an_empty_answer_to_what_is_needed_is_asked_again_and_costs_nothing(
    journal: JournalOnDisk, opened: list[AtTheTerminal]
) -> None:
    terminal = _start(
        opened, journal, "titration", "--vessel", "K1", "--quantity", "free", "--method", "iodometric",
        "--titrant", "iodine 3", "--sample", "25 mL", "--blank", "0 mL", "--end-point", "15 s",
    )  # fmt: skip
    terminal.until("The titre?")
    terminal.say("")
    terminal.until("This one is needed; Ctrl-D ends without writing.")
    terminal.say("1.25 mL")
    terminal.until("Another one?")
    terminal.say("")
    terminal.until("32 mg/L free SO2. Write it? [Y/n]")
    terminal.say("")
    assert terminal.end() == 0
    assert journal.written()[-1].kind == "titration"


def test_a_topping_asks_where_the_wine_came_from(journal: JournalOnDisk, opened: list[AtTheTerminal]) -> None:
    terminal = _start(opened, journal, "topping", "--vessel", "K1")
    terminal.until("From which vessel?")
    terminal.say("")
    terminal.until("Which bottles?")
    terminal.say("2 x 0.75 L")
    for question in ("What is it?", "Alcohol?"):
        terminal.until(question)
        terminal.say("")
    terminal.until("Write it? [Y/n]")
    assert "Which lot?" not in terminal.seen
    terminal.say("")
    assert terminal.end() == 0
    assert journal.written()[-1].kind == "topping"


def test_a_mistyped_source_of_a_topping_is_asked_again_itself(
    journal: JournalOnDisk, opened: list[AtTheTerminal]
) -> None:
    terminal = _start(opened, journal, "topping", "--vessel", "K1", "--volume", "0.3 L")
    terminal.until("From which vessel?")
    terminal.say("c1")
    terminal.until("From which vessel? (such as C1) ")
    assert '"c1" is not in any cellar file of this store; did you mean C1?' in terminal.seen
    assert "Which vessel?" not in terminal.seen
    terminal.say("C1")
    terminal.until("Write it?")
    terminal.say("y")
    assert terminal.end() == 0
    assert journal.written()[-1].body.places == ("C1",)


def test_what_the_contents_refuse_is_asked_once_more_with_the_answers_on_offer(
    journal: JournalOnDisk, opened: list[AtTheTerminal]
) -> None:
    terminal = _start(opened, journal, "sample")
    terminal.until("Which vessel?")
    terminal.say("K1")
    terminal.until("How much?")
    terminal.say("17 L")
    terminal.until("What for?")
    terminal.say("show")
    terminal.until("1 L too much")
    for offered, answer in (("[K1]", ""), ("[17 L]", "0.1 L"), ("[show]", "")):
        if offered not in terminal.seen:
            terminal.until(offered)
        terminal.say(answer)
    terminal.until("Write it? [Y/n]")
    terminal.say("")
    assert terminal.end() == 0
    assert journal.written()[-1].kind == "sample"


def test_an_empty_answer_keeps_all_of_several(journal: JournalOnDisk, opened: list[AtTheTerminal]) -> None:
    terminal = _start(opened, journal, "bottling", "--vessel", "K1", "--closure", "cork", "--remainder", "0 L")
    terminal.until("Which bottles?")
    terminal.say("12 x 0.75 L")
    terminal.until("Another one?")
    terminal.say("10 x 0.5 L")
    terminal.until("Another one?")
    terminal.say("")
    terminal.until("How much was lost?")
    terminal.say("9 L")
    terminal.until("[12 x 0.75 L and 10 x 0.5 L]")
    terminal.say("")
    terminal.until("[9 L]")
    terminal.say("0.2 L")
    terminal.until("Write it? [")
    terminal.say("y")
    assert terminal.end() == 0
    assert [(each.number, each.size_l) for each in journal.written()[-1].body.bottles] == [(12, 0.75), (10, 0.5)]  # type: ignore[attr-defined]


def test_too_much_for_a_vessel_is_no_question_of_blends(journal: JournalOnDisk, opened: list[AtTheTerminal]) -> None:
    terminal = _start(opened, journal, "racking", "--air", "closed", "--lees", "0 L")
    terminal.until("From which vessel, and how much?")
    terminal.say("K1=17 L")
    terminal.until("Another one?")
    terminal.say("")
    terminal.until("Into which vessel?")
    terminal.say("K3")
    terminal.until("Another one?")
    terminal.say("")
    terminal.until("[K1=17 L]")
    assert "too much" in terminal.seen
    assert "blend" not in terminal.seen


def test_a_full_vessel_is_asked_whether_it_is_a_blend(journal: JournalOnDisk, opened: list[AtTheTerminal]) -> None:
    terminal = _start(opened, journal, "first-filling", "--lot", "ries", "--volume", "1 L")
    terminal.until("Which vessel?")
    terminal.say("K1")
    terminal.until("Is it a blend with the wine that is there?")
    terminal.say("y")
    terminal.until("Write it? [Y/n]")
    assert "17.0 L" in terminal.seen
    terminal.say("")
    assert terminal.end() == 0


def test_a_strike_shows_the_entry_and_asks_why(journal: JournalOnDisk, opened: list[AtTheTerminal]) -> None:
    number = journal.written()[-1].id
    for said, code in (("", 1), ("wrong bottle", 0)):
        opened.append(AtTheTerminal("strike", str(journal.file), str(number)))
        opened[-1].until("Why is it to be struck?")
        assert "iodine 3" in opened[-1].seen
        opened[-1].say(said)
        assert opened[-1].end() == code
    struck = journal.written()[-1].struck
    assert struck is not None
    assert struck.reason == "wrong bottle"


def test_a_calibration_asks_for_probe_and_points(journal: JournalOnDisk, opened: list[AtTheTerminal]) -> None:
    declare(journal.store, declarations(journal.cellar), 1_795_600_000_000)
    terminal = _start(opened, journal, "calibration")
    for question, answer in (
        ("Which probe? (k1-pressure)", "k9"),
        ("there is no probe 'k9'", "k1-pressure"),
        ("What was true? (such as", "0"),
        ("What was true? (such as", "0 kPa"),
        ("What did leeside show then?", "1.2 kPa"),
        ("of a second point?", ""),
        ("Write it?", ""),
    ):
        terminal.until(question)
        terminal.say(answer)
    assert terminal.end() == 0
    assert journal.written()[-1].kind == "calibration"


def test_last_times_settings_are_offered_and_taken_by_an_empty_answer(
    journal: JournalOnDisk, opened: list[AtTheTerminal]
) -> None:
    journal.enter(
        "titration", "--vessel", "K1", "--quantity", "total", "--method", "iodometric", "--titrant", "iodine 3",
        "--sample", "20 mL", "--blank", "0.2 mL", "--titre", "3 mL", "--end-point", "15 s",
    )  # fmt: skip
    terminal = _start(opened, journal, "titration", "--vessel", "K1", "--titre", "2.9 mL")
    for offered in ("[total]", "[iodometric]", "[iodine 3]", "[20 mL]", "[0.2 mL]", "[15 s]"):
        terminal.until(offered)
        terminal.say("")
    terminal.until("Write it? [Y/n]")
    terminal.say("y")
    assert terminal.end() == 0
    first, second = journal.written()[-2:]
    changing = {"flasks", "so2_mg_l", "u_so2_mg_l"}
    assert first.body.model_dump(exclude=changing) == second.body.model_dump(exclude=changing)
    assert first.body != second.body


def test_a_wrong_answer_is_asked_again_and_a_no_writes_nothing(
    journal: JournalOnDisk, opened: list[AtTheTerminal]
) -> None:
    terminal = _start(opened, journal, "sample", "--vessel", "K1")
    terminal.until("How much?")
    terminal.say("60")
    terminal.until("the unit is missing")
    terminal.say("60 mL")
    terminal.until("What for?")
    terminal.say("")
    terminal.until("Write it?")
    terminal.say("n")
    assert terminal.end() == 1
    assert "Nothing was written." in terminal.seen
    assert len(journal.written()) == 3


def test_what_does_not_fit_the_cellar_is_told_before_it_would_be_written(
    journal: JournalOnDisk, opened: list[AtTheTerminal]
) -> None:
    terminal = _start(opened, journal, "sample", "--vessel", "K1", "--volume", "17 L", "--purpose", "show")
    assert terminal.end() == 1
    assert "which holds 16 L: 1 L too much" in terminal.seen
    assert "Write it?" not in terminal.seen


def test_a_vessel_that_is_not_there_is_asked_for_anew(journal: JournalOnDisk, opened: list[AtTheTerminal]) -> None:
    terminal = _start(opened, journal, "vessel-status", "--vessel", "K9", "--status", "cleaned")
    terminal.until("Which vessel?")
    terminal.say("K3")
    terminal.until("Write it?")
    terminal.say("y")
    assert terminal.end() == 0
    assert journal.written()[-1].place == "K3"


def test_of_an_ambiguous_time_the_person_says_which(journal: JournalOnDisk, opened: list[AtTheTerminal]) -> None:
    terminal = _start(
        opened, journal, "vessel-status", "--vessel", "K3", "--status", "cleaned", "--at", "2026-10-25 02:30"
    )
    terminal.until("2 for 2026-10-25 02:30+01:00:")
    terminal.say("2")
    terminal.until("Write it?")
    terminal.say("y")
    assert terminal.end() == 0
    assert journal.written()[-1].at_ms == moment_of("2026-10-25 01:30Z", journal.cellar.site.zone)


def test_a_time_that_never_was_is_refused_at_a_terminal_too(
    journal: JournalOnDisk, opened: list[AtTheTerminal]
) -> None:
    terminal = _start(
        opened, journal, "vessel-status", "--vessel", "K3", "--status", "cleaned", "--at", "2026-03-29 02:30"
    )
    assert terminal.end() == 2
    assert "--at" in terminal.seen
    assert "from 02:00 to 03:00; write a time before 02:00 or from 03:00 on" in " ".join(terminal.seen.split())
    assert len(journal.written()) == 3


def test_a_time_in_the_future_is_refused_once(journal: JournalOnDisk, opened: list[AtTheTerminal]) -> None:
    terminal = _start(
        opened, journal, "vessel-status", "--vessel", "K3", "--status", "cleaned", "--at", "2199-03-29 02:30"
    )
    assert terminal.end() == 2
    assert terminal.seen.count("in the future") == 1


@pytest.mark.parametrize("answer", ["", "n", "y"])
def test_under_a_warning_enter_alone_writes_nothing(
    journal: JournalOnDisk, opened: list[AtTheTerminal], answer: str
) -> None:
    terminal = _start(opened, journal, "measurement", "--vessel", "K1", "--quantity", "pH", "--value", "34")
    terminal.until("With which instrument?")
    terminal.say("")
    terminal.until("pH 34. Write it? [y/N]")
    assert "warning: pH 34 is not of wine" in terminal.seen
    terminal.say(answer)
    assert (terminal.end() == 0) is (answer == "y")
    assert len(journal.written()) == (4 if answer == "y" else 3)


def test_yes_at_a_terminal_does_not_pass_a_warning(journal: JournalOnDisk, opened: list[AtTheTerminal]) -> None:
    given = ("--vessel", "K1", "--quantity", "pH", "--value", "34", "--yes")
    terminal = _start(opened, journal, "measurement", *given)
    assert terminal.end() == 1
    assert "--despite-warnings writes it" in terminal.seen
    assert len(journal.written()) == 3


def test_yes_asks_nothing(journal: JournalOnDisk, opened: list[AtTheTerminal]) -> None:
    terminal = _start(opened, journal, "vessel-status", "--vessel", "K3", "--status", "cleaned", "--yes")
    assert terminal.end() == 0
    assert "Write it?" not in terminal.seen
    assert journal.written()[-1].kind == "vessel-status"


@pytest.mark.parametrize("sign", [signal.SIGKILL, signal.SIGINT, signal.SIGHUP])
def test_killed_at_the_question_nothing_is_written_and_nothing_is_held(
    journal: JournalOnDisk, opened: list[AtTheTerminal], sign: signal.Signals
) -> None:
    terminal = _start(opened, journal, "vessel-status", "--vessel", "K3", "--status", "cleaned")
    terminal.until("Write it?")
    # Another person is not kept waiting by a question.
    journal.enter("vessel-status", "--vessel", "C1", "--status", "cleaned")
    terminal.process.send_signal(sign)
    assert terminal.end() != 0
    assert [entry.place for entry in journal.written()[3:]] == ["C1"]
