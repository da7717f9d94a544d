"""Weighing a cylinder of carbon dioxide: gross less tare, never below nothing, never more than it may hold."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_journal import JournalOnDisk
from cellar_text import MQTT, SITE, cylinder, write_cellar
from running import leeside

from ingest.journal.kinds.measurement import MeasurementBody


def _weigh(journal: JournalOnDisk, *options: str) -> tuple[int, str]:
    done = journal.run(
        "enter", "measurement", str(journal.file), "--cylinder", "CO2", "--quantity", "weight", "--yes", *options
    )
    return done.returncode, done.stdout + done.stderr


def _content_kg(journal: JournalOnDisk) -> float | None:
    body = journal.written()[-1].body
    assert isinstance(body, MeasurementBody)
    return body.content_kg


def test_gross_less_tare_is_the_gas(tmp_path: Path) -> None:
    journal = JournalOnDisk(tmp_path)
    assert _weigh(journal, "--value", "14.2 kg", "--tare", "9.8 kg")[0] == 0
    assert _content_kg(journal) == pytest.approx(4.4)
    assert _weigh(journal, "--value", "20 lb", "--tare", "8 kg")[0] == 0
    assert _content_kg(journal) == pytest.approx(20 * 0.45359237 - 8.0)


def test_a_weight_below_the_tare_is_refused(tmp_path: Path) -> None:
    journal = JournalOnDisk(tmp_path)
    code, said = _weigh(journal, "--value", "9.7 kg", "--tare", "9.8 kg")
    assert code == 2
    assert "9.7 kg is less than the tare of 9.8 kg" in said
    assert journal.written() == []


def test_exactly_the_tare_is_an_empty_cylinder(tmp_path: Path) -> None:
    journal = JournalOnDisk(tmp_path)
    assert _weigh(journal, "--value", "9.8 kg", "--tare", "9.8 kg")[0] == 0
    assert _content_kg(journal) == 0.0


def test_more_than_it_may_hold_is_warned_of(tmp_path: Path) -> None:
    journal = JournalOnDisk(tmp_path)
    code, said = _weigh(journal, "--value", "19.8 kg", "--tare", "9.8 kg")
    assert code == 1
    assert "10.00 kg of carbon dioxide is more than the 7.50 kg that a cylinder of 10 L may hold" in said
    assert _weigh(journal, "--value", "19.8 kg", "--tare", "9.8 kg", "--despite-warnings")[0] == 0


def test_without_a_tare_the_weight_is_kept_and_makes_no_content(tmp_path: Path) -> None:
    journal = JournalOnDisk(tmp_path)
    code, said = _weigh(journal, "--value", "14.2 kg")
    assert code == 0
    assert "say the tare" in said
    assert _content_kg(journal) is None


def test_the_tare_may_stand_in_the_cellar_file(tmp_path: Path) -> None:
    journal = JournalOnDisk(tmp_path)
    write_cellar(tmp_path, SITE, MQTT, cylinder("CO2", gas="carbon dioxide", tare="9.8 kg"))
    words = ("--cylinder", "CO2", "--quantity", "weight", "--yes", "--value", "14.2 kg")
    assert leeside("enter", "measurement", journal.file, *words).returncode == 0
    assert _content_kg(journal) == pytest.approx(4.4)
