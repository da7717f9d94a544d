"""A racking by the command, as a person does it: begun, forgotten, finished; what it leaves; what is reported of it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from a_journal import JournalOnDisk
from journal_entries import share_of
from running import leeside

from alerts.view.status import cellar_status
from ingest.entering import enter, prepare
from ingest.journal.open_rackings import LONGEST_RACKING_MS
from ingest.process import wall_ms
from ingest.store.journal.stored_ledger import contents


class _Desk(JournalOnDisk):
    """16 L of white wine in K1 and 8.5 L of red wine in C1, both titrated."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        for lot, style in (("ries", "white"), ("merl", "red")):
            self.call("enter", "lot", "--lot", lot, "--name", lot, "--style", style, "--at", "2026-01-01")
        self.call("enter", "first-filling", "--vessel", "K1", "--lot", "ries", "--volume", "16 L", "--at", "2026-01-02")
        self.call(
            "enter", "first-filling", "--vessel", "C1", "--lot", "merl", "--volume", "8.5 L", "--at", "2026-01-02"
        )

    def call(self, *words: str) -> str:
        """A call that must end with exit code 0; what it said."""
        code, said = self.code(*words)
        assert code == 0, said
        return said

    def code(self, command: str, *words: str) -> tuple[int, str]:
        kind = [words[0]] if command == "enter" else []
        result = leeside(command, *kind, self.file, *words[len(kind) :])
        return result.returncode, result.stdout + result.stderr


@pytest.fixture
def desk(tmp_path: Path) -> _Desk:
    return _Desk(tmp_path)


def test_two_vessels_into_one_shares_headspace_and_so2_by_mass_balance(desk: _Desk) -> None:
    for vessel, free, total in (("K1", 32, 90), ("C1", 20, 60)):
        for quantity, result in (("free", free), ("total", total)):
            desk.call(
                "enter", "titration", "--vessel", vessel, "--quantity", quantity, "--method", "elsewhere", "--result",
                f"{result} mg/L", "--at", "2026-02-01",
            )  # fmt: skip
    said = desk.call("enter", "racking", "--from", "K1=16.0 L", "--from", "C1=8.5L", "--to", "K3", "--lees", "0.5 L")
    # (16 x 32 + 8.5 x 20) / 24.5 = 27.8 mg/L free, (16 x 90 + 8.5 x 60) / 24.5 = 79.6 mg/L total; lees in proportion.
    assert (
        "K3 then: 24.0 L of 35 % merl, 65 % ries, headspace 1.0 L, 28 mg/L free SO2 (worked out), 80 mg/L total SO2 "
        "(worked out), since "
    ) in said
    assert "K1 then: empty" in said
    assert "C1 then: empty" in said
    held = contents(desk.store, wall_ms())
    assert held["K3"].free_so2 is not None
    assert held["K3"].free_so2.mg_l == pytest.approx((16 * 32 + 8.5 * 20) / 24.5)
    assert share_of(held["K3"], "ries") == pytest.approx(16 / 24.5)
    assert "80 mg/L total SO2 (worked out)" in desk.run("now", str(desk.file)).stdout


def test_what_is_left_by_a_difference_of_two_measurements_is_asked_about(desk: _Desk) -> None:
    said = desk.call("enter", "racking", "--from", "K1=15.8 L", "--to", "K3", "--despite-warnings")
    assert "warning: 0.2 L would stay in K1; if it is empty now, say that it was emptied" in said
    desk.call("strike", "5", "--reason", "entered again")
    said = desk.call("enter", "racking", "--from", "K1=15.8 L", "--to", "K3", "--emptied", "K1")
    assert "K1 then: empty" in said
    assert "would stay" not in said
    said = desk.call("enter", "racking", "--from", "C1=4 L", "--to", "K1")
    assert "would stay" not in said, "half of it is wine"


def test_one_that_is_begun_is_followed_until_it_is_finished(desk: _Desk) -> None:
    desk.call("enter", "racking", "--begin", "--from", "K1", "--from", "C1", "--at", "2026-02-01 10:00")
    told = "racking no. 5 from K1 and C1, begun"
    for command in ("now", "journal"):
        said = desk.run(command, str(desk.file)).stdout
        assert told in said
        assert "is not finished: low pressure is watched again since 2026-02-01 16:00 CET" in said
        assert "or strike no. 5" in said
    now = desk.run("now", str(desk.file)).stdout
    assert now.count(told) == 2, "at each of its vessels"
    assert told not in desk.run("journal", str(desk.file), "--vessel", "K3").stdout
    assert f"note: {told} 2026-02-01 10:00, is not finished" in desk.call(
        "enter", "inspection", "--vessel", "C1", "--film", "no"
    )
    assert "not finished" not in desk.call("enter", "inspection", "--vessel", "K3", "--film", "no")
    said = desk.call("enter", "racking", "--from", "K1", "--from", "C1", "--to", "K3", "--at", "2026-02-01 11:00")
    assert "finishes no. 5" in said
    assert "not finished" not in said
    for command in ("now", "journal"):
        assert "not finished" not in desk.run(command, str(desk.file)).stdout.lower()


def test_programs_are_told_of_it_and_until_when_it_quiets(desk: _Desk) -> None:
    now_ms = wall_ms()
    entry = enter(desk.store, desk.cellar, "racking", {"from": ["K1"], "begin": True}, who="Ana", now_ms=now_ms)
    places = {place["id"]: place for place in json.loads(desk.run("now", str(desk.file), "--json").stdout)["places"]}
    (found,) = places["K1"]["rackings_not_finished"]
    assert (found["entry"], found["from"], found["vessels"], found["who"]) == (entry.id, ["K1"], ["K1"], "Ana")
    assert found["low_pressure_quiet_until"] > found["at"]
    assert places["C1"]["rackings_not_finished"] == []
    with desk.store.read():
        before, after = (
            cellar_status(desk.cellar, desk.store, at).places[0].open_rackings
            for at in (now_ms - 1, now_ms + LONGEST_RACKING_MS)
        )
    assert before == ()
    assert [one.entry for one in after] == [entry.id], "a forgotten one is shown for as long as it stands"


def test_nothing_can_be_begun_from_an_empty_vessel(desk: _Desk) -> None:
    desk.call("enter", "vessel-status", "--vessel", "K3", "--status", "cleaned")
    code, said = desk.code("enter", "racking", "--begin", "--from", "K3")
    assert (code, "K3 is empty: nothing can be racked from it" in said) == (1, True), said


def test_a_begin_that_was_struck_is_followed_no_more(desk: _Desk) -> None:
    desk.call("enter", "racking", "--begin", "--from", "K1")
    desk.call("strike", "5", "--reason", "rain")
    assert "not finished" not in desk.run("now", str(desk.file)).stdout
    now_ms = wall_ms()
    made = prepare(desk.store, desk.cellar, "racking", {"from": ["K1"], "to": ["K3"]}, who="Ana", now_ms=now_ms)
    assert "finishes" not in made.words
