"""`leeside history` of a lot and of a place: what is printed, as text, table and JSON."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from a_journal import JournalOnDisk
from cellar_text import temperature
from journal_entries import a_body

from ingest.journal.entry import Draft, Entry
from ingest.judgement import Judgement
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.entries import strike, write_entry
from ingest.store.judgements import keep_judgements
from ingest.store.readings.fresh import Appender
from ingest.times import moment_of

BAD = 2


class Desk(JournalOnDisk):
    """The lot A in K1, read at 10, 12 and 14 o'clock; at 13 it went to K3, to as much of the lot B."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        keep_cellar_file(self.store, self.cellar.text, self.at("00:00"))
        for lot in "AB":
            self.write("lot", "09:00", lot=lot, name=lot, style="white")
        self.write("first-filling", "09:00", "K1", "A", volume_l=10.0)
        self.write("first-filling", "09:00", "C1", "B", volume_l=10.0)
        series = self.series["k1-pressure"]
        rows = [
            (series, self.at("10:00"), 50.0, 0),
            (series, self.at("12:00"), 48.5, BAD),
            (series, self.at("14:00"), 1.0, 0),
        ]
        Appender(self.store).append(rows)
        self.write("measurement", "11:00", "K1", quantity="pressure", value=49.0, u_value=0.25)
        said: dict[str, Any] = {"quantity": "free", "method": "elsewhere", "so2_mg_l": 30.0}
        self.first = self.write("titration", "12:00", "K1", **said, u_so2_mg_l=2.06)
        self.second = self.write("titration", "12:00", "K1", **said)
        self.write("racking", "13:00", sources=[{"vessel": "K1"}, {"vessel": "C1"}], targets=[{"vessel": "K3"}])
        self.third = self.write("titration", "15:00", "K3", **said)
        strike(self.store, self.second.id, "Ben", "wrong flask", self.at("16:00"))

    def at(self, time: str) -> int:
        return moment_of(f"2026-11-20 {time}", self.cellar.site.zone)

    def write(self, kind: str, time: str, place: str | None = None, lot: str | None = None, **said: Any) -> Entry:
        draft = Draft(kind, self.at(time), "Ana", a_body(kind, **said), place, lot)
        return write_entry(self.store, draft, self.cellar, self.at("16:00"))

    def history(self, *options: str, code: int = 0) -> str:
        done = self.run("history", str(self.file), *options)
        assert done.returncode == code, done.stderr
        assert "Traceback" not in done.stderr
        return done.stdout if code < 2 else " ".join(done.stderr.split())


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    desk = Desk(tmp_path_factory.mktemp("cellar"))
    yield desk
    desk.store.close()


def test_readings_and_results_of_a_lot_stand_together_with_vessel_probe_and_entry(desk: Desk) -> None:
    assert desk.history("--lot", "A", "--quantity", "pressure").splitlines() == [
        "2026-11-20 10:00 CET  50.0 kPa  K1  k1-pressure",
        "2026-11-20 11:00 CET  49.00 ± 0.25 kPa  K1  entry no. 5",
        "2026-11-20 12:00 CET  48.5 kPa  K1  k1-pressure  bad",
    ]
    assert desk.history("--lot", "A", "--quantity", "free_so2").splitlines() == [
        f"2026-11-20 12:00 CET  30.0 ± 2.1 mg/L  K1  entry no. {desk.first.id}",
        f"2026-11-20 15:00 CET  30 mg/L  K3  entry no. {desk.third.id}  50.0 % of the wine",
    ]


