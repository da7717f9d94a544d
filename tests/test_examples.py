"""Each cellar of config_examples runs on bytes of its instruments and gives what a hand calculation gives."""

from __future__ import annotations

import os
import queue
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import pytest
from a_store import NOW
from brokers import Mosquitto
from eventually import eventually
from example_cellars import DATA, EXAMPLES, GOOD, Heard, assert_near, example, payloads

from ingest.cellar import load_cellar
from ingest.daemon import IngestDaemon
from ingest.reading import Quality, Reason, quality_code
from ingest.sources.sample import Sample
from ingest.sources.serial_line import SerialLine
from ingest.sources.w1 import OneWireChips
from ingest.store import open_existing
from ingest.store.readings.series import all_series
from ingest.store.readings.series_history import raw

SATURATED: Final = quality_code(Quality.UNCERTAIN, Reason.SATURATED)
SUPPLY_IN_DOUBT: Final = quality_code(Quality.UNCERTAIN, Reason.FAULT)
UNSETTLED: Final = quality_code(Quality.UNCERTAIN, Reason.UNSETTLED)
FAULT: Final = quality_code(Quality.BAD, Reason.FAULT)
RAIL: Final = quality_code(Quality.BAD, Reason.RAIL)

PSI_KPA: Final = 6.8947573  # NIST SP 811, appendix B.8

# What the JSON and the SenML box of the garage say of themselves: 2025-11-25T08:30:00Z.
HALF_PAST_EIGHT: Final = 1_764_059_400_000


def test_each_example_has_its_bytes() -> None:
    examples = {file.stem for file in EXAMPLES.glob("*.toml")}
    without = examples - {folder.name for folder in DATA.iterdir()}
    assert not without, f"tests/data has no bytes for {without}: add what such instruments send, and a test here"


# ---- plain numbers, and several ways in one cellar -----------------------------------------------------------------


def test_one_keg_says_psi() -> None:
    heard = Heard(example("one-keg"))
    heard.hear_topic("cellar/K1/pressure", DATA / "one-keg" / "k1-pressure.payloads")
    assert_near(heard.values["k1-pressure"], [(8.0 * PSI_KPA, GOOD), (7.9 * PSI_KPA, GOOD)])
    assert heard.refused() == [("k1-pressure", "not a number")]  # " 8 psi"


def test_the_hut_and_who_hears_of_it() -> None:
    hut = example("people-and-channels")
    heard = Heard(hut)
    for probe, topic in (("k7-pressure", "hut/K7/pressure"), ("c2-temperature", "hut/C2/temperature")):
        heard.hear_topic(topic, DATA / "people-and-channels" / f"{probe}.payloads")
    assert_near(heard.values["k7-pressure"], [(41.2, GOOD), (41.1, GOOD)])
    assert_near(heard.values["c2-temperature"], [(13.4, GOOD), (13.5, GOOD)])
    assert heard.refused() == [("k7-pressure", "not a number")]
    at_once = [each.name for each in hut.recipients if each.after_s is None]
    assert at_once == ["marija@cellar.example", "marija by push", "marija by home"]
    assert {each.name for each in hut.recipients if each.after_s == 1200.0} == {"jure@cellar.example", "jure by push"}


def test_the_three_kegs_and_the_carboy() -> None:
    heard = Heard(example("three-kegs-and-a-carboy"))
    folder = DATA / "three-kegs-and-a-carboy"
    heard.hear_line("bench-line", folder / "bench-line.bytes", chunk=5)
    heard.hear_topic("cellar/K2/box", folder / "k2-box.payloads")
    heard.hear_topic("cellar/N2/pressure", folder / "n2-pressure.payloads")
    heard.hear_topic("cellar/air/pressure", folder / "air-pressure.payloads")
    assert_near(heard.values["k3-pressure"], [(54.2, GOOD), (54.0, GOOD)])
    assert_near(heard.values["c1-pressure"], [(0.1, GOOD)])
    assert_near(heard.values["k2-pressure"], [(54.2, GOOD), (54.1, GOOD)])
    assert heard.own_times["k2-pressure"] == [HALF_PAST_EIGHT, HALF_PAST_EIGHT + 30_000]
    assert_near(heard.values["k2-temperature"], [(11.8, GOOD)])
    assert_near(heard.values["n2-pressure"], [(11800.0, GOOD), (11750.0, GOOD)])  # 1 bar = 100 kPa
    assert_near(heard.values["air-pressure"], [(100.96, GOOD)])  # 1 hPa = 0.1 kPa
    # "C1 P=-" holds no number; the second message of the box has no temperature.
    assert [refusal.probe for refusal in heard.refusals] == ["c1-pressure", "k2-temperature"]


