"""The simulated cellar, its scenario, its history and its cellar file."""

from __future__ import annotations

import json
import re
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.cellar import load_cellar
from ingest.simulation.cellar import LidLifts, Recharge, SlowLeak, Spend
from ingest.simulation.instrument import Instrument
from ingest.simulation.scenario import INSTRUMENTS, OUTLETS, MillLane
from ingest.simulation.scenario_file import mill_lane_file
from ingest.simulation.weather import ColdNight, Weather
from ingest.simulation.wire import JsonTopic, PlainTopic, SerialText

NOW_MS = 1_790_000_000_123
DAY_MS = 86_400_000


def test_the_same_seed_gives_the_same_past() -> None:
    first = list(MillLane(now_ms=NOW_MS, days=2, seed=3).past_readings(cadence_s=600))
    assert first == list(MillLane(now_ms=NOW_MS, days=2, seed=3).past_readings(cadence_s=600))
    assert first != list(MillLane(now_ms=NOW_MS, days=2, seed=4).past_readings(cadence_s=600))


def test_the_state_does_not_depend_on_how_often_it_is_asked() -> None:
    once, often = MillLane(now_ms=NOW_MS, days=0), MillLane(now_ms=NOW_MS, days=0)
    for lane in (once, often):
        lane.lift_lid(NOW_MS + 15_111)
    once.cellar.advance(NOW_MS + 60_000)
    for second in range(1, 61):
        often.cellar.advance(NOW_MS + second * 1000)
        often.cellar.advance(NOW_MS)
    assert once.cellar.vessels == often.cellar.vessels
    assert once.cellar.now_ms == often.cellar.now_ms


def test_a_past_of_thirty_days() -> None:
    lane = MillLane(now_ms=NOW_MS, days=30)
    before = lane.cellar.total_mol()
    past: dict[str, list[tuple[int, float, int]]] = {}
    for probe, chunk in lane.past_readings():
        past.setdefault(probe, []).extend(chunk)
    cellar = lane.cellar
    assert set(past) == {instrument.probe for instrument in INSTRUMENTS}
    for readings in past.values():
        assert len(readings) == 30 * 1440
        assert all(a[0] < b[0] for a, b in pairwise(readings))
        assert readings[0][0] > NOW_MS - 30 * DAY_MS
        assert readings[-1][0] <= NOW_MS
        assert {quality for _, _, quality in readings} == {0}
    assert list(lane.past_readings()) == []

    # Gas is kept: what the cylinder lost went into the kegs or out through purges and a sweep.
    assert cellar.total_mol() == pytest.approx(before, abs=1e-9)
    charged = sum(vessel.charged_mol for vessel in cellar.vessels.values())
    assert 0.0 < charged < cellar.cylinders["N2"].spent_mol

    # The story: one slow loss that was recharged, a cold night, a lid seal that begins to leak; glass near nothing.
    k2 = past["k2-pressure"]
    lost = [number for at_ms, number, _ in k2 if NOW_MS - 18 * DAY_MS < at_ms < NOW_MS - 17.1 * DAY_MS]
    assert 10.0 < min(lost) < 14.0
    evening = next(number for at_ms, number, _ in k2 if at_ms >= lane.night_ms)
    coldest = min(number for at_ms, number, _ in k2 if lane.night_ms <= at_ms < lane.leak_ms)
    before_leak = [number for at_ms, number, _ in k2 if at_ms < lane.leak_ms][-1]
    assert evening > 22.0
    assert 14.0 < coldest < 20.0
    assert before_leak > 18.0
    assert 7.0 < k2[-1][1] < before_leak - 6.0
    assert min(number for _, number, _ in past["k3-pressure"]) > 20.0
    assert all(-0.3 < number < 0.3 for _, number, _ in past["c1-pressure"])
    room = [number for _, number, _ in past["cellar-temperature"]]
    usual = room[10 * 1440 : 11 * 1440]
    assert 1.5 < max(usual) - min(usual) < 4.0
    assert 0.5 < min(room) < min(usual) - 5.0
    bar = [number for _, number, _ in past["n2-pressure"]]
    assert bar[0] - bar[-1] > 15.0

    # The live cellar goes on from the same state, within noise, resolution and a minute of weather.
    assert cellar.now_ms == NOW_MS
    for instrument in INSTRUMENTS:
        last = past[instrument.probe][-1][1]
        cellar.advance(NOW_MS + 1000)
        bound = 6 * instrument.noise_sd + 2 / instrument.steps_per_unit + (0.1 if instrument.place == "C1" else 0.0)
        assert cellar.measure(instrument.probe) == pytest.approx(last, abs=bound)


