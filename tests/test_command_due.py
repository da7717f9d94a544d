"""`leeside due`: what is due and what comes next, as lines, as an object, as a calendar."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from a_journal import JournalOnDisk
from icalendar import Calendar

from ingest.process import wall_ms
from ingest.times import iso_utc

DAY_MS = 86_400_000


@pytest.fixture
def journal(tmp_path: Path) -> JournalOnDisk:
    made = JournalOnDisk(tmp_path)
    made.enter("lot", "--lot", "ries", "--name", "Riesling", "--style", "white", "--at", days_ago(40))
    made.enter("first-filling", "--vessel", "K1", "--lot", "ries", "--volume", "16 L", "--at", days_ago(40))
    return made


def days_ago(days: int) -> str:
    return iso_utc(wall_ms() - days * DAY_MS)


def test_what_is_due_stands_before_what_comes(journal: JournalOnDisk) -> None:
    done = journal.run("due", str(journal.file))
    lines = done.stdout.splitlines()
    assert done.returncode == 1
    assert lines[0].startswith("due   measurement of the pH of lot ries (K1) due since ")
    assert lines[1].startswith("due   titration of lot ries (K1) due since ")
    assert lines[2].startswith("      racking of lot ries (K1) on ")
    as_json = json.loads(journal.run("due", str(journal.file), "--json").stdout)["due"]
    assert [(each["work"], each["is_due"]) for each in as_json] == [
        ("pH", True),
        ("titration", True),
        ("racking", False),
    ]
    assert as_json[1]["task"] == "Titrate K1 (lot ries)"


def test_the_calendar_is_written_whole_and_read_by_others(journal: JournalOnDisk, tmp_path: Path) -> None:
    out = tmp_path / "due.ics"
    assert journal.run("due", str(journal.file), "--ical", str(out)).returncode == 0
    calendar = Calendar.from_ical(out.read_bytes())
    assert len(list(calendar.walk("VEVENT"))) == 3
    assert out.stat().st_mode & 0o777 == 0o644
    assert [file.name for file in tmp_path.glob("*due.ics*")] == ["due.ics"], "nothing half written stays"
    refused = journal.run("due", str(journal.file), "--ical", str(tmp_path / "nowhere" / "due.ics"))
    assert (refused.returncode, refused.stdout) == (1, "")
    assert "cannot be written to" in refused.stderr


def test_without_a_page_there_is_no_feed(journal: JournalOnDisk) -> None:
    refused = journal.run("due", str(journal.file), "--feed")
    assert refused.returncode == 1
    assert "the cellar file has no [page]" in refused.stderr
    assert journal.run("due", str(journal.file), "--feed", "--json").returncode == 2


def test_a_cellar_without_wine_has_nothing_that_falls_due(tmp_path: Path) -> None:
    empty = JournalOnDisk(tmp_path)
    empty.enter("vessel-status", "--vessel", "K1", "--status", "emptied")
    done = empty.run("due", str(empty.file))
    assert done.returncode == 0
    assert done.stdout.startswith("No work is awaited")