# ---- 4-20 mA: counts over MQTT -------------------------------------------------------------------------------------

# count x 22 / 4095 = mA; (mA - 4) x 100 / 16 = kPa. What is a fault and what is saturated: NAMUR NE 43.
T1: Final = [
    (9.98779, GOOD),  # 1042: 5.59805 mA
    (10.08852, GOOD),  # 1045: 5.61416 mA
    (0.01526, GOOD),  # 745: 4.00244 mA
    (-1.09280, GOOD),  # 712: 3.82515 mA, above 3.8
    (-1.49573, SATURATED),  # 700: 3.76068 mA, between 3.6 and 3.8
    (-2.50305, FAULT),  # 670: 3.59951 mA, at most 3.6
    (106.25458, FAULT),  # 3909: 21.00073 mA, at least 21.0
    (-25.0, RAIL),  # 0: the loop is open, the converter stands at its end
    (112.5, RAIL),  # 4095: 22 mA
]
# The same into 250 bar, that is 25000 kPa.
CYLINDER: Final = [
    (12503.0525, GOOD),  # 2234: 12.0019536 mA
    (12477.8694, GOOD),  # 2231: 11.9858364 mA
]


def test_counts_of_a_current_loop_are_the_pressure_that_the_label_means() -> None:
    heard = Heard(example("current-loop-board"))
    heard.hear_topic("dairy/loops/1", DATA / "current-loop-board" / "loop-1.payloads")
    heard.hear_topic("dairy/loops/2", DATA / "current-loop-board" / "loop-2.payloads")
    assert_near(heard.values["t1-pressure"], T1)
    assert_near(heard.values["ar-pressure"], CYLINDER)
    assert heard.refusals == []


# ---- 0.5-4.5 V: volts and counts on a serial line ------------------------------------------------------------------

# (signal x 5 / supply - 0.5) x 150 / 4 = psi, by the label; a count x 5.5 / 4095 = V before the divider. The bands (5 %
# of the supply for a broken wire, 10 % for the supply) are choices of this project: ingest/cellar/signal.py.
K1_OF_THE_STAIRS: Final = [
    (75.0 * PSI_KPA, GOOD),  # 2.450 of 4.900 V is half of the supply, the middle of 0-150 psi
    (0.0, GOOD),  # 0.500 of 5.000 V
    (-18.2981928 * PSI_KPA, FAULT),  # 0.012 of 4.980 V: below 5 % of the supply, a broken wire
    (75.0 * PSI_KPA, SUPPLY_IN_DOUBT),  # 2.205 of 4.410 V: still half, but the supply is 11.8 % low
]
K2_OF_THE_STAIRS: Final = [
    (74.9416007 * PSI_KPA, GOOD),  # 1823: 2.4484737 V, of 4.900 V
    (187.5 * PSI_KPA, RAIL),  # 4095: the converter's end
]


@pytest.mark.parametrize("chunk", [1, 7, 4096])
def test_a_ratiometric_signal_is_a_share_of_the_measured_supply(chunk: int) -> None:
    heard = Heard(example("ratiometric-line"))
    heard.hear_line("keg-board", DATA / "ratiometric-line" / "keg-board.bytes", chunk=chunk)
    assert_near(heard.values["k1-pressure"], K1_OF_THE_STAIRS)
    assert_near(heard.values["k2-pressure"], K2_OF_THE_STAIRS)
    assert heard.refused() == [
        ("", "no probe's pattern takes this line"),  # the greeting; the fragment before it was not a line
        ("", "not text in the line's encoding"),  # noise
        ("k1-pressure", "no supply voltage"),
    ]


