"""Work that falls due, from the journal to a mail and back to normal when it was entered."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from cellar_text import KEG, MQTT, carboy, keg, mail, probe, site, table

from alerts.limits.limits_now import limits_now
from alerts.turning.turner import Turner
from alerts.view.alarms.alarm_lines import alarm_json, alarm_line
from alerts.view.alarms.limit_lines import limit_words
from alerts.view.status import cellar_status
from alerts.watch.turn_inputs import Now
from ingest.cellar import Cellar, parse_cellar
from ingest.journal.entry import Draft, Entry
from ingest.journal.kinds import parse_body
from ingest.store import Store, create_or_open
from ingest.store.alarms.alarm_record import transitions
from ingest.store.alarms.messages import MessageRow, due_messages, mark_sent, recent_messages
from ingest.store.alarms.operator_events import append_event
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.entries import write_entry

# 2026-10-03 12:00 in Ljubljana
BEGIN = 1_791_021_600_000
DAY_S = 86_400
ZONE = ZoneInfo("Europe/Ljubljana")
TITRATION: dict[str, Any] = {"quantity": "free", "method": "elsewhere", "so2_mg_l": 30.0}
DOSE: dict[str, Any] = {"form": "metabisulfite", "salt": "potassium", "mass_g": 0.4, "so2_g": 0.23}
FILE = site(waking="07:00-22:00") + MQTT + KEG + keg("K2") + carboy() + probe() + mail()


class DueBench:
    """A cellar with kegs K1 and K2 and the carboy C1, a journal, and a turner; days count from 3 October, noon."""

    def __init__(self, folder: Path, *more: str) -> None:
        self.cellar: Cellar = parse_cellar("\n".join((FILE, *more)), file="cellar.toml", base=folder)
        self.store: Store = create_or_open(folder / "cellar.db", BEGIN)
        keep_cellar_file(self.store, self.cellar.text, BEGIN)
        self.second = 0.0
        self.turns = 0
        self.turner = Turner(self.cellar, self.store, self.now)

    @property
    def now(self) -> Now:
        # Days pass between two turns, and for what only listens a second: no probe falls silent in between.
        return Now(BEGIN + round(self.second * 1000), 1000.0 + self.turns, "boot")

    def write(self, kind: str, place: str | None = None, lot: str | None = None, **said: Any) -> Entry:
        draft = Draft(kind, self.now.utc_ms, "Ana", parse_body(kind, said), place, lot)
        return write_entry(self.store, draft, self.cellar, self.now.utc_ms)

    def fill(self, place: str = "K1", lot: str = "A1") -> None:
        self.write("lot", None, lot, name=lot, style="white")
        self.write("first-filling", place, lot, volume_l=10.0)
        self.write("measurement", place, quantity="pH", value=3.4)

    def turn(self) -> list[MessageRow]:
        """Run a turn; the messages that it caused, which then go out."""
        self.turns += 1
        before = len(recent_messages(self.store, 1000))
        self.turner.turn(self.now)
        new = len(recent_messages(self.store, 1000)) - before
        rows = recent_messages(self.store, 1000)[:new]
        for row in due_messages(self.store, self.now.utc_ms):
            mark_sent(self.store, row.id, self.now.utc_ms)
        return rows

    def at(self, day: float) -> list[MessageRow]:
        """Go on to that day; the messages of a turn there."""
        self.second = day * DAY_S
        return self.turn()

    def subjects(self, day: float) -> list[str]:
        return [row.subject for row in self.at(day)]


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[DueBench]:
    made = DueBench(tmp_path)
    yield made
    made.store.close()


def test_a_titration_that_is_due_is_told_once_and_over_with_its_entry(bench: DueBench) -> None:
    bench.fill()
    bench.write("titration", "K1", **TITRATION)
    # It falls due on 3 November at 11:00 (summer time has ended), and goes out with the digest of the next morning.
    assert bench.subjects(31 - 1 / DAY_S) == []
    (raised,) = bench.at(31)
    assert raised.subject == "LOW PRIORITY: titration of lot A1 (K1) is due"
    assert raised.body.startswith("Titration of lot A1 (K1) due since 3 Nov: last titrated 3 Oct.")
    assert "What to do:  Titrate free SO2 and write it down: leeside enter titration." in raised.body
    assert (raised.hold, raised.not_before_ms) == ("digest", bench.now.utc_ms + 20 * 3_600_000)
    assert bench.subjects(33) == []
    bench.second += 1
    bench.write("titration", "K1", **TITRATION)
    (returned,) = bench.at(33 + 2 / DAY_S)
    assert returned.subject == "BACK TO NORMAL after: titration of lot A1 (K1) is due"
    assert returned.body.startswith("Titration of lot A1 (K1): last titrated 5 Nov.\nIt was due since 3 Nov.")
    assert [(row.event, row.finding) for row in transitions(bench.store) if row.key == "A1/titration"] == [
        ("condition began", "last titrated"),
        ("condition ended", "last titrated"),
    ]


def test_lists_show_it_in_plain_words(bench: DueBench) -> None:
    bench.fill()
    bench.at(33)
    now_ms = bench.now.utc_ms
    with bench.store.read():
        (alarm,) = cellar_status(bench.cellar, bench.store, now_ms).alarms
        limits = limits_now(bench.cellar, bench.store, now_ms)
    line = alarm_line(alarm, ZONE, "metric", now_ms)
    assert "low    titration of lot A1 (K1) due since 3 Nov: filled 3 Oct (not acknowledged)" in line
    document = alarm_json(alarm, now_ms)
    assert (document["unit"], document["setpoint"], document["finding"]) == ("d", 31, "filled")
    assert limit_words(limits["A1/titration"]) == "due after 31 d"


def test_an_alarm_goes_along_when_the_lot_is_racked_and_ends_when_it_is_bottled(bench: DueBench) -> None:
    bench.fill()
    assert len(bench.at(33)) == 1
    bench.write("racking", sources=[{"vessel": "K1"}], targets=[{"vessel": "K2"}])
    assert bench.subjects(34) == []
    (row,) = [row for row in transitions(bench.store) if row.key == "A1/titration"]
    bench.write("bottling", "K2", bottles=[{"number": 13, "size_l": 0.75}], remainder_l=0.0)
    (gone,) = bench.at(35)
    assert gone.occurrence == row.occurrence
    assert gone.subject.startswith("BACK TO NORMAL after: titration of lot A1")
    assert "is no longer due" in gone.body
    append_event(bench.store, "acknowledge", row.occurrence or "", "Ana", "", bench.now.utc_ms)
    assert bench.subjects(36) == []
    assert bench.subjects(70) == []


def test_a_restart_neither_repeats_nor_forgets_nor_reports_a_limit_as_removed(bench: DueBench) -> None:
    bench.fill()
    assert len(bench.at(33)) == 1
    bench.turner = Turner(bench.cellar, bench.store, bench.now)
    assert bench.subjects(34) == []
    bench.write("bottling", "K1", bottles=[{"number": 13, "size_l": 0.75}], remainder_l=0.0)
    bench.turner = Turner(bench.cellar, bench.store, bench.now)
    assert [row.occasion for row in bench.at(35)] == ["returned"]


def test_a_dose_asks_for_a_test_instead_of_the_titration(bench: DueBench) -> None:
    bench.fill()
    bench.at(32)
    bench.write("addition", "K1", **DOSE)
    # The titration is due as well from here on, but one titration does for both.
    subjects = bench.subjects(34)
    assert subjects[0] == "LOW PRIORITY: re-test of lot A1 (K1) is due"
    assert not any(subject.startswith("LOW PRIORITY: titration") for subject in subjects)
    bench.write("titration", "K1", **TITRATION)
    bench.second += 1
    assert all(row.occasion == "returned" for row in bench.at(34 + 2 / DAY_S))
    assert bench.subjects(40) == []


def test_what_falls_due_on_one_day_waits_for_one_digest(bench: DueBench) -> None:
    for hours, (place, lot) in enumerate((("K1", "A1"), ("K2", "B2"), ("C1", "C3"))):
        bench.second = hours * 3600
        bench.fill(place, lot)
    rows = [row for hour in range(5) for row in bench.at(31 + hour / 24)]
    words = {row.subject for row in rows if "airlock" not in row.subject}
    assert words == {
        "LOW PRIORITY: titration of lot A1 (K1) is due",
        "LOW PRIORITY: titration of lot B2 (K2) is due",
        "LOW PRIORITY: titration of lot C3 (C1) is due",
        "LOW PRIORITY: topping of C1 is due",
    }
    assert len({(row.hold, row.not_before_ms) for row in rows}) == 1


def test_a_written_limit_replaces_the_default_one(tmp_path: Path) -> None:
    bench = DueBench(tmp_path, table("[[limit]]", due="titration", after="7 d", lot="any", id="tests"))
    bench.fill()
    assert bench.subjects(6) == []
    assert bench.subjects(8) == ["LOW PRIORITY: titration of lot A1 (K1) is due"]
    assert [row.key for row in transitions(bench.store)] == ["tests/A1"]
    bench.store.close()


def test_a_machine_that_starts_in_the_past_takes_nothing_back(bench: DueBench) -> None:
    bench.fill()
    assert len(bench.at(33)) == 1
    bench.second = -400 * DAY_S
    bench.turner = Turner(bench.cellar, bench.store, bench.now)
    assert bench.subjects(-400) == []
    assert [row.key for row in transitions(bench.store)] == ["A1/titration"]
    assert bench.subjects(34) == []


def test_an_unreadable_entry_stops_no_turn(bench: DueBench, caplog: pytest.LogCaptureFixture) -> None:
    bench.fill()
    assert len(bench.at(33)) == 1
    with bench.store.write() as connection:
        connection.execute(
            "INSERT INTO entry (kind, at_ms, written_ms, who, body) VALUES ('titrant', ?, ?, 'Ana', '{}')",
            (bench.now.utc_ms, bench.now.utc_ms),
        )
    assert bench.subjects(34) == []
    assert "which work is due cannot be worked out" in caplog.text
    bench.turn()
    assert caplog.text.count("which work is due cannot be worked out") == 1
    bench.turner = Turner(bench.cellar, bench.store, bench.now)
    assert bench.subjects(35) == [], "after a restart the alarm stands as it is"
    with bench.store.read():
        assert "A1/titration" in limits_now(bench.cellar, bench.store, bench.now.utc_ms)
