"""Calibrations on the page: zero and span, a pH probe's buffers, and what is refused."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from urllib.parse import urlencode

import httpx
import pytest
from a_form import HOSTILE, NOW, EntryBench, Fields, hidden, words
from cellar_text import probe

from ingest.journal.entry import Entry
from ingest.journal.kinds.calibration import CalibrationBody
from ingest.probes.binding import declarations
from ingest.store.journal.entries import strike
from ingest.store.readings.fresh import Appender
from ingest.store.readings.scales import scales, value_at
from ingest.store.readings.series import declare

PH = probe("k1-ph", "K1", quantity="pH", topic="k1/ph", unit="pH")
GAUGE = "/enter/calibration/k1-pressure"
ELECTRODE = "/enter/calibration/k1-ph"
ZERO: Fields = {"truth": "0", "truth.unit": "kPa", "reads": "1.2", "reads.unit": "kPa", "who": "Ana"}
BUFFERS: Fields = {
    "temperature": "20", "temperature.unit": "°C", "set": "technical", "buffer": ["7.00", "4.01", ""],
    "reads": ["7.05", "4.15", ""], "reads.unit": ["pH", "pH", "pH"], "who": "Ana",
}  # fmt: skip


class CalibrationBench(EntryBench):
    def __init__(self, folder: Path) -> None:
        super().__init__(folder, more=PH)
        self.series = declare(self.store, declarations(self.cellar), NOW)
        rows = [(self.series["k1-pressure"], NOW - 4000, 1.2, 0), (self.series["k1-ph"], NOW - 4000, 7.05, 0)]
        assert Appender(self.store).append(rows).stored == 2

    def value(self, name: str, number: float) -> float:
        return value_at(scales(self.store, self.series[name]), NOW, number)

    def calibrated(self, path: str, fields: Fields, **more: str) -> Entry:
        looked_at = self.browser.post(path, fields)
        assert looked_at.status_code == 200, words(looked_at.text)
        done = self.browser.save(path, looked_at.text, **more)
        assert done.status_code == 303, words(done.text)
        return self.new()[-1]


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[CalibrationBench]:
    bench = CalibrationBench(tmp_path)
    yield bench
    bench.store.close()


def test_the_probes_are_listed_with_what_they_show(bench: CalibrationBench) -> None:
    page = bench.browser.get("/enter/calibration")
    assert "k1-pressure pressure at K1; it showed 1.2 kPa 4 s ago" in words(page)
    assert f'href="{ELECTRODE}"' in page
    assert "It shows 1.2 kPa, 4 s old." in words(bench.browser.get(GAUGE))
    assert bench.browser.ask("GET", "/enter/calibration/k9").status_code == 404


def test_a_gauges_zero_is_moved_after_the_effect_was_seen_and_once(bench: CalibrationBench) -> None:
    looked_at = bench.browser.post(GAUGE, ZERO)
    assert "1.2 kPa then counts as 0.0 kPa" in words(looked_at.text)
    assert "a gauge's zero needs an open vessel" in words(looked_at.text)
    assert bench.value("k1-pressure", 1.2) == pytest.approx(1.2)
    entry = bench.calibrated(GAUGE, {**ZERO, "key": "k-1"})
    assert (entry.kind, entry.place, entry.at_ms) == ("calibration", "K1", NOW)
    assert bench.value("k1-pressure", 1.2) == pytest.approx(0.0)
    again = bench.browser.post(GAUGE, {**ZERO, "key": "k-1"})
    assert again.headers["location"] == f"/written?no={entry.id}&again=1"
    assert len(bench.new()) == 1
    refused = bench.browser.ask("GET", f"/journal/{entry.id}/amend")
    assert "cannot be amended: strike it" in words(refused.text)


def test_two_points_mend_the_span_in_the_unit_that_was_chosen(bench: CalibrationBench) -> None:
    fields: Fields = {"truth": ["0", "1"], "truth.unit": ["kPa", "bar"], "reads": ["1", "99"],
                      "reads.unit": ["kPa", "kPa"], "who": "Ana"}  # fmt: skip
    bench.calibrated(GAUGE, fields)
    assert bench.value("k1-pressure", 99.0) == pytest.approx(100.0)
    assert bench.value("k1-pressure", 1.0) == pytest.approx(0.0)


def test_a_ph_probe_shows_its_slope_before_it_is_saved(bench: CalibrationBench) -> None:
    looked_at = bench.browser.post(ELECTRODE, BUFFERS)
    text = words(looked_at.text)
    assert "slope 96." in text
    assert "standard uncertainty near pH" in text
    assert "7.05 then counts as 7.0" in text
    entry = bench.calibrated(ELECTRODE, BUFFERS, warned="yes")
    body = entry.body
    assert isinstance(body, CalibrationBody)
    assert [(round(point.truth, 3), point.shown, point.buffer) for point in body.points] == [
        (7.016, 7.05, "7.00"),
        (4.0, 4.15, "4.01"),
    ]
    assert bench.value("k1-ph", 4.15) == pytest.approx(4.0, abs=0.005)


def test_mv_describe_the_probe_and_one_that_is_worn_out_takes_a_person_who_insists(bench: CalibrationBench) -> None:
    worn: Fields = {**BUFFERS, "reads": ["-20", "110", ""], "reads.unit": ["mV", "mV", "mV"]}
    looked_at = bench.browser.post(ELECTRODE, worn)
    assert "what leeside shows stays as it is" in words(looked_at.text)
    assert "Warning:" in words(looked_at.text)
    assert bench.browser.save(ELECTRODE, looked_at.text).status_code == 200
    assert bench.new() == []
    body = bench.calibrated(ELECTRODE, worn, warned="yes").body
    assert isinstance(body, CalibrationBody)
    assert body.despite_grade
    assert bench.value("k1-ph", 4.15) == pytest.approx(4.15)


@pytest.mark.parametrize(
    ("path", "changes", "why"),
    [
        (GAUGE, {"truth": ""}, "is missing: At one point"),
        (GAUGE, {"truth": ["0", "100"], "truth.unit": ["kPa", "kPa"]}, "1 for 2 points"),
        (GAUGE, {"truth": ["0", "5"], "truth.unit": ["kPa"] * 2, "reads": ["1", "2"], "reads.unit": ["kPa"] * 2},
         "apart"),
        (GAUGE, {"reads": "x"}, "'x"),
        (GAUGE, {"date": "2026-11-26"}, "in the future"),
        (GAUGE, {"who": ""}, "say who did it"),
        (GAUGE, {"date": HOSTILE}, "is not a time"),
        (ELECTRODE, {"reads": ["4.1", "7.0", ""]}, "swapped"),
        (ELECTRODE, {"reads": ["4.1", "", ""]}, "1 for 2 buffers"),
        (ELECTRODE, {"reads.unit": ["pH", "mV", "pH"]}, "all buffers in mV, or all in pH"),
        (ELECTRODE, {"buffer": ["5", "4.01", ""]}, "no technical buffer '5'"),
        (ELECTRODE, {"temperature": "90"}, "90"),
        (ELECTRODE, {"temperature": "200", "set": "printed", "buffer": ["7", "4", ""]}, "150"),
        (GAUGE, {"remark": "x" * 3000}, "at most 2000"),
        (ELECTRODE, {"reads": ["70.5", "4.1", ""]}, "no pH meter shows that"),
        (ELECTRODE, {"set": "x"}, "is not one of"),
        (ELECTRODE, {"buffer": [HOSTILE, "4.01", ""]}, "no technical buffer"),
    ],
)  # fmt: skip
def test_what_cannot_be_a_calibration_is_refused(bench: CalibrationBench, path: str, changes: Fields, why: str) -> None:
    answer = bench.browser.post(path, {**(ZERO if path == GAUGE else BUFFERS), **changes})
    assert answer.status_code in (409, 422), words(answer.text)
    assert why in words(answer.text)
    assert "<script>alert" not in answer.text
    assert hidden(answer.text, "token")
    assert bench.new() == []


# ---- a pH probe's reading, live and taken with one press ------------------------------------------------------------


def _read(bench: CalibrationBench, *readings: tuple[int, float]) -> None:
    """Store what the pH probe read: (seconds ago by the browser's clock, pH)."""
    rows = [(bench.series["k1-ph"], bench.browser.now - 1000 * ago, ph, 0) for ago, ph in readings]
    assert Appender(bench.store).append(rows).stored == len(rows)


FILLED: Fields = {**BUFFERS, "reads": ["", "", ""]}


def test_the_form_shows_what_a_ph_probe_reads_and_whether_it_stands_still(bench: CalibrationBench) -> None:
    assert "What it shows now 7.05 4 s old not still for long enough" in words(bench.browser.get(ELECTRODE))
    _read(bench, (40, 6.90), (20, 7.00))
    assert "still moves 6.90 to 7.05 in the last" in words(bench.browser.get(ELECTRODE))
    assert "What it shows now" not in words(bench.browser.get(GAUGE))
    assert bench.browser.ask("GET", f"{GAUGE}/now").status_code == 404
    assert bench.browser.ask("GET", "/enter/calibration/k9/now").status_code == 404


def test_one_press_takes_a_reading_that_stands_still_for_the_next_buffer(bench: CalibrationBench) -> None:
    _read(bench, (64, 7.052), (34, 7.051))
    page = bench.browser.get(f"{ELECTRODE}/now?buffer=7.00&buffer=4.01&buffer=")
    assert "stands still" in page
    assert "Take it for buffer 7.00" in page
    answer = bench.browser.post(ELECTRODE, FILLED, "take")
    assert answer.status_code == 200, words(answer.text)
    assert 'name="reads" value="7.050"' in answer.text
    assert "Take it for buffer 4.01" in words(answer.text)
    assert "Taken. Rinse the probe, put it into the next buffer" in words(answer.text)
    # What came before does not count for the next buffer.
    taken: Fields = {**FILLED, "reads": ["7.050", "", ""], "_taken": hidden(answer.text, "taken")}
    refused = bench.browser.post(ELECTRODE, taken, "take")
    assert refused.status_code == 422
    assert "no good reading came in the last" in words(refused.text)
    assert 'name="reads" value="7.050"' in refused.text
    bench.browser.now += 300_000
    _read(bench, (120, 4.15), (60, 4.15), (3, 4.151))
    answer = bench.browser.post(ELECTRODE, taken, "take")
    assert answer.status_code == 200, words(answer.text)
    both: Fields = {**taken, "reads": ["7.050", "4.151", ""]}
    entry = bench.calibrated(ELECTRODE, both)
    assert isinstance(entry.body, CalibrationBody)
    assert [point.shown for point in entry.body.points] == [7.05, 4.151]


def test_a_reading_that_moves_or_is_of_another_time_is_not_taken(bench: CalibrationBench) -> None:
    _read(bench, (60, 6.90), (30, 7.00))
    moves = bench.browser.post(ELECTRODE, FILLED, "take")
    assert moves.status_code == 422
    assert "it still moves: 6.90 to 7.05" in words(moves.text)
    assert "Wait until it stands still, or type what it shows" in words(moves.text)
    earlier = bench.browser.post(ELECTRODE, {**FILLED, "date": "2026-11-24", "time": "12:00"}, "take")
    assert "says nothing of an earlier time" in words(earlier.text)
    full = bench.browser.post(ELECTRODE, {**FILLED, "reads": ["7"] * 5, "reads.unit": ["pH"] * 5}, "take")
    assert "5 buffers at most" in words(full.text)
    refused = bench.browser.post(ELECTRODE, FILLED, "take", token="other")
    assert refused.status_code == 403
    assert bench.new() == []


def test_hostile_words_in_the_address_of_the_live_reading_are_text(bench: CalibrationBench) -> None:
    answer = bench.browser.ask("GET", f"{ELECTRODE}/now?{urlencode({'buffer': HOSTILE})}")
    assert answer.status_code == 200
    assert "<script" not in answer.text
    assert bench.browser.ask("GET", f"{ELECTRODE}/now?taken=x").status_code == 422


# ---- by programs -----------------------------------------------------------------------------------------------------


def _sent(bench: CalibrationBench, path: str, key: str = "", **given: object) -> httpx.Response:
    token = hidden(bench.browser.get("/enter"), "token")
    headers = {"Content-Type": "application/json", "X-Leeside-Token": token}
    content = json.dumps({"kind": "calibration", "who": "bench", **given})
    return bench.browser.ask("POST", path, content, headers | ({"Idempotency-Key": key} if key else {}))


PH_ANSWERS: Mapping[str, object] = {
    "probe": "k1-ph", "temperature": "20 °C", "buffer": ["7.00", "4.01"], "reads": ["7.05", "4.15"]
}  # fmt: skip


def test_a_program_calibrates_a_ph_probe_as_the_form_does(bench: CalibrationBench) -> None:
    looked_at = _sent(bench, "/api/entries/prepare", answers=PH_ANSWERS)
    assert looked_at.status_code == 200, looked_at.text
    assert looked_at.json()["body"]["buffer_set"] == "technical"
    assert bench.new() == []
    by_program = _sent(bench, "/api/entries", key="a-1", answers=PH_ANSWERS)
    assert by_program.status_code == 201, by_program.text
    again = _sent(bench, "/api/entries", key="a-1", answers=PH_ANSWERS)
    assert again.json()["id"] == by_program.json()["id"]
    (entry,) = bench.new()
    assert bench.value("k1-ph", 4.15) == pytest.approx(4.0, abs=0.01)
    strike(bench.store, entry.id, "Ana", "to compare", bench.browser.now)
    by_form = bench.calibrated(ELECTRODE, BUFFERS)
    assert by_form.body == entry.body


def test_a_program_moves_a_gauges_zero(bench: CalibrationBench) -> None:
    done = _sent(bench, "/api/entries", answers={"probe": "k1-pressure", "truth": "0 kPa", "reads": "1.2 kPa"})
    assert done.status_code == 201, done.text
    assert bench.value("k1-pressure", 1.2) == pytest.approx(0.0)
    amended = _sent(bench, f"/api/entries/{done.json()['id']}/amend", answers={})
    assert amended.status_code in (409, 422)


@pytest.mark.parametrize(
    ("answers", "field", "why"),
    [
        ({}, "probe", "is missing"),
        ({"probe": ["k1-ph", "k1-pressure"]}, "probe", "is missing"),
        ({"probe": "k1-p"}, "probe", "there is no probe 'k1-p'; did you mean k1-ph?"),
        ({"probe": "k1-pressure"}, "truth", "is missing"),
        ({"probe": "k1-pressure", "truth": "0 kPa", "reads": ["1 kPa", "2 kPa"]}, "reads", "2 for 1 points"),
        ({"probe": "k1-pressure", "truth": "0 degrees", "reads": "1 kPa"}, "truth", "degrees"),
        ({"probe": "k1-pressure", "buffer": "7"}, "buffer", ""),
        ({**PH_ANSWERS, "buffer": ["7.00", "5.55"]}, "buffer", "for another bottle choose printed"),
    ],
)
def test_what_a_program_answers_wrongly_is_named(
    bench: CalibrationBench, answers: Mapping[str, object], field: str, why: str
) -> None:
    refused = _sent(bench, "/api/entries", answers=answers)
    assert refused.status_code == 422, refused.text
    assert any(wrong["field"] == field and why in wrong["why"] for wrong in refused.json()["wrong"]), refused.text
    assert bench.new() == []


def test_a_probe_that_is_good_for_nothing_takes_a_program_that_insists(bench: CalibrationBench) -> None:
    # 74 % of Nernst's slope.
    answers = {**PH_ANSWERS, "reads": ["-20 mV", "110 mV"]}
    refused = _sent(bench, "/api/entries", answers=answers)
    assert refused.status_code == 409, refused.text
    assert refused.json()["warnings"]
    assert bench.new() == []
    assert _sent(bench, "/api/entries", answers=answers, despite_warnings=True).status_code == 201


def test_the_questions_of_a_calibration_are_listed_for_programs(bench: CalibrationBench) -> None:
    kinds = bench.browser.ask("GET", "/api/kinds").json()["kinds"]
    names = next([each["name"] for each in kind["questions"]] for kind in kinds if kind["name"] == "calibration")
    assert names == ["probe", "truth", "temperature", "set", "buffer", "reads", "remark"]
