"""The pulse of each daemon in the store, also as another version of leeside writes it."""

from __future__ import annotations

import json
import os

from a_store import NOW

from ingest.machine_clock import EvenTime
from ingest.pulse import AlertsPulse, Beat, BrokerPulse, IngestPulse, LinePulse, Pulse, Pulses, RetainedSample
from ingest.store import Store
from ingest.store.pulse_rows import pulses, write_pulse


def _write(store: Store, *bodies: IngestPulse | AlertsPulse, at_ms: int = NOW) -> None:
    with store.write() as connection:
        for body in bodies:
            write_pulse(connection, body, at_ms, NOW - 5)


def _stored(store: Store) -> object:
    return json.loads(store.connection.execute("SELECT body FROM pulse WHERE role = 'ingest'").fetchone()[0])


def _ingest(store: Store, **body: object) -> IngestPulse:
    """The pulse of an ingest daemon of another version, as it is read."""
    with store.write() as connection:
        connection.execute(
            "INSERT INTO pulse (role, at_ms, pid, started_ms, body) VALUES ('ingest', 1, 2, 3, ?)", (json.dumps(body),)
        )
    pulse = pulses(store).ingest
    assert pulse is not None
    assert pulse.as_json().keys() == body.keys()
    return pulse.body


def test_each_daemon_has_one_pulse_its_newest(store: Store) -> None:
    assert pulses(store) == (None, None)
    newest = IngestPulse(samples=2, mqtt=None, retained={"k1": RetainedSample(found="klet ž", at_ms=NOW)})
    _write(store, IngestPulse(samples=1), AlertsPulse())
    _write(store, newest, at_ms=NOW + 10)
    assert pulses(store) == Pulses(
        ingest=Pulse(NOW + 10, os.getpid(), NOW - 5, newest, Beat(2)),
        alerts=Pulse(NOW, os.getpid(), NOW - 5, AlertsPulse(), Beat(1)),
    )


def test_what_is_not_known_is_not_written(store: Store) -> None:
    body = IngestPulse(samples=2, mqtt=BrokerPulse(connected=True), lines={"bench": LinePulse(open=False)})
    _write(store, body)
    stored = {"samples": 2, "mqtt": {"connected": True}, "lines": {"bench": {"open": False}}}
    assert _stored(store) == {"beat": {"counter": 1}, **stored}
    pulse = pulses(store).ingest
    assert pulse is not None
    assert pulse.as_json() == stored


def test_the_pulse_of_an_older_version_takes_defaults(store: Store) -> None:
    body = _ingest(store, samples=3, mqtt={"connected": True})
    assert (body.samples, body.clock, body.lines, body.mirror, body.disk_low) == (3, "right", {}, None, False)
    assert body.mqtt == BrokerPulse(connected=True, subscribed=True)


def test_what_a_newer_version_adds_is_kept_and_what_makes_no_sense_takes_its_default(store: Store) -> None:
    body = _ingest(store, samples="many", lines=["bench"], mqtt={"connected": "perhaps", "quota": 7}, tanks={"T1": 1})
    assert (body.samples, body.lines) == (0, {})
    assert body.mqtt is not None
    assert (body.mqtt.connected, body.mqtt.model_extra) == (False, {"quota": 7})
    assert body.model_extra == {"tanks": {"T1": 1}}


def test_text_that_is_not_unicode_spoils_no_pulse(store: Store) -> None:
    body = IngestPulse(lines={"bench": LinePulse(open=True, last_error="no file /dev/tty\udcff")})
    _write(store, body)
    pulse = pulses(store).ingest
    assert pulse is not None
    assert pulse.body.lines["bench"].open


def test_a_pulse_carries_a_counter_and_the_even_time_of_its_boot(store: Store) -> None:
    for mono in (7.0, 17.25):
        with store.write() as connection:
            write_pulse(connection, IngestPulse(), NOW, NOW, EvenTime("boot-1", mono))
    pulse = pulses(store).ingest
    assert pulse is not None
    assert pulse.beat == Beat(2, EvenTime("boot-1", 17.25))
    assert pulse.as_json() == {}


def test_whether_a_daemon_responds_is_asked_of_the_even_clock_where_it_is_known() -> None:
    year_ms = 365 * 86_400_000
    known = Pulse(NOW, 1, NOW, AlertsPulse(), Beat(1, EvenTime("boot-1", 100.0)))
    for wall_ms in (NOW - year_ms, NOW, NOW + year_ms):
        assert known.responds(wall_ms, EvenTime("boot-1", 134.0))
        assert not known.responds(wall_ms, EvenTime("boot-1", 136.0))
        assert not known.responds(wall_ms, EvenTime("boot-2", 101.0)), "it ended with its boot"
    unknown = known._replace(beat=Beat())
    assert unknown.responds(NOW + 34_000, EvenTime("boot-1", 500.0))
    assert not unknown.responds(NOW + year_ms, EvenTime("boot-1", 101.0))