def test_without_a_quantity_all_that_was_read_and_found_stands_in_order_of_time(desk: Desk) -> None:
    assert desk.history("--lot", "A").splitlines() == [
        "2026-11-20 10:00 CET  pressure  50.0 kPa  K1  k1-pressure",
        "2026-11-20 11:00 CET  pressure  49.00 ± 0.25 kPa  K1  entry no. 5",
        f"2026-11-20 12:00 CET  free SO2  30.0 ± 2.1 mg/L  K1  entry no. {desk.first.id}",
        "2026-11-20 12:00 CET  pressure  48.5 kPa  K1  k1-pressure  bad",
        f"2026-11-20 15:00 CET  free SO2  30 mg/L  K3  entry no. {desk.third.id}  50.0 % of the wine",
    ]
    table = list(csv.DictReader(io.StringIO(desk.history("--place", "K1", "--csv"))))
    assert [row["quantity"] for row in table] == ["pressure", "pressure", "free_so2", "pressure", "pressure"]
    assert list(table[0])[:4] == ["at", "quantity", "value", "u"]
    printed = json.loads(desk.history("--lot", "B", "--json"))
    assert (printed["lot"], [row["quantity"] for row in printed["history"]]) == ("B", ["free_so2"])
    assert "quantity" not in printed


def test_a_struck_result_is_shown_where_it_is_asked_for(desk: Desk) -> None:
    lines = desk.history("--lot", "A", "--quantity", "free_so2", "--struck").splitlines()
    assert lines[1] == f"2026-11-20 12:00 CET  30 mg/L  K1  entry no. {desk.second.id}  struck"
    assert len(lines) == 3


def test_the_table_has_a_column_for_each_origin(desk: Desk) -> None:
    rows = list(csv.DictReader(io.StringIO(desk.history("--lot", "A", "--quantity", "pressure", "--csv"))))
    assert [(row["at"], row["value"], row["u"], row["place"], row["probe"], row["entry"]) for row in rows] == [
        ("2026-11-20T09:00:00.000Z", "50", "", "K1", "k1-pressure", ""),
        ("2026-11-20T10:00:00.000Z", "49", "0.25", "K1", "", "5"),
        ("2026-11-20T11:00:00.000Z", "48.5", "", "K1", "k1-pressure", ""),
    ]
    assert {(row["unit"], row["share"], row["struck"]) for row in rows} == {("kPa", "1", "")}
    struck = csv.DictReader(io.StringIO(desk.history("--place", "K1", "--quantity", "free_so2", "--csv", "--struck")))
    assert [(row["entry"], row["struck"]) for row in struck] == [(str(desk.first.id), ""), (str(desk.second.id), "yes")]


def test_json_is_one_object_whose_rows_say_null_where_there_is_nothing(desk: Desk) -> None:
    printed = json.loads(desk.history("--lot", "B", "--quantity", "free_so2", "--json"))
    (row,) = printed.pop("history")
    assert printed == {"lot": "B", "quantity": "free_so2"}
    assert row == {
        "at": "2026-11-20T14:00:00.000Z", "value": 30.0, "u": None, "unit": "mg/L", "quality": "good", "place": "K3",
        "probe": None, "share": 0.5, "entry": desk.third.id, "struck": False,
    }  # fmt: skip
    nothing = desk.history("--lot", "B", "--quantity", "free_so2", "--json", "--share", "0.6", code=1)
    assert json.loads(nothing)["history"] == []


def test_the_readings_of_a_probe_stand_alone(desk: Desk) -> None:
    assert desk.history("k1-pressure", "--csv", "--from", "2026-11-20 12:00").splitlines() == [
        "at,value,unit,quality",
        "2026-11-20T11:00:00.000Z,48.5,kPa,bad",
        "2026-11-20T13:00:00.000Z,1,kPa,good",
    ]
    reading = {"at": "2026-11-20T09:00:00.000Z", "value": 50.0, "quality": "good"}
    printed = json.loads(desk.history("k1-pressure", "--json", "--to", "2026-11-20 12:00"))
    assert printed == {"probe": "k1-pressure", "unit": "kPa", "readings": [reading]}
    assert desk.history("k1-pressure", "--to", "2026-11-20 13:00").splitlines() == [
        "2026-11-20 10:00 CET  50.0 kPa",
        "2026-11-20 12:00 CET  48.5 kPa  bad",
    ]
    assert desk.history("k1-pressure", "--to", "2026-11-20 10:00", code=1) == "No readings in that time.\n"


