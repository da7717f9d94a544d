"""`leeside import` and `leeside export`: tables in, tables out, and that the one undoes the other."""

from __future__ import annotations

import json
import subprocess
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from cellar_text import KEG, MQTT, PROBE, SITE, TEMPERATURE
from hypothesis import given
from hypothesis import strategies as st
from running import Leeside, leeside

from ingest.cellar import load_cellar
from ingest.probes.binding import declarations
from ingest.reading import Part, Quality, quality_class, quality_code
from ingest.sources.senml import decode_senml
from ingest.store import create_or_open, open_existing
from ingest.store.change_feed import DROPPED, set_cursor
from ingest.store.readings.fresh import Appender
from ingest.store.readings.scales import add_part
from ingest.store.readings.series import all_series, declare
from ingest.store.readings.series_history import raw
from ingest.times import moment_of

NOW = 1_795_595_400_000  # 2026-11-25T08:30:00Z
PSI = PROBE.replace('unit = "kPa"', 'unit = "psi"')
DAY_MS = 86_400_000


class Cellar:
    """A cellar file with its store, and commands on it."""

    def __init__(self, folder: Path, probe: str = PSI, more: str = "") -> None:
        folder.mkdir(exist_ok=True)
        self.folder = folder
        self.file = folder / "cellar.toml"
        self.file.write_text("\n".join((SITE, MQTT, KEG, probe, TEMPERATURE, more)), encoding="utf-8")
        cellar = load_cellar(self.file)
        with create_or_open(cellar.store_path, NOW) as store:
            self.series = declare(store, declarations(cellar), NOW)

    def put(self, probe: str, rows: Sequence[tuple[int, float, int]]) -> None:
        with open_existing(self.folder / "cellar.db") as store:
            Appender(store).append([(self.series[probe], *row) for row in rows])

    def say(self, command: str, *words: object) -> subprocess.CompletedProcess[str]:
        return leeside(command, self.file, *words)

    def bring(self, text: str, *words: object, encoding: str = "utf-8") -> subprocess.CompletedProcess[str]:
        table = self.folder / "table.csv"
        table.write_bytes(text.encode(encoding))
        return self.say("import", table, *words)

    def told(self, text: str, *words: object) -> dict[str, Any]:
        result = self.bring(text, "--json", *words)
        assert result.returncode in (0, 1), result.stderr
        found: dict[str, Any] = json.loads(result.stdout)
        return found

    def history(self, probe: str) -> list[tuple[int, float, Quality]]:
        with open_existing(self.folder / "cellar.db") as store:
            return [
                (row.at_ms, row.value, quality_class(row.quality))
                for series in all_series(store)
                if series.probe == probe
                for row in raw(store, series.id)
            ]


@pytest.fixture
def cellar(tmp_path: Path) -> Cellar:
    return Cellar(tmp_path)


ONE = ("--probe", "k1-temperature", "--at", "Time", "--value", "Temp")


def test_first_it_is_only_shown_and_a_second_time_changes_nothing(cellar: Cellar) -> None:
    table = "Time,Temp\n2026-11-01 10:00:00,17.5\n2026-11-01 10:01:00,17.6\nnoon,17\n2031-01-01 00:00,17\n"
    shown = cellar.bring(table, *ONE)
    assert shown.returncode == 0, shown.stderr
    for words in (
        "4 rows",
        "k1-temperature at K1: 2 new, 2026-11-01 10:00:00 CET to 2026-11-01 10:01:00 CET",
        "1 not a time",
        "line 4: 'noon'",
        "1 in the future",
        "line 5: 2031-01-01 00:00",
        "the same with --write",
    ):
        assert words in shown.stdout
    assert cellar.history("k1-temperature") == []
    written = cellar.bring(table, *ONE, "--write")
    assert "2 readings were brought in" in written.stdout
    at = moment_of("2026-11-01T09:00:00Z", load_cellar(cellar.file).site.zone)
    wanted = [(at, 17.5, Quality.GOOD), (at + 60_000, 17.6, Quality.GOOD)]
    assert cellar.history("k1-temperature") == wanted
    again = cellar.bring(table.replace("17.5", "99"), *ONE, "--write")
    assert again.returncode == 0
    assert "0 new; 2 are there already" in again.stdout
    assert "Nothing is new" in again.stdout
    assert cellar.history("k1-temperature") == wanted


