"""`leeside enter calibration` of a pH probe: slope and drift are shown first, what is refused, and how to insist."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from a_journal import FILE_TEXT, JournalOnDisk
from a_terminal import AtTheTerminal, start_at_a_terminal
from cellar_text import probe

from ingest.cellar import load_cellar
from ingest.journal.kinds.calibration import CalibrationBody
from ingest.probes.binding import declarations
from ingest.process import wall_ms
from ingest.store.journal.ph_records import ph_records
from ingest.store.readings.fresh import Appender
from ingest.store.readings.scales import scales, value_at
from ingest.store.readings.series import all_series, declare
from ingest.store.readings.series_history import raw

BEGIN_MS = 1_785_500_000_000  # 2026-07-31, before all that is written here
SOUND = ("--buffer", "7.00", "--reads", "7.05", "--buffer", "4.01", "--reads", "4.15", "--temperature", "20 °C")
# 74 % of Nernst's: 130 mV between 7.016 and 4.000 at 20 °C.
DEAD = ("--buffer", "7.00", "--mv", "-20", "--buffer", "4.01", "--mv", "110", "--temperature", "20 °C")


class PhCellar(JournalOnDisk):
    """The journal's cellar with a pH probe at K1 that has read 4.15, 7.05 and 3.60."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.file.write_text(
            FILE_TEXT + probe("k1-ph", quantity="pH", topic="k1/ph", unit="pH", every="10 s"), encoding="utf-8"
        )
        self.cellar = load_cellar(self.file)
        self.ph_series = declare(self.store, declarations(self.cellar), BEGIN_MS)["k1-ph"]
        rows = [(4.15, 9), (7.05, 8), (3.60, 7)]
        Appender(self.store).append([(self.ph_series, wall_ms() - 60_000 * ago, ph, 0) for ph, ago in rows])

    def calibrate(self, *options: str, code: int = 0) -> str:
        done = self.run("enter", "calibration", str(self.file), "k1-ph", *options)
        assert done.returncode == code, (done.stdout, done.stderr)
        return " ".join((done.stdout or done.stderr).split())

    def body(self) -> CalibrationBody:
        body = self.written()[-1].body
        assert isinstance(body, CalibrationBody)
        return body

    def values(self) -> list[float]:
        return [row.value for row in raw(self.store, self.ph_series)]


@pytest.fixture
def cellar(tmp_path: Path) -> PhCellar:
    return PhCellar(tmp_path)


@pytest.fixture
def opened(cellar: PhCellar) -> Iterator[list[AtTheTerminal]]:
    terminals: list[AtTheTerminal] = []
    yield terminals
    for terminal in terminals:
        terminal.close()


def test_two_buffers_show_slope_and_offset_and_correct_what_is_shown(cellar: PhCellar) -> None:
    said = cellar.calibrate(*SOUND, "--at", "yesterday 18:30")
    # (7.05 - 4.15) / (7.016 - 4.000) = 96.2 %; 58.167 x (-0.034 + 0.016 x 0.9615) = -1.98 mV
    assert "slope 96.2 %, offset -2.0 mV, good; standard uncertainty near pH 3.4: 0.019" in said
    assert cellar.values() == pytest.approx([4.0, 7.016, 4.0 + (3.60 - 4.15) / 0.96154], abs=2e-4)
    body = cellar.body()
    assert [(point.truth, point.shown, point.buffer) for point in body.points] == [
        (7.016, 7.05, "7.00"),
        (4.0, 4.15, "4.01"),
    ]
    assert (body.buffer_set, body.temperature_c) == ("technical", 20.0)


