"""SO2 that went with a dose or a blend is shown as past, with its date, until it is titrated again."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_journal import JournalOnDisk

from ingest.store.journal.stored_ledger import contents


@pytest.fixture
def journal(tmp_path: Path) -> JournalOnDisk:
    desk = JournalOnDisk(tmp_path)
    for lot in ("ries", "merl"):
        desk.enter("lot", "--lot", lot, "--name", lot, "--style", "white", "--at", "2026-01-01")
    desk.enter("first-filling", "--vessel", "K1", "--lot", "ries", "--volume", "12 L", "--at", "2026-01-02")
    desk.enter("first-filling", "--vessel", "C1", "--lot", "merl", "--volume", "6 L", "--at", "2026-01-02")
    for quantity, result in (("free", "24"), ("total", "80")):
        options = ("--quantity", quantity, "--method", "lab", "--result", result, "--at", "2026-01-10")
        desk.enter("titration", "--vessel", "K1", *options)
    return desk


def line(journal: JournalOnDisk, vessel: str) -> str:
    """What the journal says that a vessel holds."""
    said = journal.run("journal", str(journal.file), "--vessel", vessel).stdout
    return said.rpartition(f"  {vessel}: ")[2].partition("\n")[0]


def dosed(journal: JournalOnDisk) -> None:
    dose = ("--form", "metabisulfite", "--salt", "potassium", "--mass", "0.3 g", "--at", "2026-01-20")
    journal.enter("addition", "--vessel", "K1", *dose)


def test_after_a_dose_the_free_so2_is_past(journal: JournalOnDisk) -> None:
    assert "24 mg/L free SO2" in line(journal, "K1")
    dosed(journal)
    assert "free SO2 was 24 mg/L on 10 Jan, before a dose or blend" in line(journal, "K1")
    assert "mg/L total SO2 (worked out)" in line(journal, "K1")


def test_a_titration_ends_what_is_past(journal: JournalOnDisk) -> None:
    dosed(journal)
    options = ("--quantity", "free", "--method", "lab", "--result", "33", "--at", "2026-01-25")
    journal.enter("titration", "--vessel", "K1", *options)
    assert "33 mg/L free SO2" in line(journal, "K1") and "was" not in line(journal, "K1")


def test_after_a_blend_with_wine_that_nobody_titrated_both_are_past(journal: JournalOnDisk) -> None:
    journal.enter("racking", "--from", "K1", "--from", "C1", "--to", "K3", "--at", "2026-01-20")
    assert "free SO2 was 24 mg/L on 10 Jan, before a dose or blend" in line(journal, "K3")
    assert "total SO2 was 80 mg/L on 10 Jan, before a dose or blend" in line(journal, "K3")


def test_an_empty_vessel_has_no_past(journal: JournalOnDisk) -> None:
    dosed(journal)
    journal.enter("racking", "--from", "K1", "--to", "K3", "--at", "2026-01-21")
    assert "was" not in line(journal, "K1")
    held = contents(journal.store, 1_800_000_000_000, journal.cellar)["K3"]
    assert held.past_free_so2 is not None and held.past_free_so2.mg_l == 24.0
