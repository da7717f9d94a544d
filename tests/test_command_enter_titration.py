"""``leeside enter titration`` and ``titrant``: what is worked out, kept and refused."""

from __future__ import annotations

import re

import pytest
from a_journal import JournalOnDisk
from enter_call import EnterCall, two_lots

from ingest.store.journal.stored_ledger import contents


@pytest.fixture
def call(journal: JournalOnDisk) -> EnterCall:
    return EnterCall(journal)


def test_a_titration_is_worked_out_shown_and_kept(journal: JournalOnDisk, call: EnterCall) -> None:
    two_lots(call, "16 L", "8.5 L")
    assert call("titrant", "--name", "iodine 3", "--substance", "iodine", "--strength", "0.02 N")[0] == 0
    options = ["--quantity", "free", "--method", "iodometric", "--sample", "25 mL", "--titrant", "iodine 3"]
    made = journal.enter("titration", "--vessel", "K1", *options, "--titre", "1.25 mL")
    # 1.25 x 0.02 x 32.03 x 1000 / 25 = 32.03 mg/L
    assert made["said"] == "1.25 mL of 0.02 N on 25 mL: 32 mg/L free SO2"
    assert made["body"]["so2_mg_l"] == pytest.approx(32.03)
    assert made["body"]["u_so2_mg_l"] == pytest.approx(2.05, abs=0.2)
    assert any("standardise" in warning for warning in made["body"]["notes"])
    assert contents(journal.store, journal.written()[-1].at_ms)["K1"].free_so2 is not None


def test_a_burette_before_and_after_is_a_titre_and_two_flasks_are_both_kept(
    call: EnterCall, journal: JournalOnDisk
) -> None:
    two_lots(call, "16 L", "8.5 L")
    given = [
        "--vessel",
        "K1",
        "--quantity",
        "free",
        "--method",
        "iodometric",
        "--sample",
        "25 mL",
        "--strength",
        "0.02 N",
    ]
    burette = ["--start", "0.1 mL", "--end", "1.3 mL", "--start", "1.3 mL", "--end", "2.6 mL"]
    code, said = call("titration", *given, *burette)
    assert (code, "1.2 and 1.3 mL of 0.02 N" in said) == (0, True), said
    assert len(journal.written()[-1].body.flasks) == 2  # type: ignore[attr-defined]  # a titration's


def test_a_larger_burette_is_known_by_its_readings(call: EnterCall) -> None:
    two_lots(call, "16 L", "8.5 L")
    given = [
        "--vessel",
        "K1",
        "--quantity",
        "total",
        "--method",
        "iodometric",
        "--sample",
        "50 mL",
        "--strength",
        "0.02 N",
    ]
    code, said = call("titration", *given, "--start", "24 mL", "--end", "31.5 mL")
    assert (code, "7.5 mL of 0.02 N" in said, "burette" in said) == (0, True, False), said
    code, said = call("titration", *given, "--start", "90 mL", "--end", "101 mL")
    assert (code, "its marks go from 0 to 100 mL" in said) == (2, True), said


def test_free_so2_of_red_wine_is_an_upper_bound_before_it_is_written_and_after(
    call: EnterCall, journal: JournalOnDisk
) -> None:
    assert call("lot", "--lot", "merl", "--name", "Merlot", "--style", "red")[0] == 0
    assert call("first-filling", "--vessel", "K1", "--lot", "merl", "--volume", "16 L")[0] == 0
    given = [
        "--quantity",
        "free",
        "--method",
        "iodometric",
        "--sample",
        "25 mL",
        "--titre",
        "1 mL",
        "--strength",
        "0.02 N",
    ]
    for wine in (["--vessel", "K1"], ["--lot", "merl"], ["--vessel", "C1", "--lot", "merl"]):
        code, said = call("titration", *wine, *given)
        assert (code, "note: upper bound: in red wine" in said) == (0, True), said
        assert any("upper bound" in warning for warning in journal.written()[-1].body.notes)
    read = journal.run("journal", str(journal.file), "--kind", "titration").stdout
    assert read.count("note: upper bound: in red wine") == 3
    assert read.count("26 mg/L free SO2 (standard uncertainty ") == 3