def test_slope_and_drift_are_of_the_probe_not_of_what_leeside_corrects(cellar: PhCellar) -> None:
    cellar.calibrate(*SOUND, "--at", "2026-09-29T12:00:00Z")
    # Through that calibration the same probe shows the buffers as they are: it has not moved.
    exact = ("--buffer", "7.00", "--reads", "7.016", "--buffer", "4.01", "--reads", "4.000", "--temperature", "20 °C")
    done = cellar.run(
        "enter", "calibration", str(cellar.file), "k1-ph", *exact, "--json", "--at", "2026-10-29T12:00:00Z"
    )
    found: dict[str, Any] = json.loads(done.stdout)
    assert found["slope_percent"] == pytest.approx(96.15, abs=0.01)
    assert (found["grade"], found["drift_days"]) == ("good", 30.0)
    assert found["drift_ph"] == pytest.approx(0.0, abs=1e-9)
    assert "in 30 days the slope went from 96.2 to 96.2 %" in " ".join(done.stderr.split())
    assert found["gain"] == pytest.approx(1 / 0.96154, abs=1e-4)


def test_mv_say_how_good_the_probe_is_and_change_no_value(cellar: PhCellar) -> None:
    before = cellar.values()
    said = cellar.calibrate(
        "--buffer", "7.00", "--mv", "-2", "--buffer", "4.01", "--mv", "168", "--temperature", "12 °C",
        "--at", "yesterday 18:30",
    )  # fmt: skip
    # At 12 °C the buffers have 7.0498 and 4.000: 170 / 3.0498 = 55.74 of 56.58 mV; -2.0 + 0.0498 x 55.74 = 0.78 mV.
    assert "slope 98.5 %, offset +0.8 mV, good" in said
    assert "stays as it is" in said
    assert cellar.values() == before


def test_a_dead_probe_is_refused_and_a_person_may_insist(cellar: PhCellar) -> None:
    said = cellar.calibrate(*DEAD, code=2)
    assert "a slope of 74.1 % with an offset of -19.3 mV is not to be used" in said
    assert "--despite-grade" in said
    assert cellar.written() == []
    cellar.calibrate(*DEAD, "--despite-grade")
    assert cellar.body().despite_grade is True
    record = ph_records(cellar.store.connection)["k1-ph"]
    assert record.newest(wall_ms()) is not None
    assert record.u_ph(3.4, wall_ms()) is None


@pytest.mark.parametrize(
    ("options", "why"),
    [
        (("--buffer", "7", "--reads", "4.1", "--buffer", "4", "--reads", "7.0", "--temperature", "20 °C"), "swapped"),
        (("--buffer", "7", "--mv", "170", "--buffer", "4", "--mv", "-2", "--temperature", "20 °C"), "swapped"),
        (("--buffer", "7", "--reads", "7.0", "--buffer", "4", "--reads", "4.1"), "depends on its temperature"),
        (("--buffer", "7", "--buffer", "4", "--temperature", "20 °C"), "what leeside showed"),
        (("--buffer", "7", "--buffer", "4", "--mv", "2", "--temperature", "20 °C"), "2 --buffer and 1 --mv"),
        (("--buffer", "7", "--mv", "-2", "--temperature", "20 °C"), "a slope needs two buffers"),
        (("--buffer", "5", "--mv", "-2", "--temperature", "20 °C"), "no technical buffer '5'"),
        (("--buffer", "7", "--mv", "-2", "--temperature", "20 °C", "--buffer-set", "x"), "there is no 'x'"),
        (("--buffer", "7", "--truth", "7", "--temperature", "20 °C"), "either --truth, or --buffer"),
        (("--mv", "7"), "say in which buffers"),
        (("--buffer", "7", "--reads", "70.5", "--temperature", "20 °C"), "no pH meter shows that"),
        ((), "which buffers it stood in"),
        (("--buffer", "7", "--reads", "7", "--buffer", "4", "--reads", "4", "--temperature", "90 °C"), "90 °C"),
    ],
)
def test_bad_points_are_refused_by_name_and_change_nothing(
    cellar: PhCellar, options: tuple[str, ...], why: str
) -> None:
    assert why in cellar.calibrate(*options, code=2)
    assert cellar.written() == []


