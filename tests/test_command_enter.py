"""`leeside enter` without a terminal, through the real command: taken, refused, cautioned, killed, at one moment."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
from a_journal import JournalOnDisk
from cellar_text import BASE, write_cellar
from enter_call import EnterCall, two_lots
from running import COMMAND, leeside

from ingest.journal.kinds import KINDS
from ingest.store.journal.stored_ledger import contents
from ingest.times import moment_of


@pytest.fixture
def call(journal: JournalOnDisk) -> EnterCall:
    return EnterCall(journal)


def test_every_kind_of_the_table_has_its_command(journal: JournalOnDisk) -> None:
    told = journal.run("enter", "--help").stdout
    for kind in KINDS:
        assert re.search(rf"\b{kind}\b", told), kind
    assert len(KINDS) == 14


def test_a_charge_keeps_the_cylinder_that_it_came_from(call: EnterCall, journal: JournalOnDisk) -> None:
    given = ["--vessel", "K1", "--act", "charged", "--pressure", "55 kPa"]
    code, said = call("gas", *given, "--cylinder", "CO2")
    assert (code, "charged to 55 kPa, from CO2" in said) == (0, True), said
    assert journal.written()[-1].body.cylinder == "CO2"  # type: ignore[attr-defined]  # a gas entry's
    code, said = call("gas", *given, "--cylinder", "N9")
    assert (code, "--cylinder" in said, "there are: CO2" in said) == (2, True, True), said
    assert "warning" not in call("gas", *given)[1]
    code, said = call("gas", "--vessel", "K1", "--act", "charged", "--pressure", "250 kPa")
    warned = "warning: 250 kPa is more than the 200 kPa that are stamped on K1: shut the gas, stand" in said
    assert (code, warned) == (1, True), said
    code, said = call("gas", "--cylinder", "CO2", "--act", "supply shut")
    assert code == 0, said
    assert (journal.written()[-1].place, journal.written()[-1].body.cylinder) == ("CO2", None)  # type: ignore[attr-defined]  # the same


def test_two_vessels_are_racked_into_one_and_the_same_from_full_ones_is_refused(
    call: EnterCall, journal: JournalOnDisk
) -> None:
    two_lots(call, "16 L", "8.5 L")
    assert call("racking", "--begin", "--from", "K1", "--from", "C1")[0] == 0
    code, said = call("racking", "--from", "K1=16L", "--from", "C1=8.5L", "--to", "K3", "--lees", "0.5L")
    assert code == 0, said
    assert "K3 then: 24.0 L of 65 % ries, 35 % sylv, headspace 1.0 L" in said
    assert "K1 then: empty" in said and "C1 then: empty" in said
    assert f"finishes no. {journal.written()[-2].id}" in said
    assert "Caution: glass" in said


def test_what_does_not_fit_is_refused_with_the_numbers(call: EnterCall, journal: JournalOnDisk) -> None:
    two_lots(call, "19 L", "10 L")
    before = journal.written()
    done = journal.run(
        "enter", "racking", str(journal.file), "--from", "K1=19L", "--from", "C1=10L", "--to", "K3", "--lees", "0.5L"
    )
    assert done.returncode == 1
    assert "K3 would hold 28.5 L, and brimful it takes 25 L: 3.5 L too much" in done.stderr
    assert journal.written() == before


def test_a_blend_is_said(call: EnterCall) -> None:
    two_lots(call, "10 L", "8.5 L")
    code, said = call("racking", "--from", "C1=5L", "--to", "K1")
    assert (code, "say that it is a blend" in said) == (1, True), said
    assert call("racking", "--from", "C1=5L", "--to", "K1", "--blend")[0] == 0


def test_metabisulfite_is_told_as_so2(call: EnterCall) -> None:
    two_lots(call, "16 L", "8.5 L")
    code, said = call("addition", "--vessel", "K1", "--form", "metabisulfite", "--salt", "potassium", "--mass", "0.4 g")
    # 2 x 64.06 / 222.32 = 57.6 % of it is SO2 (IUPAC atomic masses: K2S2O5 has 222.32 g/mol).
    assert (code, "0.23 g SO2" in said or "0.231 g SO2" in said) == (0, True), said
    code, said = call(
        "addition", "--vessel", "C1", "--form", "stock solution", "--salt", "potassium", "--volume", "5 mL", "--stock",
        "10 g/100 mL",
    )  # fmt: skip
    assert (code, "0.288 g SO2" in said) == (0, True), said
    code, said = call("addition", "--vessel", "C1", "--form", "tablets", "--number", "2", "--label", "0.25 g")
    assert (code, "0.5 g SO2" in said) == (0, True), said


def test_a_weight_makes_litres_by_tare_and_density(call: EnterCall, journal: JournalOnDisk) -> None:
    two_lots(call, "16 L", "8.5 L")
    assert (
        call("measurement", "--vessel", "K1", "--quantity", "weight", "--value", "20 kg", "--density", "0.992 g/mL")[0]
        == 0
    )
    # (20.0 - 4.2) / 0.992 = 15.93 L
    assert contents(journal.store, journal.written()[-1].at_ms)["K1"].volume_l == pytest.approx(15.927, abs=0.001)
    code, said = call("measurement", "--cylinder", "CO2", "--quantity", "weight", "--value", "19 kg", "--tare", "12 kg")
    assert (code, "which makes 7.00 kg of gas" in said) == (0, True), said


@pytest.mark.parametrize(
    ("kind", "options", "caution"),
    [
        ("addition", ["--vessel", "K1", "--form", "tablets", "--number", "1", "--label", "0.25 g"], "sulfite"),
        ("gas", ["--vessel", "K1", "--act", "vented"], "pressure"),
        ("gas", ["--cylinder", "CO2", "--act", "supply opened"], "upright and chained"),
        ("gas", ["--vessel", "K1", "--act", "charged", "--pressure", "30 kPa", "--cylinder", "CO2"], "chained"),
        ("titrant", ["--name", "n", "--substance", "iodine", "--strength", "0.02 N"], "iodine stains"),
        ("measurement", ["--vessel", "K1", "--quantity", "alcohol", "--value", "12 % vol"], "flames"),
        ("titrant", ["--name", "n", "--substance", "sodium hydroxide", "--strength", "0.01 mol/L"], "burns"),
        ("bottling", ["--vessel", "K1", "--bottles", "2 x 0.75 L"], "glass"),
        ("bottling", ["--vessel", "K1", "--bottles", "2 x 0.75 L"], "not made for pressure"),
        ("topping", ["--vessel", "C1", "--bottles", "1 x 0.75 L"], "glass"),
        ("topping", ["--vessel", "K1", "--bottles", "1 x 0.75 L"], "pressure"),
        ("racking", ["--begin", "--from", "K1", "--from", "C1"], "pressure"),
        ("racking", ["--begin", "--from", "K1", "--from", "C1"], "glass"),
        ("vessel-status", ["--vessel", "K3", "--status", "emptied"], "pressure"),
        (
            "titration",
            ["--vessel", "K1", "--quantity", "free", "--method", "aeration", "--titre", "2 mL", "--sample", "50 mL",
             "--strength", "0.01 N"],
            "acid, hydrogen peroxide",
        ),
        (
            "titration",
            ["--vessel", "K1", "--quantity", "total", "--method", "aeration", "--titre", "2 mL", "--sample", "50 mL",
             "--strength", "0.01 N"],
            "flame",
        ),
    ],
)  # fmt: skip
def test_a_caution_stands_where_something_dangerous_is_handled_each_time(
    call: EnterCall, kind: str, options: list[str], caution: str
) -> None:
    two_lots(call, "16 L", "8.5 L")
    for _ in range(2):
        code, said = call(kind, *options)
        assert code == 0, said
        assert [caution in line for line in said.splitlines() if line.startswith("Caution: ")] == [True], said


@pytest.mark.parametrize(
    ("kind", "options", "named"),
    [
        ("first-filling", [], "--vessel"),
        ("first-filling", ["--vessel", "K1"], "--lot"),
        ("first-filling", ["--vessel", "K1", "--lot", "ries", "--volume", "16"], "--volume"),
        ("first-filling", ["--vessel", "K1", "--lot", "ries", "--volume", "16 kg"], "--volume"),
        ("first-filling", ["--vessel", "K1", "--lot", "ries", "--volume", "-1 L"], "--volume"),
        ("first-filling", ["--vessel", "K9", "--lot", "ries"], "--vessel"),
        ("first-filling", ["--vessel", "CO2", "--lot", "ries"], "--vessel"),
        ("first-filling", ["--vessel", "K1", "--lot", "none"], "--lot"),
        ("first-filling", ["--vessel", "K1", "--vessel", "K3", "--lot", "ries"], "--vessel"),
        ("first-filling", ["--vessel", "K1", "--lot", "ries", "--at", "soon"], "--at"),
        ("first-filling", ["--vessel", "K1", "--lot", "ries", "--at", "2199-01-01"], "--at"),
        ("first-filling", ["--vessel", "K1", "--lot", "ries", "--at", "2026-10-25 02:30"], "--at"),
        ("first-filling", ["--vessel", "K1", "--lot", "ries", "--at", "2026-03-29 02:30"], "--at"),
        ("first-filling", ["--vessel", "K1", "--lot", "ries", "--who", " "], "--who"),
        ("lot", ["--lot", "a b", "--name", "n", "--style", "white"], "--lot"),
        ("lot", ["--lot", "a", "--name", "n", "--style", "blue"], "--style"),
        ("lot", ["--lot", "a", "--name", "n", "--style", "red", "--vintage", "20260"], "--vintage"),
        ("lot", ["--lot", "a", "--name", "n", "--style", "red", "--alcohol", "120 % vol"], "--alcohol"),
        ("racking", ["--from", "K1=16", "--to", "K3"], "--from"),
        ("racking", ["--from", "K1=16L"], "--to"),
        ("racking", ["--from", "K1", "--to", "K3", "--emptied", "C1"], "--emptied"),
        ("racking", ["--from", "K1", "--to", "K1"], "--from"),
        ("topping", ["--vessel", "K1"], "--lot"),
        ("topping", ["--vessel", "K1", "--bottles", "0.75 L"], "--bottles"),
        ("topping", ["--vessel", "K1", "--from", "K1"], "--from"),
        ("topping", ["--vessel", "K1", "--from", "C1", "--alcohol", "12 % vol"], "--alcohol"),
        ("gas", ["--vessel", "K1", "--act", "charged"], "--pressure"),
        ("gas", ["--vessel", "K1", "--act", "charged", "--pressure", "155 kPa absolute"], "--pressure"),
        ("gas", ["--vessel", "K1", "--act", "purged", "--times", "often"], "--times"),
        ("inspection", ["--vessel", "K1"], "--clarity"),
        ("inspection", ["--vessel", "K1", "--film", "perhaps"], "--film"),
        ("vessel-status", ["--vessel", "K1"], "--status"),
        ("measurement", ["--vessel", "K1", "--quantity", "pH", "--value", "3.4 kPa"], "--value"),
        ("measurement", ["--vessel", "K1", "--quantity", "iron", "--value", "3"], "--value"),
        ("measurement", ["--vessel", "K1", "--quantity", "weight", "--value", "4 kg"], "--value"),
        ("addition", ["--vessel", "K1", "--form", "tablets", "--number", "2"], "--label"),
        ("addition", ["--vessel", "K1", "--form", "liquid", "--volume", "2 mL", "--label", "0.25 g"], "--label"),
        ("addition", ["--vessel", "K1", "--form", "other", "--name", "bentonite"], "--amount"),
        ("sample", ["--vessel", "K1", "--volume", "0 mL"], "--volume"),
        ("bottling", ["--vessel", "K1", "--bottles", "0 x 0.75 L"], "--bottles"),
        ("titrant", ["--name", "n", "--substance", "iodine", "--strength", "0.02"], "--strength"),
        ("titrant", ["--name", "n", "--substance", "iodine", "--strength", "0.02 N", "--factor", "97"], "--factor"),
    ],
)  # fmt: skip
def test_a_wrong_answer_names_its_option(
    call: EnterCall, journal: JournalOnDisk, kind: str, options: list[str], named: str
) -> None:
    call("lot", "--lot", "ries", "--name", "n", "--style", "white")
    before = journal.written()
    code, said = call(kind, *options)
    assert code == 2, said
    assert re.search(rf"{named}\b", said), said
    assert journal.written() == before


# The clocks changed on 25 October 2026 from 03:00 back to 02:00, and on 29 March 2026 from 02:00 to 03:00.
@pytest.mark.parametrize(
    ("at", "utc"),
    [
        ("2026-10-25 02:30+02:00", "2026-10-25 00:30Z"),
        ("2026-10-25 02:30+01:00", "2026-10-25 01:30Z"),
        ("2026-10-25 01:59", "2026-10-24 23:59Z"),
        ("2026-10-25 03:00", "2026-10-25 02:00Z"),
        ("2026-03-29 01:59", "2026-03-29 00:59Z"),
        ("2026-03-29 03:00", "2026-03-29 01:00Z"),
        ("2026-10-25", "2026-10-25 11:00Z"),
        ("2026-03-29", "2026-03-29 10:00Z"),
    ],
)
def test_times_around_both_clock_changes(call: EnterCall, journal: JournalOnDisk, at: str, utc: str) -> None:
    code, said = call("lot", "--lot", "ries", "--name", "n", "--style", "white", "--at", at)
    assert code == 0, said
    assert journal.written()[-1].at_ms == moment_of(utc, journal.cellar.site.zone)


def test_an_ambiguous_time_is_refused_with_the_two_ways_to_write_it(call: EnterCall) -> None:
    code, said = call("lot", "--lot", "r", "--name", "n", "--style", "white", "--at", "2026-10-25 02:30")
    assert code == 2
    assert "2026-10-25 02:30+02:00" in said and "2026-10-25 02:30+01:00" in said


def test_a_late_entry_that_hits_a_later_one_names_it_and_takes_it_along_when_told(
    call: EnterCall, journal: JournalOnDisk
) -> None:
    two_lots(call, "16 L", "8.5 L")
    assert call("racking", "--from", "K1=16L", "--to", "K3")[0] == 0
    number = journal.written()[-1].id
    fill = next(entry for entry in journal.written() if entry.place == "K1")
    late = ["--vessel", "K1", "--status", "emptied", "--at", "now"]
    assert call("vessel-status", *late)[0] == 0  # now it is empty anyway
    early = f"{moment_text(fill.at_ms)}"
    done = journal.run("enter", "sample", str(journal.file), "--vessel", "K1", "--volume", "1 L", "--at", early)
    assert done.returncode == 1
    assert f"no. {number}" in done.stderr and "--with-later" in done.stderr
    again = journal.run(
        "enter", "sample", str(journal.file), "--vessel", "K1", "--volume", "1 L", "--at", early, "--with-later"
    )
    assert again.returncode == 0, again.stderr
    assert f"Struck with it: racking no. {number}" in again.stdout
    assert next(entry for entry in journal.written() if entry.id == number).struck is not None


def moment_text(at_ms: int) -> str:
    from ingest.times import iso_utc

    # A moment after the filling, in the same second at most.
    return iso_utc(at_ms + 1)


def test_two_people_at_one_moment_lose_nothing(journal: JournalOnDisk, call: EnterCall) -> None:
    two_lots(call, "16 L", "8.5 L")
    words = ["enter", "sample", str(journal.file), "--vessel", "K1", "--volume", "1 L", "--who"]
    people = [
        subprocess.Popen(
            [*COMMAND, *words, name], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            text=True, cwd=Path(__file__).parent.parent,
        )
        for name in ("Ana", "Bor")
    ]  # fmt: skip
    for person in people:
        _, errors = person.communicate(timeout=60)
        assert person.returncode == 0, errors
    samples = [entry for entry in journal.written() if entry.kind == "sample"]
    assert {entry.who for entry in samples} == {"Ana", "Bor"}
    assert len({entry.id for entry in samples}) == 2
    now_ms = max(entry.written_ms for entry in samples)
    assert contents(journal.store, now_ms)["K1"].volume_l == pytest.approx(14.0)


def test_of_two_who_draw_the_last_wine_at_one_moment_one_is_refused(journal: JournalOnDisk, call: EnterCall) -> None:
    two_lots(call, "16 L", "8.5 L")
    words = ["enter", "racking", str(journal.file), "--from", "K1=16L", "--to"]
    people = [
        subprocess.Popen(
            [*COMMAND, *words, to], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            text=True, cwd=Path(__file__).parent.parent,
        )
        for to in ("K3", "K3")
    ]  # fmt: skip
    errors = [person.communicate(timeout=60)[1] for person in people]
    assert sorted(person.returncode for person in people) == [0, 1], errors
    assert any("K1 is empty" in text for text in errors)


def test_a_cellar_that_has_never_run_takes_entries_and_imports(tmp_path: Path) -> None:
    file = write_cellar(tmp_path, BASE)
    entered = leeside(
        "enter", "lot", file, "--lot", "A1", "--name", "Rebula", "--style", "white", "--at", "2026-01-02 10:00"
    )
    assert (entered.returncode, entered.stderr) == (0, "")
    lines = tmp_path / "entries.jsonl"
    lines.write_text(leeside("export", file, "--entries").stdout, encoding="utf-8")
    (tmp_path / "other").mkdir()
    other = write_cellar(tmp_path / "other", BASE)
    assert leeside("import", other, lines, "--entries").returncode == 0
    assert not (tmp_path / "other" / "cellar.db").exists()
    assert leeside("import", other, lines, "--entries", "--write").returncode == 0
    assert "A1" in leeside("journal", other).stdout


def test_a_bound_is_named_with_the_value_and_the_unit_of_the_question(journal: JournalOnDisk) -> None:
    words = ("first-filling", str(journal.file), "--vessel", "K1", "--lot", "ries", "--volume")
    for volume, problem in (
        ("2000 m3", "2000000 L: must be at most 1000000 L"),
        ("0 L", "0 L: must be more than 0 L"),
    ):
        refused = leeside("enter", *words, volume)
        assert refused.returncode == 2
        assert problem in " ".join(refused.stderr.split())
        assert "--volume" in refused.stderr