def test_a_bottle_must_be_there_when_it_is_used(call: EnterCall) -> None:
    two_lots(call, "16 L", "8.5 L")
    bottle = ["--substance", "iodine", "--strength", "0.02 N"]
    assert call("titrant", "--name", "iodine 3", *bottle, "--at", "2026-02-01")[0] == 0
    assert call("titrant", "--name", "iodine 4", *bottle, "--at", "2026-03-01")[0] == 0
    given = ["--lot", "ries", "--quantity", "free", "--method", "iodometric", "--sample", "25 mL", "--titre", "1 mL"]
    code, said = call("titration", *given, "--titrant", "iodine 5", "--at", "2026-04-01")
    assert (code, "There are: iodine 3, iodine 4" in said) == (2, True), said
    code, said = call("titration", *given, "--titrant", "iodine 4", "--at", "2026-02-15")
    assert (code, "--titrant" in said) == (2, True), said
    assert "is there only from 2026-03-01 12:00 on" in said
    assert "At that time there are: iodine 3" in said
    code, said = call("titration", *given, "--titrant", "iodine 3", "--at", "2026-02-15")
    assert code == 0, said
    # Nobody wrote down when it was opened, and a month is over.
    assert "note: nobody wrote down when the iodine was opened or standardised" in said
    worn = ("--factor", "0.85", "--standardised", "2026-02-01", "--despite-warnings")
    assert call("titrant", "--name", "iodine 3", *bottle, *worn)[0] == 0
    code, said = call("titration", *given, "--titrant", "iodine 3")
    assert (code, "standardised" in said, "the factor 0.85 is outside 0.90 to 1.05" in said) == (1, True, True), said


def test_a_titrant_by_molarity_means_what_is_in_the_bottle(call: EnterCall) -> None:
    two_lots(call, "16 L", "8.5 L")
    call("titrant", "--name", "iodate", "--substance", "iodide-iodate", "--strength", "0.003333 mol/L")
    code, said = call(
        "titration", "--vessel", "K1", "--quantity", "free", "--method", "iodometric", "--sample", "25 mL", "--titre",
        "1 mL", "--titrant", "iodate",
    )  # fmt: skip
    # 0.003333 mol/L of KIO3 is 0.02 eq/L: 25.6 mg/L for each mL on 25 mL.
    assert (code, "26 mg/L free SO2" in said) == (0, True), said


@pytest.mark.parametrize(
    ("more", "named"),
    [
        (["--titre", "1.25 oz"], "--titre"),
        ([], "--titre"),
        (["--start", "1 mL"], "--end"),
        (["--start", "2 mL", "--end", "1 mL"], "--end"),
        (["--titre", "1 mL", "--start", "1 mL", "--end", "2 mL"], "--titre"),
        (["--titre", "1 mL", "--factor", "0.97"], "--factor"),
        (["--titre", "1 mL", "--result", "3 mg/L"], "--result"),
        (["--titre", "1 mL", "--blank", "0.2 L", "--end-point", "0 s"], "--end-point"),
    ],
)  # fmt: skip
def test_a_wrong_part_of_a_titration_names_its_option(call: EnterCall, more: list[str], named: str) -> None:
    two_lots(call, "16 L", "8.5 L")
    call("titrant", "--name", "iodine 3", "--substance", "iodine", "--strength", "0.02 N")
    given = [
        "--vessel",
        "K1",
        "--quantity",
        "free",
        "--method",
        "iodometric",
        "--sample",
        "25 mL",
        "--titrant",
        "iodine 3",
    ]
    code, said = call("titration", *given, *more)
    assert code == 2, said
    assert re.search(rf"{named}\b", said), said


def test_a_bottle_that_is_not_known_or_not_for_the_method_names_the_titrant(call: EnterCall) -> None:
    two_lots(call, "16 L", "8.5 L")
    call("titrant", "--name", "iodine 3", "--substance", "iodine", "--strength", "0.02 N")
    given = ["--vessel", "K1", "--quantity", "free", "--sample", "25 mL", "--titre", "1 mL"]
    code, said = call("titration", *given, "--method", "iodometric", "--titrant", "iodine 4")
    assert (code, "--titrant" in said, "iodine 3" in said) == (2, True, True), said
    code, said = call("titration", *given, "--method", "aeration", "--titrant", "iodine 3")
    assert (code, "--titrant" in said, "sodium hydroxide" in said) == (2, True, True), said