def test_buffers_are_for_ph_probes_only(cellar: PhCellar) -> None:
    done = cellar.run("enter", "calibration", str(cellar.file), "k1-pressure", "--buffer", "7", "--reads", "1 kPa")
    assert done.returncode == 2
    assert "k1-pressure reads pressure" in " ".join(done.stderr.split())


def test_one_buffer_and_points_without_a_temperature_still_move_the_scale(cellar: PhCellar) -> None:
    said = cellar.calibrate("--buffer", "7.00", "--reads", "7.05", "--temperature", "20 °C")
    assert "one buffer moves the zero only" in said
    assert cellar.body().ph_line is None
    said = cellar.calibrate("--truth", "7", "--reads", "7.1", "--truth", "4", "--reads", "4.1")
    assert "without --temperature" in said
    assert cellar.body().ph_line is None


def test_a_strike_takes_slope_and_scale_back(cellar: PhCellar) -> None:
    before = cellar.values()
    cellar.calibrate(*SOUND, "--at", "yesterday 18:30")
    assert cellar.values() != before
    assert cellar.run("strike", str(cellar.file), "1", "--reason", "old buffers").returncode == 0
    assert cellar.values() == before
    assert ph_records(cellar.store.connection) == {}


def test_an_entry_goes_to_another_cellar_with_its_slope(cellar: PhCellar, tmp_path: Path) -> None:
    cellar.calibrate(*SOUND, "--at", "yesterday 18:30")
    cellar.calibrate(*DEAD, "--despite-grade")
    lines = tmp_path / "entries.jsonl"
    assert cellar.run("export", str(cellar.file), "--entries", "--output", str(lines)).returncode == 0
    folder = tmp_path / "other"
    folder.mkdir()
    other = PhCellar(folder)
    done = other.run("import", str(other.file), "--entries", str(lines), "--write")
    assert done.returncode == 0, done.stderr
    assert [entry.body for entry in other.written()] == [entry.body for entry in cellar.written()]
    assert other.values() == pytest.approx(cellar.values())
    # Without the word of a person who insisted it is refused, as it is here.
    text = lines.read_text(encoding="utf-8").replace(', "despite_grade": true', "").replace('"id": 2', '"id": 7')
    lines.write_text(text, encoding="utf-8")
    done = other.run("import", str(other.file), "--entries", str(lines), "--write")
    assert done.returncode != 0
    assert "not to be used" in done.stdout


def test_a_terminal_asks_for_buffers_again_when_they_are_swapped(cellar: PhCellar, opened: list[AtTheTerminal]) -> None:
    terminal = start_at_a_terminal(opened, "enter", "calibration", str(cellar.file), "k1-ph")
    for question, answer in (
        ("How warm are the buffers?", "warm"),
        ("How warm are the buffers?", "20 °C"),
        ("Which set of buffers?", ""),
        ("Which buffer? (4.01, 7.00, 10.01)", "5"),
        ("no technical buffer '5'", "7"),
        ("What did leeside show in it?", "4.15"),
        ("Which buffer next?", "4.01"),
        ("What did leeside show in it?", "7.05"),
        ("Which buffer next?", ""),
        ("the buffers are swapped", "20 °C"),
        ("Which set of buffers?", ""),
        ("Which buffer?", "7"),
        ("What did leeside show in it?", "7.05"),
        ("Which buffer next?", "4.01"),
        ("What did leeside show in it?", "4.15"),
        ("Which buffer next?", ""),
        ("slope 96.2 %, offset -2.0 mV, good. Write it?", "y"),
    ):
        terminal.until(question)
        terminal.say(answer)
    assert terminal.end() == 0
    assert cellar.body().ph_line is not None


