"""`leeside strike`: crossed out with a reason, refused with names, together with later ones, and a calibration's."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from a_journal import JournalOnDisk

from ingest.journal.entry import Entry
from ingest.store.journal.stored_ledger import contents
from ingest.store.readings.scales import scales, value_at


@pytest.fixture
def journal(tmp_path: Path) -> JournalOnDisk:
    made = JournalOnDisk(tmp_path)
    made.enter("lot", "--lot", "ries", "--name", "Riesling", "--style", "white")
    made.enter("first-filling", "--vessel", "K1", "--lot", "ries", "--volume", "16 L")
    made.enter("racking", "--from", "K1", "--to", "K3")
    return made


def _strike(journal: JournalOnDisk, number: int, *options: str) -> tuple[int, str, str]:
    done = journal.run("strike", str(journal.file), str(number), *options)
    return done.returncode, done.stdout, done.stderr


def _struck(journal: JournalOnDisk) -> list[Entry]:
    return [entry for entry in journal.written() if entry.struck is not None]


def test_a_struck_entry_stays_with_who_and_why(journal: JournalOnDisk) -> None:
    code, said, _ = _strike(journal, 3, "--reason", "it was K2", "--who", "Ana")
    assert code == 0
    assert "struck:     3" in said and "it was K2" in said and "Ana" in said
    (entry,) = _struck(journal)
    assert entry.struck is not None
    assert (entry.id, entry.struck.who, entry.struck.reason) == (3, "Ana", "it was K2")
    held = contents(journal.store, entry.struck.at_ms, journal.cellar)
    assert (held["K1"].volume_l, held["K3"].known) == (16.0, False)


def test_a_strike_that_later_entries_stand_on_names_them(journal: JournalOnDisk) -> None:
    code, _, errors = _strike(journal, 2, "--reason", "wrong")
    assert code == 1
    assert "racking no. 3" in errors and "--with-later" in errors
    assert not _struck(journal)
    code, said, _ = _strike(journal, 2, "--reason", "wrong", "--with-later", "--json")
    assert (code, [entry["id"] for entry in json.loads(said)]) == (0, [2, 3])
    assert [entry.id for entry in _struck(journal)] == [2, 3]


def test_what_is_not_there_or_struck_already_is_refused(journal: JournalOnDisk) -> None:
    code, _, errors = _strike(journal, 99, "--reason", "x")
    assert (code, "there is no entry of that number" in errors) == (1, True)
    assert _strike(journal, 3, "--reason", "x")[0] == 0
    code, _, errors = _strike(journal, 3, "--reason", "x")
    assert (code, "struck already" in errors) == (1, True)


@pytest.mark.parametrize(
    ("options", "named"),
    [([], "--reason"), (["--reason", " "], "--reason"), (["--reason", "x", "--who", " "], "--who")],
)
def test_a_wrong_call_names_its_option(journal: JournalOnDisk, options: list[str], named: str) -> None:
    code, _, errors = _strike(journal, 3, *options)
    assert (code, named in errors) == (2, True), errors
    assert not _struck(journal)


def _shows(journal: JournalOnDisk, number: float, at_ms: int) -> float:
    return value_at(scales(journal.store, journal.series["k1-pressure"]), at_ms, number)


def _calibrate(journal: JournalOnDisk, *options: str) -> Entry:
    done = journal.run("enter", "calibration", str(journal.file), "k1-pressure", *options)
    assert done.returncode == 0, done.stderr
    return next(
        entry for entry in reversed(journal.written()) if entry.id == max(each.id for each in journal.written())
    )


def test_a_calibration_is_an_entry_and_its_strike_takes_the_scale_back(journal: JournalOnDisk) -> None:
    entry = _calibrate(journal, "--truth", "0 kPa", "--reads", "1.2 kPa", "--temperature", "20 °C")
    assert entry.kind == "calibration"
    assert _shows(journal, 1.2, entry.at_ms) == pytest.approx(0.0)
    assert _strike(journal, entry.id, "--reason", "the lid was shut")[0] == 0
    assert _shows(journal, 1.2, entry.at_ms) == pytest.approx(1.2)


@pytest.mark.parametrize("order", ["first then second", "second then first"])
def test_strikes_of_two_calibrations_leave_what_the_other_says(journal: JournalOnDisk, order: str) -> None:
    first = _calibrate(journal, "--truth", "0 kPa", "--reads", "1 kPa", "--from", "2026-01-10")
    second = _calibrate(journal, "--truth", "0 kPa", "--reads", "2 kPa", "--from", "2026-01-20")
    late = second.at_ms + 1
    # The second point was read through the first calibration: 3 without any.
    assert (_shows(journal, 3.0, first.at_ms), _shows(journal, 3.0, late)) == pytest.approx((2.0, 0.0))
    if order == "first then second":
        assert _strike(journal, first.id, "--reason", "x")[0] == 0
        assert (_shows(journal, 3.0, first.at_ms), _shows(journal, 3.0, late)) == pytest.approx((3.0, 0.0))
        assert _strike(journal, second.id, "--reason", "x")[0] == 0
    else:
        assert _strike(journal, second.id, "--reason", "x")[0] == 0
        assert (_shows(journal, 3.0, first.at_ms), _shows(journal, 3.0, late)) == pytest.approx((2.0, 2.0))
        assert _strike(journal, first.id, "--reason", "x")[0] == 0
    assert (_shows(journal, 3.0, first.at_ms), _shows(journal, 3.0, late)) == pytest.approx((3.0, 3.0))


def test_a_calibration_that_no_adjustment_explains_leaves_no_entry(journal: JournalOnDisk) -> None:
    before = journal.written()
    points = ["--truth", "0 kPa", "--reads", "0 kPa", "--truth", "100 kPa", "--reads", "50 kPa"]
    done = journal.run("enter", "calibration", str(journal.file), "k1-pressure", *points)
    assert (done.returncode, "span of 2" in done.stderr) == (1, True), done.stderr
    assert journal.written() == before
