"""A turn and the parts it rests on: ingest, the broker, the clock and its own pulse."""

from __future__ import annotations

from pathlib import Path

import pytest
from cellar_text import MQTT, keg, mail, probe, site
from turning_bench import EPOCH_MS, Bench

from ingest.pulse import PULSE_S, BrokerPulse, IngestPulse
from ingest.reading import Quality, Reason, quality_code
from ingest.store.alarms.messages import recent_messages
from ingest.store.change_feed import cursor, set_cursor
from ingest.store.pulse_rows import pulses, write_pulse
from ingest.store.readings.undated import DATED, KNOWN
from ingest.store.readings.wrong_future import forget_future


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_its_own_silence_is_one_alarm_and_hides_what_follows_from_it(bench: Bench) -> None:
    def ingest_lives(connected: bool) -> None:
        with bench.store.write() as connection:
            broker = BrokerPulse(connected=connected)
            write_pulse(connection, IngestPulse(mqtt=broker), bench.now.utc_ms, EPOCH_MS)

    for _ in range(30):
        ingest_lives(True)
        bench.reading(12.0)
        bench.turn(10.0)
    assert bench.subjects() == []
    # The broker goes: nothing of the probe comes either, but only the root is reported.
    for _ in range(30):
        ingest_lives(False)
        bench.turn(10.0)
    assert [subject.split(": ", 1)[1] for subject in bench.subjects()][0::2] == [
        "MEDIUM PRIORITY: leeside broker, not responding for 1 min 40 s"
    ]
    # Then the ingest daemon goes as well.
    for _ in range(10):
        bench.turn(10.0)
    assert [subject.split(": ", 1)[1] for subject in bench.subjects()][2::2] == [
        "HIGH PRIORITY: leeside ingest, not responding for 1 min"
    ]


def test_a_broker_that_hangs_is_one_message_not_one_for_each_probe_before(tmp_path: Path) -> None:
    kegs = "".join(
        keg(f"K{number}") + probe(f"k{number}-pressure", f"K{number}", topic=f"k{number}/p", every="30 s")
        for number in range(1, 7)
    )
    bench = Bench(tmp_path, site(waking="00:00-23:59") + MQTT + kegs + mail())

    def turns(until_s: int, *, connected: bool, heard: bool) -> None:
        while bench.second < until_s:
            if bench.second % 10 == 0:
                with bench.store.write() as connection:
                    broker = BrokerPulse(connected=connected)
                    write_pulse(connection, IngestPulse(mqtt=broker), bench.now.utc_ms, EPOCH_MS)
            if heard and bench.second % 30 == 0:
                bench.appender.append([(series, bench.now.utc_ms, 50.0, 0) for series in bench.series.values()])
            bench.turn()
            bench.send()

    turns(60, connected=True, heard=True)
    # Nothing comes any more, and a while passes until the connection is found dead.
    turns(120, connected=True, heard=False)
    turns(400, connected=False, heard=False)
    turns(450, connected=True, heard=False)
    turns(600, connected=True, heard=True)
    assert bench.subjects() == [
        "ana: MEDIUM PRIORITY: leeside broker, not responding for 1 min 40 s",
        "ana: BACK TO NORMAL after: leeside broker, not responding for 1 min 40 s",
    ]


def test_a_clock_that_is_wrong_is_an_alarm_and_alarms_go_on(bench: Bench) -> None:
    for _ in range(15):
        with bench.store.write() as connection:
            pulse = IngestPulse(mqtt=BrokerPulse(connected=True), clock="unknown")
            write_pulse(connection, pulse, bench.now.utc_ms, EPOCH_MS)
        bench.reading(0.5, quality_code(Quality.UNCERTAIN, Reason.CLOCK))
        bench.turn(10.0)
    assert {subject.split(": ", 1)[1] for subject in bench.subjects()} == {
        "HIGH PRIORITY: K1 pressure 3.4 kPa, below 5 kPa",
        "MEDIUM PRIORITY: leeside clock, not right for 1 min 40 s",
    }


def test_readings_are_judged_on_after_the_clock_was_set_and_times_were_moved_back(bench: Bench) -> None:
    bench.reading(12.0)
    bench.turn()
    # What comes next is an hour earlier by the clock that is right now.
    with bench.store.write() as connection:
        set_cursor(connection, DATED, 1)
    bench.reading(0.5, ago_s=3600.0)
    bench.turn()
    for _ in range(3):
        bench.reading(0.5, ago_s=3600.0)
        bench.turn(5.0)
    assert len(bench.subjects()) == 2


@pytest.mark.parametrize("steps", [(-3600.0,), (86_400.0, 0.0)], ids=["an hour back", "a day ahead and right again"])
def test_a_clock_that_is_set_makes_no_message_and_hides_none(bench: Bench, steps: tuple[float, ...]) -> None:
    def live(connected: bool = True, reading: bool = True) -> None:
        bench.ingest_lives(connected)
        if reading:
            bench.reading(12.0)
        bench.turn(10.0)

    for _ in range(6):
        live()
    for off_s in steps:
        bench.clock_is_off_s = off_s
        for _ in range(20):
            live()
    assert bench.subjects() == []
    for restart in (False, True):
        if restart:
            bench.restart()
        for _ in range(15):
            live(connected=False)
        assert bench.subjects()[-1] == "ben: MEDIUM PRIORITY: leeside broker, not responding for 1 min 40 s"
        bench.send()
        live()
        bench.send()
        for _ in range(31):
            live(reading=False)
        assert bench.subjects()[-1].startswith("ben: MEDIUM PRIORITY: K1 pressure, no data for ")
        bench.send()
        live()
        bench.send()


def _notes(bench: Bench) -> list[str]:
    return [subject for subject in bench.subjects() if "NOTE" in subject]


def test_the_pulse_follows_that_of_ingest_and_does_not_wait_for_a_dead_one(bench: Bench) -> None:
    def pulse_ms() -> int:
        pulse = pulses(bench.store).alerts
        assert pulse is not None
        return pulse.at_ms

    bench.turn()
    began_ms = pulse_ms()
    bench.ingest_lives()
    bench.turn()
    assert pulse_ms() == began_ms  # too soon after the last one
    bench.turn(PULSE_S - 1)
    assert pulse_ms() == began_ms
    bench.ingest_lives()
    bench.turn(0.2)
    followed_ms = pulse_ms()
    assert followed_ms - began_ms == 1000 * PULSE_S + 200
    bench.turn(PULSE_S + 1)
    assert pulse_ms() == followed_ms
    bench.turn()
    assert pulse_ms() - followed_ms == 1000 * (PULSE_S + 2)


def test_place_and_pulse_are_not_kept_at_every_turn(bench: Bench) -> None:
    bench.turn()
    first = pulses(bench.store).alerts
    assert first is not None
    bench.reading(12.0)
    bench.turn()
    assert pulses(bench.store).alerts == first
    bench.turn(17.0)
    later = pulses(bench.store).alerts
    assert later is not None
    assert later.at_ms > first.at_ms
    assert cursor(bench.store, "turn") == 1


def test_that_a_wrong_future_was_forgotten_is_reported_once(bench: Bench) -> None:
    bench.reading(12.0)
    bench.turn()
    with bench.store.write() as connection:
        set_cursor(connection, KNOWN, 4_102_444_800_000)
    forget_future(bench.store, bench.now.utc_ms, "boot-1")
    for _ in range(3):
        bench.turn()
        bench.restart()
    assert _notes(bench) == [f"{who}: NOTE: the machine's clock was ahead and is right again" for who in ("ana", "ben")]
    assert "up to 2100-01-01" in recent_messages(bench.store)[0].body