def test_a_probe_of_the_file_that_has_yet_to_read_has_no_readings(tmp_path: Path) -> None:
    desk = JournalOnDisk(tmp_path)
    added = temperature("k1-new")
    desk.file.write_text(desk.file.read_text(encoding="utf-8") + added, encoding="utf-8")
    done = desk.run("history", str(desk.file), "k1-new")
    assert (done.returncode, done.stdout, done.stderr) == (1, "No readings in that time.\n", "")
    desk.store.close()


def test_the_compensated_pressure_stands_beside_the_gauge_by_the_hour(desk: Desk) -> None:
    hours = [
        Judgement("K1", "compensated_pressure", desk.at(time), value, finding="sound")
        for time, value in (("10:20", 55.5), ("10:40", 55.25), ("14:10", None))
    ]
    for hour in hours:
        with desk.store.write() as connection:
            keep_judgements(connection, "gas", [hour])
    table = list(csv.DictReader(io.StringIO(desk.history("k1-pressure", "--compensated", "--csv"))))
    assert list(table[0]) == ["at", "value", "unit", "quality", "compensated_kpa"]
    assert [row["compensated_kpa"] for row in table] == ["55.25", "", ""], "of an hour the last one"
    place = ("--place", "K1", "--quantity", "pressure", "--compensated")
    assert desk.history(*place).splitlines()[0] == (
        "2026-11-20 10:00 CET  50.0 kPa  K1  k1-pressure  compensated 55.2 kPa"
    )
    found = json.loads(desk.history(*place, "--json"))["history"]
    assert [row["compensated_kpa"] for row in found][:2] == [55.25, None]
    assert "compensated_kpa" not in desk.history("k1-pressure", "--csv").splitlines()[0]
    series = desk.series["k1-pressure"]
    Appender(desk.store).append([(series, desk.at("10:30"), 49.0, 0), (series, desk.at("10:50"), 20.0, 0)])
    table = list(csv.DictReader(io.StringIO(desk.history("k1-pressure", "--compensated", "--csv"))))
    assert [(row["value"], row["compensated_kpa"]) for row in table][:3] == [("50", ""), ("49", "55.25"), ("20", "")], (
        "only the last reading that the hour was judged from has it"
    )
    wrong = desk.history("--place", "K1", "--quantity", "free_so2", "--compensated", code=2)
    assert "goes with a pressure, and this is free SO2" in wrong


def test_a_place_has_all_that_was_read_and_found_there_in_a_time(desk: Desk) -> None:
    lines = desk.history("--place", "K1", "--quantity", "pressure", "--from", "2026-11-20 12:00").splitlines()
    assert [line.split("  ")[1] for line in lines] == ["48.5 kPa", "1.0 kPa"]
    assert "Nothing was read" in desk.history("--place", "K3", "--quantity", "pH", code=1)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--lot", "x", "--quantity", "pH"], "no lot 'x'; there are: A, B"),
        (["--place", "x", "--quantity", "pH"], "no place 'x'; there are: C1, CO2, K1, K3"),
        (["--place", "K1", "--compensated"], "goes with a pressure, and this is every quantity"),
        (["--lot", "A", "--quantity", "warmth"], "no quantity 'warmth'; there are:"),
        (["--lot", "A", "--place", "K1", "--quantity", "pH"], "choose one of --lot and --place"),
        (["--lot", "A", "--quantity", "pH", "--share", "50"], "50 is not a part of 1, such as 0.5"),
        (["--place", "K1", "--quantity", "pH", "--share", "0.5"], "goes with --lot"),
        (["--lot", "A", "--quantity", "pH", "--csv", "--json"], "choose one of --csv and --json"),
        (["k1-pressure", "--struck"], "'k1-pressure' is taken for a PROBE: write --lot or --place"),
        ([], "name a probe, or --lot or --place"),
    ],
)
def test_a_wrong_call_says_what_there_is(desk: Desk, options: list[str], words: str) -> None:
    assert words in desk.history(*options, code=2)


def test_a_place_in_the_place_of_a_probe_is_answered_with_how_to_ask(desk: Desk) -> None:
    wrong = " ".join(desk.history("K1", code=2).split())
    assert "K1 is a place, not a probe: write --place K1 --quantity pressure" in wrong