def test_units_zones_marks_and_delimiters(cellar: Cellar) -> None:
    table = "Zeit;Druck\n2026-11-01 10:00:00;8,5\n"
    words = ("--probe", "k1-pressure", "--at", "Zeit", "--value", "Druck", "--decimal", ",", "--delimiter", ";")
    assert cellar.bring(table, *words, "--zone", "UTC", "--write").returncode == 0
    # Without a unit it is what the probe says, in psi.
    assert cellar.history("k1-pressure")[0][1] == pytest.approx(58.6054, abs=1e-4)
    later = table.replace("10:00:00;8,5", "11:00:00;58,6054")
    assert cellar.bring(later, *words, "--zone", "UTC", "--unit", "kPa", "--write").returncode == 0
    at, value, _ = cellar.history("k1-pressure")[1]
    assert at == moment_of("2026-11-01T11:00:00Z", load_cellar(cellar.file).site.zone)
    assert value == pytest.approx(58.6054, rel=1e-15)


def test_a_spreadsheet_s_unicode_text_and_a_mark_in_front(cellar: Cellar) -> None:
    table = "Time\tTemp\n2026-11-01 10:00\t17.5\n"
    assert cellar.bring(table, *ONE, "--delimiter", "tab", "--write", encoding="utf-16").returncode == 0
    assert cellar.bring(table.replace("\t", ","), *ONE, encoding="utf-8-sig").returncode == 0
    assert len(cellar.history("k1-temperature")) == 1


def test_many_columns_at_once_and_a_value_that_cannot_be(cellar: Cellar) -> None:
    table = "t,P1,T1\n1795500000,50,-127\n1795500010,,60\n"
    assert cellar.told(table, "--at", "t", "--map", "k1-pressure=P1, k1-temperature=T1", "--write") == {
        "file": str(cellar.folder / "table.csv"),
        "written": True,
        "rows": 2,
        "series": [
            {
                "probe": probe,
                "place": "K1",
                "quantity": quantity,
                "new": new,
                "there_already": 0,
                "from": "2026-11-24T06:00:00.000Z",
                "to": to,
            }
            for probe, quantity, new, to in (
                ("k1-pressure", "pressure", 1, "2026-11-24T06:00:00.000Z"),
                ("k1-temperature", "temperature", 2, "2026-11-24T06:00:10.000Z"),
            )
        ],
        "not_taken": [{"reason": "empty", "times": 1, "examples": [{"line": 3, "found": ""}]}],
    }
    assert [quality for _, _, quality in cellar.history("k1-temperature")] == [Quality.BAD, Quality.GOOD]


def test_a_table_without_a_reading(cellar: Cellar) -> None:
    for table in ("Time,Temp\n", "Time,Temp\nnoon,1\n"):
        result = cellar.bring(table, *ONE)
        assert result.returncode == 1
        assert "It holds no readings" in result.stdout
    assert cellar.bring("", *ONE).returncode == 2


def test_what_keep_raw_would_drop_is_not_taken(tmp_path: Path) -> None:
    cellar = Cellar(tmp_path, more='[store]\nkeep_raw = "730 d"\n')
    old = "Time,Temp\n2021-11-01 10:00,17\n"
    assert cellar.told(old, *ONE)["not_taken"][0]["reason"] == "older than keep_raw"
    with open_existing(tmp_path / "cellar.db") as store, store.write() as connection:
        set_cursor(connection, DROPPED, NOW // DAY_MS - 730)
    # Also once the cellar file no longer says so: the days that went have summaries, which would not hold it.
    cellar.file.write_text(cellar.file.read_text(encoding="utf-8").replace("keep_raw", "# keep_raw"), encoding="utf-8")
    assert cellar.told(old, *ONE)["not_taken"][0]["reason"] == "older than keep_raw"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "`leeside export --csv` did not write this table"),
        (("--at", "Time"), "give both, or --map"),
        (("--probe", "k1-temperature", "--value", "Temp"), "which column holds the times"),
        ((*ONE, "--map", "k1-pressure=P"), "give either --map"),
        (("--at", "Time", "--map", "k1-pressure"), "is not probe=column"),
        (("--at", "Time", "--map", "k1-pressure=Temp,k1-pressure=Temp"), "named twice"),
        (("--probe", "k9", "--at", "Time", "--value", "Temp"), "no probe 'k9'"),
        (("--probe", "k1-pressure", "--at", "Time", "--value", "P"), "no column 'P'"),
        ((*ONE, "--unit", "psi"), "not of temperature"),
        (("--probe", "k1-pressure", "--at", "Time", "--value", "Temp", "--unit", "psia"), "is absolute"),
        ((*ONE, "--zone", "Nowhere/There"), "no time zone"),
        ((*ONE, "--decimal", ";"), "not a decimal mark"),
        ((*ONE, "--delimiter", "--"), "not a delimiter"),
    ],
)
def test_wrong_calls_say_what_is_wrong(cellar: Cellar, words: tuple[str, ...], said: str) -> None:
    result = cellar.bring("Time,Temp\n2026-11-01 10:00,17\n", *words)
    assert result.returncode == 2
    assert said in " ".join(result.stderr.replace("│", " ").split())


