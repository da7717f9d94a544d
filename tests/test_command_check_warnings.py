"""`leeside check`: limits that can never act, and limits on wine."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from a_journal import FILE_TEXT, JournalOnDisk
from cellar_text import KEG, MQTT, SITE, limit, mail, probe, problems, table, write_cellar
from running import leeside
from test_cellar_people import person

from alerts.blanket.judged_rows import GAS_NUMBERS
from alerts.command.checks.check_warnings import check_warnings
from alerts.judging.judges import judges
from ingest.cellar import JUDGED_QUANTITIES, load_cellar
from ingest.process import wall_ms
from ingest.store.cellar_files import keep_cellar_file

NARROW = probe(unit=None, payload="json", pointer="/mA", signal="4-20 mA = 0-20 psi")
WARM = limit(lot="A1", quantity="temperature", high="18 °C")


def _warnings(file: Path) -> list[str]:
    out: dict[str, list[str]] = json.loads(leeside("check", file, "--json").stdout)
    return out["warnings"]


def test_a_default_limit_beyond_what_the_signal_can_say_is_a_warning(tmp_path: Path) -> None:
    """Up to 21 mA, where NAMUR NE 43 says that the instrument failed."""
    assert _warnings(write_cellar(tmp_path, SITE, MQTT, KEG, NARROW)) == [
        "K1/pressure/over can never alarm: it is above 180 kPa, and the signal of k1-pressure says no more than "
        "146.5 kPa. Use an instrument with a wider range, or write a limit within it."
    ]


def test_channels_and_a_digest_that_reach_nobody_are_warnings(tmp_path: Path) -> None:
    push = table("[[channel]]", id="push", kind="apprise", url_env="PUSH")
    people = (
        person("ana", '{ mail = "ana@x.example" }', priorities=["high"]),
        person("bo", '{ mail = "bo@x.example" }', after="30 min"),
    )
    file = write_cellar(
        tmp_path, SITE, MQTT, KEG, probe(), push, mail(to=None), *people, table("[digest]", every="day")
    )
    assert _warnings(file) == [
        "channel push reaches nobody: name it in channels of a [[person]], or leave it out.",
        "nobody gets the digest: everybody has `after`, or `priorities` without low.",
    ]


def test_an_own_limit_beyond_what_the_signal_can_say_is_refused() -> None:
    high = limit(at="K1", quantity="pressure", high="150 kPa")
    assert problems(SITE, MQTT, KEG, NARROW, high) == [
        '[[limit]] K1/pressure/high high = "150 kPa": can never be reached: the signal of k1-pressure says no more '
        "than 146.514 kPa"
    ]


@pytest.mark.parametrize("signal", ["4-20 mA = 0-60 psi", "4-20 mA = 60-0 psi", "0-10 V = 0-2 bar", "Pt100"])
def test_a_signal_that_reaches_the_limit_is_no_warning(signal: str, tmp_path: Path) -> None:
    wide = NARROW.replace("4-20 mA = 0-20 psi", signal)
    if signal == "Pt100":
        wide = wide.replace('"pressure"', '"temperature"')
    assert _warnings(write_cellar(tmp_path, SITE, MQTT, KEG, wide)) == []


def test_a_limit_on_wine_is_shown_and_its_lot_looked_up_in_the_journal(tmp_path: Path) -> None:
    journal = JournalOnDisk(tmp_path)
    journal.file.write_text(FILE_TEXT + WARM, encoding="utf-8")
    unknown = "no lot A1 is in the journal, so its limits watch nothing yet. `leeside enter lot` writes one down."
    assert _warnings(journal.file) == [unknown]
    shown = leeside("check", journal.file)
    assert shown.returncode == 0
    assert f"WARNING: {unknown}" in shown.stdout
    assert "  lot A1/temperature/high, wherever it lies\n      temperature above 18.0 °C for 5 min" in shown.stdout
    journal.enter("lot", "--lot", "A1", "--name", "Merlot", "--style", "red")
    assert _warnings(journal.file) == []


def test_every_judged_quantity_is_given_by_a_judge() -> None:
    given = {"molecular_so2", "free_so2", "total_so2", "cylinder_days_left"}
    assert {judge.name for judge in judges()} == {"so2", "total", "gas", "cylinders"}
    assert given | GAS_NUMBERS == set(JUDGED_QUANTITIES)


@pytest.mark.parametrize("example", sorted((Path(__file__).parent.parent / "config_examples").glob("*.toml")), ids=str)
def test_no_example_has_a_limit_that_can_never_act(example: Path) -> None:
    assert [warning for warning in check_warnings(load_cellar(example)) if "never" in warning] == []


def test_what_is_watched_beside_the_limits_on_readings_is_said(tmp_path: Path) -> None:
    shown = leeside("check", write_cellar(tmp_path, SITE, MQTT, KEG, probe())).stdout
    assert "K1/pressure/air" in shown
    assert "leeside/ingest" not in shown
    assert "Also watched: that each probe gives good readings;" in shown
    assert "leeside itself. `leeside limits` lists every limit." in shown


# ---- renamed without was -------------------------------------------------------------------------------------------


def _renamed(desk: JournalOnDisk, *changes: tuple[str, str]) -> list[str]:
    text = desk.file.read_text("utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    desk.file.write_text(text, "utf-8")
    return _warnings(desk.file)


@pytest.fixture
def ran(tmp_path: Path) -> JournalOnDisk:
    """A cellar that has run, with wine in K1 and readings of its probe."""
    desk = JournalOnDisk(tmp_path)
    keep_cellar_file(desk.store, desk.cellar.text, wall_ms() - 60_000)
    desk.enter("lot", "--lot", "ries", "--name", "Riesling", "--style", "white", "--at", "2026-01-01")
    desk.enter("first-filling", "--vessel", "K1", "--lot", "ries", "--volume", "18 L", "--at", "2026-01-02")
    assert _warnings(desk.file) == []
    return desk


def test_a_vessel_that_was_renamed_without_was_is_named(ran: JournalOnDisk) -> None:
    (warning,) = _renamed(ran, ('"K1"', '"G1"'))
    assert warning.startswith("vessel K1 is in the store and holds wine by the journal, but not in the file any more.")
    assert 'write was = "K1" at G1' in warning


def test_with_was_all_is_in_order(ran: JournalOnDisk) -> None:
    assert _renamed(ran, ('id = "K1"', 'id = "G1"\nwas = "K1"'), ('at = "K1"', 'at = "G1"')) == []


def test_an_empty_vessel_that_is_gone_is_none_of_our_business(ran: JournalOnDisk) -> None:
    third = ran.file.read_text("utf-8").partition('[[vessel]]\nid = "K3"')
    assert third[1]
    rest = third[2].partition("\n[[")
    ran.file.write_text(third[0] + "[[" + rest[2], "utf-8")
    assert _warnings(ran.file) == []


def test_a_probe_that_was_renamed_without_was_is_named(ran: JournalOnDisk) -> None:
    (warning,) = _renamed(ran, ('id = "k1-pressure"', 'id = "keg-one"'))
    assert 'write was = "k1-pressure" at keg-one' in warning
