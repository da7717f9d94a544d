"""The ingest daemon notices when the alerts daemon stops, and says so where another program can see it."""

from __future__ import annotations

import logging
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from brokers import Mosquitto, broker_address

from ingest.alerts_watch import AlertsWatch
from ingest.machine_clock import EvenTime
from ingest.pulse import RESPONDS_S, AlertsPulse, Beat, Pulse
from ingest.sources.retained import publish_retained

BOOT = "a boot"
NOW_MS = 1_795_631_400_000


def _pulse(mono: float) -> Pulse[AlertsPulse]:
    return Pulse(NOW_MS, 1, NOW_MS, AlertsPulse(), Beat(1, EvenTime(BOOT, mono)))


class Broker:
    """Takes what is published, or says why it cannot."""

    def __init__(self) -> None:
        self.payloads: list[bytes] = []
        self.trouble = ""

    def publish(self, payload: bytes) -> str:
        self.payloads.append(payload)
        return self.trouble


def _look(watch: AlertsWatch, pulse: Pulse[AlertsPulse] | None, mono: float) -> None:
    watch.look(pulse, NOW_MS, EvenTime(BOOT, mono), mono)
    watch.join(10.0)


def test_a_daemon_that_stops_is_logged_and_kept_at_the_broker(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO)
    broker = Broker()
    watch = AlertsWatch(broker.publish)
    _look(watch, _pulse(100.0), 101.0)
    _look(watch, _pulse(100.0), 101.0 + RESPONDS_S)
    _look(watch, _pulse(100.0), 116.0 + RESPONDS_S)
    _look(watch, _pulse(200.0), 201.0)
    assert broker.payloads == [b"online", b"offline", b"online"]
    said = [record.getMessage() for record in caplog.records]
    assert said == [
        "the alerts daemon does not respond: no limit is watched, and no message goes out",
        "the alerts daemon responds again",
    ]


def test_a_daemon_that_never_ran_is_not_missed() -> None:
    broker = Broker()
    _look(AlertsWatch(broker.publish), None, 100.0)
    assert broker.payloads == []


def test_a_broker_that_is_away_is_asked_again_with_the_next_pulse() -> None:
    broker = Broker()
    watch = AlertsWatch(broker.publish)
    broker.trouble = "away"
    _look(watch, _pulse(100.0), 101.0)
    broker.trouble = ""
    _look(watch, _pulse(100.0), 102.0)
    _look(watch, _pulse(100.0), 103.0)
    assert broker.payloads == [b"online", b"online"]


def test_an_unexpected_error_is_logged_once_with_its_trace_and_it_goes_on(caplog: pytest.LogCaptureFixture) -> None:
    published: list[bytes] = []

    def publish(payload: bytes) -> str:
        published.append(payload)
        if len(published) <= 3:
            raise RuntimeError(f"try {len(published)}")
        return ""

    watch = AlertsWatch(publish)
    for second in range(6):
        _look(watch, _pulse(100.0), 101.0 + second)
    assert published == [b"online"] * 4
    (traced,) = [record for record in caplog.records if record.exc_info]
    assert traced.exc_info is not None and str(traced.exc_info[1]) == "try 1"


def test_without_a_broker_it_is_only_logged(caplog: pytest.LogCaptureFixture) -> None:
    _look(AlertsWatch(None), _pulse(100.0), 1000.0)
    assert "does not respond" in caplog.text


def test_a_certificate_that_is_gone_is_said_and_not_raised() -> None:
    usual = broker_address(1)
    address = replace(usual, settings=usual.settings.model_copy(update={"tls": True}), ca_file=Path("/no"))
    assert publish_retained(address, "a/b", b"", 5.0) == "The file [mqtt] ca_file = '/no' does not exist."


def test_the_state_is_retained_for_whoever_comes_later(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as broker:
        address = broker_address(broker.port)
        watch = AlertsWatch(lambda payload: publish_retained(address, "leeside/x/alerts", payload, 10.0))
        _look(watch, _pulse(100.0), 1000.0)
        command = ["mosquitto_sub", "-p", str(broker.port), "-t", "leeside/+/alerts", "-C", "1", "-W", "10"]
        assert subprocess.run(command, capture_output=True, text=True, check=True).stdout == "offline\n"