def test_an_empty_answer_takes_what_the_probe_shows_once_it_stands_still(
    cellar: PhCellar, opened: list[AtTheTerminal]
) -> None:
    def reads(*values: float) -> None:
        rows = [(cellar.ph_series, wall_ms() - 10 * (len(values) - index), ph, 0) for index, ph in enumerate(values)]
        Appender(cellar.store).append(rows)

    words = ("enter", "calibration", str(cellar.file), "k1-ph", "--temperature", "20 °C", "--buffer-set", "technical")
    terminal = start_at_a_terminal(opened, *words)
    terminal.until("Which buffer?")
    terminal.say("7")
    terminal.until("empty: what it shows now")
    terminal.say("")
    terminal.until("no good reading came in the last minute")
    reads(6.90, 7.05)
    terminal.say("")
    terminal.until("it still moves: 6.90 to 7.05")
    terminal.say("7.05")
    terminal.until("Which buffer next?")
    terminal.say("x")
    terminal.until("no technical buffer 'x'")
    terminal.say("4.01")
    terminal.until("empty: what it shows now")
    terminal.say("4.15")
    terminal.until("Which buffer next?")
    terminal.say("")
    terminal.until("slope 96.2 %, offset -2.0 mV, good. Write it?")
    terminal.say("y")
    assert terminal.end() == 0


def test_a_reading_that_stands_still_is_taken(cellar: PhCellar, opened: list[AtTheTerminal]) -> None:
    rows = [(cellar.ph_series, wall_ms() - ago, 7.05 + ago / 1e7, 0) for ago in (41_000, 21_000, 1000)]
    Appender(cellar.store).append(rows)
    words = ("enter", "calibration", str(cellar.file), "k1-ph", "--temperature", "20 °C", "--buffer-set", "technical")
    terminal = start_at_a_terminal(opened, *words)
    for question, answer in (
        ("Which buffer?", "7"),
        ("empty: what it shows now", ""),
        ("It shows 7.05.", "4.01"),
        ("empty: what it shows now", "4.15"),
        ("Which buffer next?", ""),
        ("Write it?", "y"),
    ):
        terminal.until(question)
        terminal.say(answer)
    assert terminal.end() == 0
    assert cellar.body().points[0].shown == pytest.approx(7.0501)


@pytest.mark.parametrize(("insists", "code"), [("", 1), ("yes", 0)])
def test_a_terminal_asks_whether_a_dead_probe_is_written_down(
    cellar: PhCellar, opened: list[AtTheTerminal], insists: str, code: int
) -> None:
    words = ("enter", "calibration", str(cellar.file), "k1-ph", "--temperature", "20 °C", "--buffer-set", "technical")
    terminal = start_at_a_terminal(opened, *words)
    for question, answer in (
        ("Which buffer?", "7"),
        ("What did leeside show in it?", "-20 mV"),
        ("Which buffer next?", "4.01"),
        ("What did leeside show in it?", "4.1"),
        ("read all buffers in mV, or all in pH", "110 mV"),
        ("Which buffer next?", ""),
        ("Write it down all the same?", insists),
    ):
        terminal.until(question)
        terminal.say(answer)
    if insists:
        terminal.until("Write it?")
        terminal.say("y")
    assert terminal.end() == code
    assert len(cellar.written()) == (1 if insists else 0)


