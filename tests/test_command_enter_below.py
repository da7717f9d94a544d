"""A titration below its blank: the most alarming result there is must not vanish."""

from __future__ import annotations

import json

import pytest
from a_journal import JournalOnDisk
from running import leeside


def _call(journal: JournalOnDisk, *words: str) -> str:
    result = leeside(*words)
    assert result.returncode == 0, result.stderr
    return result.stdout + result.stderr


def test_nothing_found_is_shown_in_contents_and_history(journal: JournalOnDisk) -> None:
    file = str(journal.file)
    _call(journal, "enter", "lot", file, "--lot", "ries", "--name", "Riesling", "--style", "white")
    _call(journal, "enter", "first-filling", file, "--vessel", "K1", "--lot", "ries", "--volume", "16 L")
    titration = (
        "enter",
        "titration",
        file,
        "--vessel",
        "K1",
        "--quantity",
        "free",
        "--method",
        "iodometric",
        "--strength",
        "0.02 N",
        "--substance",
        "iodine",
        "--sample",
        "25 mL",
        "--blank",
        "0.3 mL",
    )
    _call(journal, *titration, "--titre", "1.6 mL")
    said = _call(journal, *titration, "--titre", "0.1 mL", "--despite-warnings")
    assert "0.1 mL less 0.3 mL of 0.02 N on 25 mL: < 4 mg/L free SO2" in said
    told = json.loads(_call(journal, "history", file, "--lot", "ries", "--quantity", "free_so2", "--json"))
    first, second = told["history"]
    # (1.6 - 0.3) mL x 0.02 eq/L x 32.03 g/eq / 25 mL = 33.3 mg/L
    assert first["value"] == pytest.approx(33.3, abs=0.05)
    assert second["value"] == 0.0
    assert 1.5 < second["u"] < 2.5
    assert "< 4 mg/L free SO2" in _call(journal, "journal", file, "--vessel", "K1")