@pytest.mark.parametrize("days", [0, 1, 30])
def test_the_lid_of_k2_takes_its_time(days: int) -> None:
    lane = MillLane(now_ms=NOW_MS, days=days)
    for _ in lane.past_readings(cadence_s=3600):
        pass
    lane.lift_lid(NOW_MS + 15_000)
    lane.cellar.advance(NOW_MS + 15_000)
    assert 7.0 < lane.cellar.vessels["K2"].pressure_kpa < 25.0
    lane.cellar.advance(NOW_MS + 29_500)
    assert lane.cellar.vessels["K2"].pressure_kpa > 5.0
    lane.cellar.advance(NOW_MS + 30_500)
    assert lane.cellar.vessels["K2"].pressure_kpa < 5.0
    lane.mend_lid(NOW_MS + 60_000)
    lane.cellar.advance(NOW_MS + 70_000)
    assert lane.cellar.vessels["K2"].pressure_kpa == pytest.approx(55.0, abs=0.1)


def test_deeds_that_cannot_be_done_say_why() -> None:
    cellar = MillLane(now_ms=NOW_MS, days=0).cellar
    with pytest.raises(ValueError, match="the cellar is at"):
        cellar.schedule(NOW_MS - 1, LidLifts("K2"))
    with pytest.raises(ValueError, match="no vessel K9; there are K1, K2, K3, C1"):
        cellar.schedule(NOW_MS, SlowLeak("K9", 5.0, 60.0))
    with pytest.raises(ValueError, match="no cylinder N9; there are N2"):
        cellar.schedule(NOW_MS, Recharge("K1", "N9"))
    cellar.schedule(NOW_MS, Spend("N2", litres=10_000.0))
    with pytest.raises(ValueError, match="take less or use a full cylinder"):
        cellar.advance(NOW_MS)
    with pytest.raises(ValueError, match="from 0 to 365"):
        MillLane(now_ms=NOW_MS, days=366)


def test_weather_is_the_same_in_any_order_of_asking() -> None:
    forth, back = (Weather(seed=1, start_ms=NOW_MS) for _ in range(2))
    times = [NOW_MS + hour * 3_600_000 for hour in range(72)]
    there = [forth.air(at_ms) for at_ms in times]
    assert there == [back.air(at_ms) for at_ms in reversed(times)][::-1]
    rooms, stations = zip(*there, strict=True)
    assert 9.0 < min(rooms) < max(rooms) < 18.0
    assert all(93.0 < kpa < 101.0 for kpa in stations)
    with pytest.raises(ValueError, match="it begins at"):
        forth.air(NOW_MS - DAY_MS)


@given(st.floats(-50.0, 300.0), st.sampled_from([10, 16, 100]), st.integers())
def test_a_number_survives_the_wire(value: float, steps: int, seed: int) -> None:
    instrument = Instrument("p", "K1", "pressure", "kPa", steps, 0.05, 1000)
    number = instrument.number(value, Random(seed))
    assert float(repr(number)) == number
    assert re.fullmatch(r"-?[0-9]+[.][0-9]{1,4}", repr(number))
    assert number * steps == pytest.approx(round(number * steps), abs=1e-6)
    assert abs(number - value) <= 0.5 / steps + 0.5


def test_a_probe_shows_its_own_unit() -> None:
    lane = MillLane(now_ms=NOW_MS, days=0)
    assert lane.cellar.measure("k1-pressure") == pytest.approx(55.0 / 6.894757, abs=0.05)
    assert lane.cellar.measure("n2-pressure") == pytest.approx(149.0, abs=0.4)
    assert lane.cellar.measure("cellar-barometer") == pytest.approx(973.0, abs=30.0)