class PhWinter(PhCellar):
    """The same with white wine in K1, and what is said of its SO2."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.enter("lot", "--lot", "ries", "--name", "Riesling", "--style", "white", "--at", "2025-09-01")
        self.enter("first-filling", "--vessel", "K1", "--lot", "ries", "--volume", "18 L", "--at", "2025-10-01")

    def so2(self, *at: str) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.run("now", str(self.file), "K1", *at, "--json").stdout)["so2"]
        return found


def test_the_ph_of_molecular_so2_is_as_sure_as_the_probes_calibration(tmp_path: Path) -> None:
    winter = PhWinter(tmp_path)
    never = winter.so2()
    assert (never["ph"], never["u_ph"], never["ph_probe"]) == (3.6, pytest.approx(0.10, abs=1e-3), "k1-ph")
    winter.calibrate(*SOUND, "--at", "yesterday 18:30")
    found = winter.so2()
    assert found["ph"] == pytest.approx(4.0 + (3.60 - 4.15) / 0.96154, abs=1e-3)
    assert found["u_ph"] == pytest.approx(0.019, abs=2e-3)
    assert not any("pH probe" in remark for remark in found["remarks"])
    assert "by k1-ph" in winter.run("now", str(winter.file), "K1").stdout


def test_a_worn_probe_is_named_with_slope_and_day(tmp_path: Path) -> None:
    winter = PhWinter(tmp_path)
    worn = ("--buffer", "7.00", "--mv", "0", "--buffer", "4.01", "--mv", "154", "--temperature", "20 °C")
    winter.calibrate(*worn, "--at", "2026-11-03")
    # 154 / (3.016 x 58.167) = 87.8 %
    at = ("--at", "2026-11-05")
    assert "pH probe k1-ph: slope 88 % on 3 Nov: clean it or replace it" in winter.so2(*at)["remarks"]
    assert "note: pH probe k1-ph: slope 88 % on 3 Nov" in winter.run("now", str(winter.file), "K1", *at).stdout
    assert not any("pH probe" in remark for remark in winter.so2("--at", "2026-11-02")["remarks"])
    winter.calibrate(*SOUND)
    assert not any("pH probe" in remark for remark in winter.so2()["remarks"])


def test_a_dead_probe_gives_way_to_what_was_measured_by_hand(tmp_path: Path) -> None:
    winter = PhWinter(tmp_path)
    winter.enter("measurement", "--vessel", "K1", "--quantity", "pH", "--value", "3.30", "--at", "yesterday 18:30")
    assert winter.so2()["ph_probe"] == "k1-ph"
    winter.calibrate(*DEAD, "--despite-grade", "--at", "yesterday 18:40")
    found = winter.so2()
    assert (found["ph"], found["ph_probe"]) == (3.3, None)
    assert found["u_ph"] == pytest.approx(0.05, abs=1e-3)
    assert any("slope 74 %" in remark and "not to be used" in remark for remark in found["remarks"])


def moved(cellar: PhCellar, vessel: str, *, id: str = "k1-ph", was: str = "") -> int:
    """Put the pH probe at another vessel, or give it another id, and start with that cellar file."""
    keys = {"was": was} if was else {}
    text = FILE_TEXT + probe(id, at=vessel, quantity="pH", topic="k1/ph", unit="pH", **keys)
    cellar.file.write_text(text, encoding="utf-8")
    cellar.cellar = load_cellar(cellar.file)
    return declare(cellar.store, declarations(cellar.cellar), wall_ms())[id]


def test_a_probe_that_is_moved_keeps_its_calibration_and_a_strike_follows_it(cellar: PhCellar) -> None:
    def values_of_7_05() -> set[float]:
        """What a reading of now of 7.05 counts as, at each place where the probe ever was."""
        series = [each.id for each in all_series(cellar.store) if each.quantity == "pH"]
        return {round(value_at(scales(cellar.store, each), wall_ms(), 7.05), 3) for each in series}

    cellar.calibrate(*SOUND, "--at", "yesterday 18:30")
    assert moved(cellar, "K3") != cellar.ph_series
    assert values_of_7_05() == {7.016}
    # The probe gives (7.026 - 7.016) x 0.9615 + 7.05 = 7.0596 where 7.016 is true: its zero is moved by -0.0436.
    zero = ("--buffer", "7.00", "--reads", "7.026", "--temperature", "20 °C", "--at", "yesterday 18:40")
    cellar.calibrate(*zero)
    assert values_of_7_05() == {7.006}
    assert moved(cellar, "K1") == cellar.ph_series
    assert values_of_7_05() == {7.006}
    for id, left in (("2", {7.016}), ("1", {7.05})):
        assert cellar.run("strike", str(cellar.file), id, "--reason", "old buffer").returncode == 0
        assert values_of_7_05() == left


def test_a_renamed_probe_keeps_its_record(cellar: PhCellar) -> None:
    cellar.calibrate(*SOUND, "--at", "yesterday 18:30")
    moved(cellar, "K1", id="k1-acidity", was="k1-ph")
    assert list(ph_records(cellar.store.connection)) == ["k1-acidity"]
