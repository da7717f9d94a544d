"""What can hardly be is shown loudly, refused, and taken down if a person insists."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from a_journal import JournalOnDisk
from running import leeside


class _Call:
    def __init__(self, journal: JournalOnDisk) -> None:
        self._journal = journal

    def __call__(self, kind: str, *options: str) -> str:
        """Enter something. Under a warning nothing is written before a person insists; then the entry keeps it."""
        before = len(self._journal.written())
        result = leeside("enter", kind, self._journal.file, *options)
        warnings = [line.removeprefix("warning: ") for line in result.stdout.splitlines() if line.startswith("warning")]
        if warnings:
            assert (result.returncode, len(self._journal.written())) == (1, before)
            assert "--despite-warnings writes it" in result.stderr
            result = leeside("enter", kind, self._journal.file, *options, "--despite-warnings")
        assert result.returncode == 0, result.stderr
        newest = max(self._journal.written(), key=lambda entry: entry.id)
        assert list(newest.body.warnings) == warnings
        assert self.shown().count("warning: ") == sum(len(entry.body.warnings) for entry in self._journal.written())
        return result.stdout + result.stderr

    def shown(self) -> str:
        return leeside("journal", self._journal.file).stdout


@pytest.fixture
def call(tmp_path: Path) -> _Call:
    """16 L in the keg K1, 8.5 L in the carboy C1, which is of glass."""
    made = _Call(JournalOnDisk(tmp_path))
    for lot, vessel, volume in (("ries", "K1", "16 L"), ("sylv", "C1", "8.5 L")):
        made("lot", "--lot", lot, "--name", lot, "--style", "white", "--alcohol", "12 % vol")
        made("first-filling", "--vessel", vessel, "--lot", lot, "--volume", volume)
    return made


@pytest.mark.parametrize("act", ["charged", "pushed"])
def test_gas_on_glass_is_told_of(call: _Call, act: str) -> None:
    said = call("gas", "--vessel", "C1", "--act", act, "--pressure", "25 kPa")
    assert "warning: C1 is of glass, and glass bursts under pressure: shut the gas" in said
    assert "Caution: gas under pressure" in said
    assert "glass takes no pressure" in said


def test_gas_on_a_keg_or_purging_glass_is_no_news(call: _Call) -> None:
    assert "warning" not in call("gas", "--vessel", "K1", "--act", "charged", "--pressure", "55 kPa")
    assert "warning" not in call("gas", "--vessel", "C1", "--act", "purged", "--times", "3")


def test_a_pressure_that_was_read_and_is_more_than_the_stamp_is_told_of(call: _Call) -> None:
    words = ("--vessel", "K1", "--quantity", "pressure", "--value")
    assert "warning" not in call("measurement", *words, "0.55 bar")
    assert "kPa that are stamped on K1: shut the gas" in call("measurement", *words, "20 bar")


_TITRATION = ("--vessel", "K1", "--quantity", "total", "--method", "elsewhere", "--result", "60 mg/L")


def test_the_effect_of_a_dose_is_shown_and_one_too_large_is_told_of(call: _Call) -> None:
    call("titration", *_TITRATION)
    said = call("addition", "--vessel", "K1", "--form", "metabisulfite", "--salt", "potassium", "--mass", "0.8 g")
    # 0.8 g x 0.5763 / 16 L = 28.8 mg/L more.
    assert "K1 then:" in said
    assert "89 mg/L total SO2" in said
    assert "warning" not in said
    said = call("addition", "--vessel", "K1", "--form", "metabisulfite", "--salt", "sodium", "--mass", "80 g")
    assert "warning: K1 would then have" in said
    assert "The highest limit of EU law is 400, for some sweet wines" in said


def test_a_stock_solution_that_cannot_be_is_told_of(call: _Call) -> None:
    options = ("--vessel", "K1", "--form", "stock solution", "--salt", "potassium", "--volume", "5 mL")
    assert "do not dissolve" in call("addition", *options, "--stock", "60 g/100 mL")
    assert "do not dissolve" not in call("addition", *options, "--stock", "10 g/100 mL")


def test_a_dose_of_another_order_of_magnitude_is_told_of_where_the_total_is_unknown(call: _Call) -> None:
    dose = ("--form", "metabisulfite", "--salt", "potassium", "--mass")
    said = call("addition", "--vessel", "K1", *dose, "900 kg")
    assert re.search(r"g of SO2 into 16 L of wine makes \d{8} mg/L, and no wine needs more than 400", said)
    assert "into 25 L at most makes 1037 mg/L" in call("addition", "--vessel", "K3", *dose, "45 g")
    assert "warning" not in call("addition", "--vessel", "K1", *dose, "0.8 g")


def test_free_so2_above_the_total_is_told_of_whichever_was_found_last(call: _Call) -> None:
    elsewhere = ("--method", "elsewhere", "--uncertainty", "3 mg/L", "--result")
    call("titration", "--vessel", "K1", "--quantity", "total", *elsewhere, "30 mg/L")
    assert "warning" not in call("titration", "--vessel", "K1", "--quantity", "free", *elsewhere, "36 mg/L")
    said = call("titration", "--vessel", "K1", "--quantity", "free", *elsewhere, "45 mg/L")
    assert "warning: 45 mg/L of free SO2 is more than the 30 mg/L of total SO2 of K1" in said
    said = call("titration", "--vessel", "K1", "--quantity", "total", *elsewhere, "20 mg/L")
    assert "warning: 45 mg/L of free SO2 is more than the 20 mg/L" in said


def test_a_date_of_the_last_century_is_told_of(call: _Call) -> None:
    said = call("inspection", "--vessel", "K3", "--clarity", "clear", "--at", "1999-11-20")
    assert "warning: that was in 1999: look at the date" in said


@pytest.mark.parametrize(
    ("quantity", "fine", "wrong"),
    [
        ("pH", "3.42", "34.2"),
        ("temperature", "12 °C", "300 °C"),
        ("alcohol", "12 % vol", "112 % vol"),
        ("density", "0.993 g/mL", "1.5 g/mL"),
    ],
)
def test_a_number_that_is_not_of_wine_is_told_of(call: _Call, quantity: str, fine: str, wrong: str) -> None:
    assert "is not of wine" not in call("measurement", "--vessel", "K1", "--quantity", quantity, "--value", fine)
    assert f"warning: {quantity} " in call("measurement", "--vessel", "K1", "--quantity", quantity, "--value", wrong)


def test_wine_that_a_bottling_loses_is_told_of(call: _Call) -> None:
    said = call("bottling", "--vessel", "K1", "--bottles", "10 x 0.75 L", "--waste", "0.2 L", "--remainder", "0 L")
    assert "warning: K1 held 16 L, and 7.7 L are accounted for: 8.3 L are missing" in said


def test_a_bottling_that_adds_up_is_no_news(call: _Call) -> None:
    said = call("bottling", "--vessel", "K1", "--bottles", "20 x 0.75 L", "--waste", "0.6 L", "--remainder", "0 L")
    assert "are gone" not in said


def test_emptying_a_vessel_with_wine_is_told_of(call: _Call) -> None:
    assert "warning: K1 held 16 L, all of which is then gone" in call(
        "vessel-status", "--vessel", "K1", "--status", "emptied"
    )
    assert "gone" not in call("vessel-status", "--vessel", "K1", "--status", "emptied")