def test_payloads() -> None:
    at_ms = 1_790_000_000_050
    assert PlainTopic("t", "p").payload(at_ms, {"p": 54.9}) == b"54.9"
    assert SerialText("K1", "p").payload(at_ms, {"p": 13.0}) == b"K1 T=13.0"
    box = JsonTopic("t", (("p", ("gas", "kPa")), ("q", ("wine", "degC"))))
    document = json.loads(box.payload(at_ms, {"p": 54.9, "q": 13.0625}))
    assert document == {"at": "2026-09-21T14:13:20.050Z", "gas": {"kPa": 54.9}, "wine": {"degC": 13.0625}}
    assert datetime.fromisoformat(document["at"]).timestamp() == at_ms / 1000
    assert box.pointer("q") == "/wine/degC"
    unix = JsonTopic("t", (("p", ("gas", "kPa")),), clock="unix")
    assert json.loads(unix.payload(at_ms, {"p": 1.0}))["at"] == at_ms / 1000


def test_the_cellar_file_loads(tmp_path: Path) -> None:
    (tmp_path / "broker-password").write_text("not a secret\n")
    text = mill_lane_file(
        broker_port=41883,
        user="cellar",
        password_file=tmp_path / "broker-password",
        serial_device="/dev/pts/7",
        mail_port=42525,
        page_port=48420,
        store_path=tmp_path / 'a "quoted" žlahten' / "cellar.db",
    )
    file = tmp_path / "cellar.toml"
    file.write_text(text, encoding="utf-8")
    cellar = load_cellar(file)
    assert {probe.id for probe in cellar.probe} == {instrument.probe for instrument in INSTRUMENTS}
    carried = [probe for outlet in OUTLETS for probe in outlet.probes]
    assert sorted(carried) == sorted(probe.id for probe in cellar.probe)
    low = next(limit for limit in cellar.limits if limit.key == "K2/pressure/low")
    assert (low.setpoint, low.on_delay_s, low.priority) == (5.0, 8.0, "high")
    for outlet in OUTLETS:
        if isinstance(outlet, SerialText):
            probe = next(probe for probe in cellar.probe if probe.id == outlet.probe)
            assert probe.pattern is not None
            line = outlet.payload(0, {outlet.probe: -1.5}).decode()
            found = re.search(probe.pattern, line)
            assert found is not None
            assert found["value"] == "-1.5"


def test_a_cold_night_is_deepest_in_its_middle_and_gone_at_its_ends() -> None:
    night = ColdNight(NOW_MS, 6 * 3_600_000, 9.0)
    plain, cold = (
        Weather(seed=1, start_ms=NOW_MS - DAY_MS),
        Weather(seed=1, start_ms=NOW_MS - DAY_MS, cold_nights=[night]),
    )
    for hours, colder in ((-7, 0.0), (-6, 0.0), (-3, 4.5), (0, 9.0), (3, 4.5), (6, 0.0)):
        at_ms = NOW_MS + hours * 3_600_000
        assert plain.air(at_ms)[0] - cold.air(at_ms)[0] == pytest.approx(colder, abs=1e-9)
        assert plain.air(at_ms)[1] == cold.air(at_ms)[1]


@pytest.mark.parametrize("hour", range(0, 24, 3))
def test_the_cold_night_is_over_whenever_the_demo_is_run(hour: int) -> None:
    now_ms = NOW_MS + hour * 3_600_000
    lane = MillLane(now_ms=now_ms, days=0)
    assert lane.night_ms + 14 * 3_600_000 <= now_ms < lane.night_ms + 38 * 3_600_000


def test_the_past_can_be_taken_piece_by_piece() -> None:
    whole, parts = MillLane(now_ms=NOW_MS, days=2), MillLane(now_ms=NOW_MS, days=2)
    all_of_it = [reading for _, readings in whole.past_readings(cadence_s=600) for reading in readings]
    first = [each for _, readings in parts.past_readings(cadence_s=600, until_ms=NOW_MS - DAY_MS) for each in readings]
    assert parts.cellar.now_ms == NOW_MS - DAY_MS
    rest = [each for _, readings in parts.past_readings(cadence_s=600) for each in readings]
    assert len(first) + len(rest) == len(all_of_it)
    assert parts.cellar.now_ms == NOW_MS
