"""A later entry on a lot keeps what it does not say, shows what it changes, and asks about a change of style."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from a_journal import JournalOnDisk
from a_terminal import AtTheTerminal, start_at_a_terminal

from ingest.store.journal.stored_ledger import contents

FIRST = ("--name", "Riesling 2026", "--style", "white", "--alcohol", "12 % vol", "--sugar", "3 g/L")


@pytest.fixture
def journal(tmp_path: Path) -> JournalOnDisk:
    made = JournalOnDisk(tmp_path)
    made.enter("lot", "--lot", "ries", *FIRST, "--at", "2026-10-01")
    made.enter("first-filling", "--vessel", "K1", "--lot", "ries", "--volume", "16 L", "--at", "2026-10-01")
    return made


def _enter(journal: JournalOnDisk, *options: str) -> tuple[int, str]:
    done = journal.run("enter", "lot", str(journal.file), "--lot", "ries", *options)
    return done.returncode, done.stdout + done.stderr


def test_what_is_not_said_stays_and_what_changes_is_shown(journal: JournalOnDisk) -> None:
    code, said = _enter(journal, "--malolactic", "complete", "--alcohol", "12.4 % vol")
    assert code == 0, said
    assert "note: this changes alcohol from 12 % vol to 12.4 % vol" in said
    now_ms = journal.written()[-1].at_ms
    held = contents(journal.store, now_ms)["K1"]
    assert (held.style, held.alcohol_percent_vol, held.sugar_g_l) == ("white", 12.4, 3.0)
    before = contents(journal.store, now_ms - 1)["K1"]
    assert (before.alcohol_percent_vol, before.sugar_g_l) == (12.0, 3.0)
    # Struck, the first one speaks again.
    journal.run("strike", str(journal.file), "3", "--reason", "of another lot")
    assert contents(journal.store, now_ms)["K1"].alcohol_percent_vol == 12.0


def test_white_to_red_takes_a_person_who_insists(journal: JournalOnDisk) -> None:
    code, said = _enter(journal, "--style", "red")
    assert (code, "warning: this changes the style from white to red: is it the same wine?" in said) == (1, True), said
    assert _enter(journal, "--style", "red", "--despite-warnings")[0] == 0
    assert contents(journal.store, journal.written()[-1].at_ms)["K1"].style == "red"


def test_a_new_lot_still_needs_name_and_style(journal: JournalOnDisk) -> None:
    done = journal.run("enter", "lot", str(journal.file), "--lot", "sylv", "--alcohol", "12 % vol")
    assert done.returncode == 2
    assert "--name" in done.stderr and "--style" in done.stderr


def test_a_file_is_asked_about_a_change_of_style_as_well(journal: JournalOnDisk, tmp_path: Path) -> None:
    lines = tmp_path / "lots.jsonl"
    named = {"kind": "lot", "who": "A", "lot": "m"}
    later = named | {"at": "2026-10-06T10:00Z", "body": {"name": "M", "style": "red"}}
    first = named | {"at": "2026-10-05T10:00Z", "body": {"name": "M", "style": "white"}}
    lines.write_text("\n".join(map(json.dumps, (later, first))), encoding="utf-8")
    done = journal.run("import", str(journal.file), str(lines), "--entries", "--write")
    assert done.returncode == 1
    assert done.stdout.count("warning:") == 1
    assert "line 1: warning: this changes the style from white to red" in done.stdout


@pytest.fixture
def opened() -> Iterator[list[AtTheTerminal]]:
    found: list[AtTheTerminal] = []
    yield found
    for terminal in found:
        terminal.close()


def test_what_was_is_offered_and_the_lots_are_listed(journal: JournalOnDisk, opened: list[AtTheTerminal]) -> None:
    journal.enter("lot", "--lot", "merl", "--name", "Merlot", "--style", "red", "--vintage", "2025")
    terminal = start_at_a_terminal(opened, "enter", "lot", str(journal.file))
    terminal.until("A short name of the lot?")
    assert "  ries: Riesling 2026, white, 12 % vol, 3 g/L sugar; in K1" in terminal.seen
    terminal.say("ries")
    terminal.until("(such as Riesling 2026) [Riesling 2026]")
    terminal.say("")
    terminal.until("red, sweet) [white]")
    terminal.say("")
    for question in ("Which vintage?", "Alcohol?", "Residual sugar?"):
        terminal.until(question)
        terminal.say("")
    terminal.until("Malolactic fermentation?")
    terminal.say("complete")
    terminal.until("Write it? [Y/n]")
    assert "[2025]" not in terminal.seen, "that of another wine"
    terminal.say("")
    assert terminal.end() == 0
    newest = max(journal.written(), key=lambda entry: entry.id)
    assert newest.body.model_dump(exclude_defaults=True) == {
        "name": "Riesling 2026", "style": "white", "alcohol_percent_vol": 12.0, "sugar_g_l": 3.0,
        "malolactic": "complete",
    }  # fmt: skip