def test_a_quote_that_is_left_open_names_its_line(cellar: Cellar) -> None:
    result = cellar.bring('Time,Temp\n"2026' + "x" * 200_000, *ONE)
    assert "line" in result.stderr
    assert "quote left open" in result.stderr


def test_export_of_a_time_and_of_a_probe(cellar: Cellar) -> None:
    cellar.put("k1-temperature", [(NOW - 1000, 17.5, 0), (NOW, 17.25, 1)])
    cellar.put("k1-pressure", [(NOW, 8.0, quality_code(Quality.BAD))])
    out = cellar.say("export", "k1-temperature", "--to", "2026-11-25T08:30:00Z")
    assert out.returncode == 0
    assert out.stdout == (
        "at,probe,place,quantity,value,unit,quality\n"
        "2026-11-25T08:29:59.000Z,k1-temperature,K1,temperature,17.5,°C,good\n"
    )
    path = cellar.folder / "all.csv"
    assert cellar.say("export", "--csv", "--output", path).returncode == 0
    assert [line.split(",")[1::5] for line in path.read_text(encoding="utf-8").splitlines()[1:]] == [
        ["k1-pressure", "bad"],
        ["k1-temperature", "good"],
        ["k1-temperature", "uncertain"],
    ]
    assert [part.name for part in cellar.folder.glob("*.part")] == []


def test_export_as_senml_is_read_by_our_own_reader(cellar: Cellar) -> None:
    cellar.put("k1-temperature", [(NOW - 1000, 17.5, 0), (NOW, 17.25, 0)])
    out = cellar.say("export", "--senml")
    records = [record for line in out.stdout.splitlines() for record in decode_senml(line.encode(), NOW)]
    assert [(record.name, record.unit, record.value, record.at_ms) for record in records] == [
        ("k1-temperature", "Cel", 17.5, NOW - 1000),
        ("k1-temperature", "Cel", 17.25, NOW),
    ]


def test_an_export_without_readings_and_one_that_cannot_be_written(cellar: Cellar) -> None:
    assert cellar.say("export").returncode == 1
    assert cellar.say("export", "--csv", "--senml").returncode == 2
    assert cellar.say("export", "k9").returncode == 2
    result = cellar.say("export", "--output", cellar.folder / "missing" / "x.csv")
    assert "cannot be written" in result.stderr


_READINGS = st.lists(
    st.tuples(
        st.integers(NOW - 20 * DAY_MS, NOW),
        st.one_of(st.integers(-500, 5000).map(lambda digits: digits / 100), st.floats(-1, 100)),
        st.sampled_from([0, 1, 2]),
    ),
    max_size=12,
    unique_by=lambda row: row[0],
)


@given(pressures=_READINGS, temperatures=_READINGS, gain=st.sampled_from([1.0, 1.02, 0.97]))
def test_export_and_import_into_a_new_store_are_equal(
    pressures: list[tuple[int, float, int]], temperatures: list[tuple[int, float, int]], gain: float
) -> None:
    """The other store has the probe in another unit and knows no calibration; what it shows is the same."""
    with tempfile.TemporaryDirectory() as name:
        ours, theirs = Cellar(Path(name) / "ours"), Cellar(Path(name) / "theirs", probe=PROBE)
        with open_existing(ours.folder / "cellar.db") as store, store.write() as connection:
            part = Part(NOW - 10 * DAY_MS, "calibration", gain, 0.25, "kPa", "somebody")
            add_part(connection, ours.series["k1-pressure"], part, NOW)
        ours.put("k1-pressure", pressures)
        ours.put("k1-temperature", temperatures)
        path = Path(name) / "all.csv"
        some = bool(pressures or temperatures)
        assert ours.say("export", "--output", path).returncode == (0 if some else 1)
        assert theirs.say("import", path, "--write").returncode == (0 if some else 1)
        for probe in ("k1-pressure", "k1-temperature"):
            assert theirs.history(probe) == ours.history(probe)
        again = theirs.say("import", path, "--write", "--json")
        assert all(row["new"] == 0 for row in json.loads(again.stdout)["series"])


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Leeside]:
    file = tmp_path / "cellar.toml"
    file.write_text("\n".join((SITE, MQTT + "port = 1\n", KEG, PROBE, TEMPERATURE)), encoding="utf-8")
    with Leeside(file) as leeside:
        yield leeside


def test_beside_a_running_leeside(running: Leeside) -> None:
    table = running.file.parent / "table.csv"
    table.write_text("Time,Temp\n" + "".join(f"2026-11-{day:02d} 10:00,55\n" for day in range(1, 21)), encoding="utf-8")
    words = ["import", str(running.file), str(table), *ONE, "--write"]
    assert leeside(*words).returncode == 0
    with open_existing(running.store_path) as store:
        (series,) = [one for one in all_series(store) if one.probe == "k1-temperature"]
        assert [row.value for row in raw(store, series.id)] == [55.0] * 20