# ---- one-wire ------------------------------------------------------------------------------------------------------


def test_the_chips_of_the_barrel_shed_are_read_from_the_kernels_files() -> None:
    cellar = example("one-wire")
    samples: queue.SimpleQueue[Sample] = queue.SimpleQueue()
    every_s = {probe.w1: probe.every_s for probe in cellar.probe if probe.w1 is not None}
    chips = OneWireChips(folder=DATA / "one-wire", every_s=every_s, deliver=samples.put, clock=lambda: NOW)
    heard = Heard(cellar)
    chips.start()
    try:
        for _ in every_s:
            heard.hear(samples.get(timeout=10))
    finally:
        chips.stop()
    # The first two bytes, lowest first, are sixteenths of a degree (data sheet DS18B20):
    # be 00 is 190 / 16, f4 ff is -12 / 16.
    assert heard.values == {"b1-temperature": [(11.875, GOOD)], "shed-temperature": [(-0.75, GOOD)]}


def test_a_chip_in_trouble_gives_no_good_reading() -> None:
    heard = Heard(example("one-wire"))
    for trouble in ("power-on", "wrong-sum", "shorted"):
        payload = (DATA / "one-wire-trouble" / trouble / "w1_slave").read_bytes()
        heard.hear(Sample("w1", "28-0316a2795bff", payload, NOW, 0.0))
    assert heard.values["b1-temperature"] == [(85.0, UNSETTLED)]
    assert heard.refused() == [("b1-temperature", "CRC"), ("b1-temperature", "bus shorted")]


# ---- lines of text, and an instrument that is asked ----------------------------------------------------------------


@pytest.mark.parametrize("chunk", [1, 7, 4096])
def test_two_probes_take_their_numbers_from_one_line(chunk: int) -> None:
    heard = Heard(example("text-lines"))
    heard.hear_line("logger", DATA / "text-lines" / "logger.bytes", chunk=chunk)
    assert heard.values["c1-temperature"] == [(12.4, GOOD), (12.4, GOOD), (12.5, GOOD)]
    assert heard.values["pantry-temperature"] == [(14.1, GOOD), (14.0, GOOD), (-0.5, GOOD)]
    assert heard.refused() == [("", "no probe's pattern takes this line")] * 2  # the ERR line, the noise


@contextmanager
def _meter(answers: bytes) -> Iterator[str]:
    """The device of a meter that says one line of ``answers`` to each ``READ?``, and nothing else ever."""
    near, far = os.openpty()
    tty.setraw(far)

    def answer() -> None:
        asked = b""
        for line in answers.splitlines(keepends=True):
            while b"READ?\r\n" not in asked:
                try:
                    asked += os.read(near, 64)
                except OSError:
                    return  # the far end was closed
            asked = asked.partition(b"READ?\r\n")[2]
            os.write(near, line)

    thread = threading.Thread(target=answer)
    thread.start()
    try:
        yield os.ttyname(far)
    finally:
        os.close(far)
        thread.join(10)
        os.close(near)


def test_the_meter_is_asked_as_the_example_says() -> None:
    cellar = example("text-lines")
    settings = next(line for line in cellar.serial if line.id == "ph-meter")
    assert (settings.poll, settings.poll_every_s) == (("READ?\r\n",), 30.0)
    samples: queue.SimpleQueue[Sample] = queue.SimpleQueue()
    heard = Heard(cellar)
    with _meter((DATA / "text-lines" / "ph-meter.answers").read_bytes()) as device:
        # Only the device and the pace are the test's: nobody waits a minute here.
        quick = settings.model_copy(update={"device": device, "poll_every_s": 0.2})
        line = SerialLine(quick, deliver=samples.put, clock=lambda: NOW)
        line.start()
        try:
            for _ in range(3):
                heard.hear(samples.get(timeout=10))
        finally:
            assert line.stop(10)
    assert heard.values["c1-ph"] == [(3.42, GOOD), (3.43, GOOD)]
    assert heard.refused() == [("", "no probe's pattern takes this line")]  # STBY
    assert line.state().asked >= 3


