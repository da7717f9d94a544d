"""The state of the alarms kept at a real broker, for a lamp or a siren."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from brokers import Mosquitto, broker_address
from cellar_text import BASE, cellar, table
from eventually import eventually
from kept_topics import kept

from alerts.channels.lamp import STALE_S, Lamp
from alerts.channels.lamp_state import LampState, lamp_states, payload_of
from alerts.watch import State
from ingest.cellar import ChannelSettings, Priority
from ingest.errors import SourceError
from ingest.simulation.loopback import free_port
from ingest.sources.broker_address import BrokerAddress

QUIET: dict[Priority, LampState] = {"high": LampState(), "medium": LampState(), "low": LampState()}


def settings(payload: str = "plain") -> ChannelSettings:
    return cellar(BASE, table("[[channel]]", id="lamp", kind="mqtt", topic="cellar/alarm", payload=payload)).channel[0]


def address(port: int) -> BrokerAddress:
    return broker_address(port, client_id="leeside-test-lamp")


@contextmanager
def shining(lamp: Lamp) -> Iterator[Lamp]:
    lamp.start()
    try:
        yield lamp
    finally:
        lamp.stop()


def test_the_broker_keeps_the_worst_of_each_priority_for_whoever_comes_later(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as broker:
        with shining(Lamp(settings(), lambda: address(broker.port))) as lamp:
            lamp.show({**QUIET, "high": LampState(1, 1), "medium": LampState(2, 0)})
            eventually(lambda: not lamp.trouble)
            with kept(broker.port) as seen:
                eventually(lambda: seen == {"presence": "online", "high": "on", "medium": "seen", "low": "off"})
                lamp.show({**QUIET, "medium": LampState(2, 0)})
                eventually(lambda: seen["high"] == "off" and not lamp.trouble)
        with kept(broker.port) as seen:
            eventually(lambda: seen.get("presence") == "offline")
            eventually(lambda: seen.get("medium") == "seen")  # kept, and presence says that it is of the past


def test_a_broker_that_comes_back_gets_the_present_state(tmp_path: Path) -> None:
    broker = Mosquitto(tmp_path)
    with broker, shining(Lamp(settings("json"), lambda: address(broker.port))) as lamp:
        lamp.show(QUIET)
        eventually(lambda: not lamp.trouble)
        broker.kill()
        eventually(lambda: lamp.trouble)
        lamp.show({**QUIET, "high": LampState(2, 1)})
        broker.start()
        eventually(lambda: not lamp.trouble)
        with kept(broker.port) as seen:
            eventually(lambda: seen.get("high") == '{"state": "on", "standing": 2, "unacknowledged": 1}')


def test_a_state_that_nobody_confirms_any_more_becomes_unknown_but_no_alarm_goes_out(tmp_path: Path) -> None:
    """The turn hangs or fails while its process and the connection live."""
    clock = [1000.0]
    shown: dict[Priority, LampState] = {"high": LampState(1, 1), "medium": LampState(1, 0), "low": LampState()}
    with (
        Mosquitto(tmp_path) as broker,
        kept(broker.port) as seen,
        shining(Lamp(settings(), lambda: address(broker.port), lambda: clock[0])) as lamp,
    ):
        lamp.show(shown)
        eventually(lambda: seen == {"presence": "online", "high": "on", "medium": "seen", "low": "off"})
        clock[0] += STALE_S + 1.0
        eventually(lambda: seen == {"presence": "online", "high": "on", "medium": "unknown", "low": "unknown"})
        lamp.show(shown)
        eventually(lambda: seen == {"presence": "online", "high": "on", "medium": "seen", "low": "off"})


def test_an_unexpected_error_is_logged_once_with_its_trace_and_the_lamp_goes_on(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    tries: list[int] = []
    with Mosquitto(tmp_path) as broker:

        def find() -> BrokerAddress:
            tries.append(1)
            if len(tries) <= 3:
                raise RuntimeError(f"try {len(tries)}")
            return address(broker.port)

        lamp = Lamp(settings(), find)
        lamp.show(QUIET)
        with shining(lamp):
            eventually(lambda: len(tries) > 3 and not lamp.trouble, within_s=60.0)
    (traced,) = [record for record in caplog.records if record.exc_info]
    assert traced.getMessage() == "channel lamp failed; it goes on"
    assert traced.exc_info is not None and str(traced.exc_info[1]) == "try 1"


def test_what_keeps_it_dark_is_said() -> None:
    port = free_port()

    def missing() -> BrokerAddress:
        raise SourceError("[mqtt] password_env: the environment has no P, or it is empty")

    gone = replace(address(port), settings=address(port).settings.model_copy(update={"tls": True}), ca_file=Path("/no"))
    with (
        shining(Lamp(settings(), lambda: address(port))) as lamp,
        shining(Lamp(settings(), missing)) as other,
        shining(Lamp(settings(), lambda: gone)) as uncertified,
    ):
        for each in (lamp, other, uncertified):
            each.show(QUIET)
        eventually(lambda: uncertified.trouble == "The file [mqtt] ca_file = '/no' does not exist.")
        eventually(lambda: lamp.trouble.startswith(f"Nothing listens at 127.0.0.1:{port}"))
        eventually(lambda: other.trouble.startswith("[mqtt] password_env"))


def test_a_wrong_password_is_said(tmp_path: Path) -> None:
    with Mosquitto(tmp_path, password=("ana", "opensesame")) as broker:
        wrong = broker_address(broker.port, client_id="leeside-test-lamp", user="ana", password="wrong")
        with shining(Lamp(settings(), lambda: wrong)) as lamp:
            lamp.show(QUIET)
            eventually(lambda: "does not let user 'ana'" in lamp.trouble)


def test_states_are_counted_by_priority_and_what_is_muted_is_left_out() -> None:
    limits = {limit.key: limit for limit in cellar(BASE).limits}
    air = next(limit for limit in limits.values() if limit.priority == "high" and limit.kind == "low")
    other = next(limit for limit in limits.values() if limit.priority == "high" and limit is not air)
    cases = {
        (State.UNACKNOWLEDGED, State.ACKNOWLEDGED): LampState(2, 1),
        (State.ACKNOWLEDGED, State.RETURNED): LampState(1, 0),
        (State.SHELVED, State.SUPPRESSED): LampState(0, 0),
        (State.NORMAL, State.OUT_OF_SERVICE): LampState(0, 0),
    }
    for (first, second), expected in cases.items():
        states = [(air.key, first), (other.key, second), ("gone/pressure/low", State.UNACKNOWLEDGED)]
        assert lamp_states(states, limits)["high"] == expected
    words = {
        LampState(2, 1): "on",
        LampState(1, 0): "seen",
        LampState(): "off",
        LampState(2, 1, known=False): "on",
        LampState(1, 0, known=False): "unknown",
        LampState(known=False): "unknown",
    }
    assert {state: payload_of(state, "plain").decode() for state in words} == words
    unknown = json.loads(payload_of(LampState(1, 0, known=False), "json"))
    assert unknown == {"state": "unknown", "standing": None, "unacknowledged": None}