# ---- boxes on the network: JSON and SenML --------------------------------------------------------------------------

# As JSON says them, and from SenML: Pa / 1000 = kPa, K - 273.15 = °C.
GARAGE: Final = {
    "k6-pressure": [(54.2, 0), (54.1, 30)],
    "k6-temperature": [(11.8, 0), (11.8, 30), (11.9, 60)],
    "k7-pressure": [(48.3, 0), (48.21, 30), (48.19, 60)],  # bt + t: 1764059460 - 30 is half past eight and 30 s
    "k7-temperature": [(12.1, 0), (12.15, 60)],
    "garage-air": [(99.87, 0), (99.86, 60)],
}


def test_boxes_that_say_their_own_time() -> None:
    heard = Heard(example("network-boxes"))
    heard.hear_topic("garage/k6", DATA / "network-boxes" / "k6.payloads")
    heard.hear_topic("garage/k7", DATA / "network-boxes" / "k7.payloads")
    for probe, expected in GARAGE.items():
        assert_near(heard.values[probe], [(value, GOOD) for value, _ in expected])
        assert heard.own_times[probe] == [HALF_PAST_EIGHT + 1000 * after for _, after in expected]
    # A null is not a reading, and "C" is the coulomb (RFC 8428, section 12.1).
    assert [refusal.probe for refusal in heard.refusals] == ["k6-pressure", "k7-temperature"]


# ---- the whole way: broker, daemon, store --------------------------------------------------------------------------


def _stored(folder: Path, name: str, topics: dict[str, Path]) -> dict[str, list[tuple[int, float, int]]]:
    """An example in a real broker and a real daemon: each probe's readings (at_ms, value, quality) from the store."""
    text = (EXAMPLES / f"{name}.toml").read_text("utf-8")
    with Mosquitto(folder, options=["log_type all"]) as broker:
        file = folder / "cellar.toml"
        text = text.replace('host = "127.0.0.1"', f'host = "127.0.0.1"\nport = {broker.port}')
        file.write_text(text.replace("[store]", '[store]\ncommit = "0.1 s"'), "utf-8")
        cellar = load_cellar(file)
        daemon = IngestDaemon(cellar, {})
        daemon.start()
        thread = threading.Thread(target=daemon.run)
        thread.start()
        try:
            for topic in topics:
                eventually(lambda topic=topic: f"{topic} (QoS 1)" in broker.log())  # type: ignore[misc]  # bound now
            for topic, data in topics.items():
                broker.publish(topic, *payloads(data))
            # A message is acknowledged once it is on disk.
            eventually(
                lambda: broker.log().count("Received PUBACK") >= sum(len(payloads(it)) for it in topics.values())
            )
        finally:
            daemon.stop_event.set()
            thread.join(10)
            daemon.stop()
        with open_existing(cellar.store_path) as store:
            return {
                row.probe: [(it.at_ms, it.value, it.quality) for it in raw(store, row.id)] for row in all_series(store)
            }


def test_the_boxes_of_the_garage_through_broker_daemon_and_store(tmp_path: Path) -> None:
    folder = DATA / "network-boxes"
    stored = _stored(
        tmp_path, "network-boxes", {"garage/k6": folder / "k6.payloads", "garage/k7": folder / "k7.payloads"}
    )
    for probe, expected in GARAGE.items():
        assert [at_ms for at_ms, _, _ in stored[probe]] == [HALF_PAST_EIGHT + 1000 * after for _, after in expected]
        assert_near([it[1:] for it in stored[probe]], [(value, GOOD) for value, _ in expected])


def test_the_counts_of_the_dairy_through_broker_daemon_and_store(tmp_path: Path) -> None:
    folder = DATA / "current-loop-board"
    stored = _stored(
        tmp_path,
        "current-loop-board",
        {"dairy/loops/1": folder / "loop-1.payloads", "dairy/loops/2": folder / "loop-2.payloads"},
    )
    for probe, expected in {"t1-pressure": T1, "ar-pressure": CYLINDER}.items():
        assert [value for _, value, _ in stored[probe]] == pytest.approx([value for value, _ in expected], abs=5e-5)
