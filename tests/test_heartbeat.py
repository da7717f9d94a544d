"""The heartbeat: sent only while everything works that it vouches for, to a real server and a real broker."""

from __future__ import annotations

import json
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from a_store import NOW
from brokers import Mosquitto, broker_address
from cellar_text import KEG, MQTT, SITE, mail, mqtt, probe, problems, table
from hook_server import Hook, hook_server
from hypothesis import given
from hypothesis import strategies as st

from alerts.heartbeat.beats import Heartbeat
from alerts.heartbeat.works import LONGEST_TURN_S, Work, what_fails
from ingest.cellar import Cellar, parse_cellar
from ingest.machine_clock import EvenTime, even_time
from ingest.probes.binding import declarations
from ingest.pulse import AlertsPulse, HeartbeatPulse, IngestPulse
from ingest.simulation.loopback import free_port
from ingest.sources.retained import publish_retained
from ingest.store import create_or_open
from ingest.store.pulse_rows import write_pulse
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare

WELL = Work(turn_ago_s=1.0, ingest_responds=True, silent=0, heard=2)


@pytest.mark.parametrize(
    ("work", "words"),
    [
        (WELL, ""),
        (Work(turn_ago_s=61.0, ingest_responds=True, silent=0, heard=1), "61 s"),
        (Work(turn_ago_s=1.0, ingest_responds=False, silent=0, heard=1), "ingest daemon does not respond"),
        (Work(turn_ago_s=1.0, ingest_responds=True, silent=2, heard=0), "no probe is heard"),
        (Work(turn_ago_s=1.0, ingest_responds=True, silent=2, heard=1), ""),
        (Work(turn_ago_s=1.0, ingest_responds=True, silent=0, heard=0), ""),
        (Work(turn_ago_s=1.0, ingest_responds=True, silent=0, heard=1, store_trouble="full"), "no writes: full"),
        (Work(turn_ago_s=1.0, ingest_responds=True, silent=0, heard=1, undelivered=1), "1 message does not get out"),
        (Work(turn_ago_s=1.0, ingest_responds=True, silent=0, heard=1, undelivered=3), "3 messages do not get out"),
    ],
)
def test_a_heartbeat_vouches_for_readings_turns_and_messages(work: Work, words: str) -> None:
    assert words in what_fails(work)
    assert bool(what_fails(work)) == bool(words)


@given(st.floats(0, 1e6), st.booleans(), st.integers(0, 5), st.integers(0, 5), st.integers(0, 3))
def test_nothing_that_fails_is_passed_over(turn_s: float, responds: bool, silent: int, heard: int, stuck: int) -> None:
    work = Work(turn_ago_s=turn_s, ingest_responds=responds, silent=silent, heard=heard, undelivered=stuck)
    is_well = turn_s <= LONGEST_TURN_S and responds and not (silent and not heard) and not stuck
    assert (what_fails(work) == "") == is_well


class Machine:
    """A cellar on disk whose daemons work, with a heartbeat of its own."""

    def __init__(self, folder: Path, heartbeat: str, broker: str = MQTT) -> None:
        text = "\n".join((SITE, broker, KEG, probe(unit="kPa"), mail(), heartbeat))
        self.cellar: Cellar = parse_cellar(text, file="cellar.toml", base=folder)
        self.store = create_or_open(self.cellar.store_path, NOW)
        self.series = declare(self.store, declarations(self.cellar), NOW)["k1-pressure"]
        self.now_ms = NOW
        self.turn_ago_s = 1.0
        self.even: EvenTime = even_time()
        self.heartbeat = Heartbeat(
            self.cellar, {"HEARTBEAT_URL": "ftp://x"}, lambda: self.turn_ago_s, lambda: self.now_ms, lambda: self.even
        )

    def work(self) -> None:
        """Let readings come and both daemons leave their pulse."""
        Appender(self.store).append([(self.series, self.now_ms, 55.0, 0)])
        with self.store.write() as connection:
            write_pulse(connection, IngestPulse(), self.now_ms, NOW)
            write_pulse(connection, AlertsPulse(), self.now_ms, NOW)

    def beat(self) -> HeartbeatPulse:
        assert self.cellar.heartbeat is not None
        return self.heartbeat.beat(self.cellar.heartbeat)


@pytest.fixture
def hook() -> Iterator[Hook]:
    with hook_server(Hook()) as running:
        yield running


def test_it_is_posted_while_all_works_and_held_back_while_not(tmp_path: Path, hook: Hook) -> None:
    machine = Machine(tmp_path, table("[heartbeat]", url=hook.url))
    machine.work()
    assert machine.beat() == HeartbeatPulse(sent_ms=NOW)
    (post,) = hook.posts
    assert post.json == {"site": "Mill Lane cellar", "at": "2026-11-25T18:30:00.000Z", "every_s": 300.0}
    machine.turn_ago_s = 1000.0
    held = machine.beat()
    assert (held.sent_ms, held.held_back) == (NOW, "limits have not been judged for 1000 s")
    machine.turn_ago_s = 1.0
    machine.now_ms += 3_600_000
    assert machine.beat().held_back == "the ingest daemon does not respond"
    assert len(hook.posts) == 1
    machine.work()
    assert machine.beat().sent_ms == machine.now_ms
    assert len(hook.posts) == 2


def test_a_server_that_does_not_take_it_is_named_without_its_path(tmp_path: Path, hook: Hook) -> None:
    machine = Machine(tmp_path, table("[heartbeat]", url=hook.url))
    machine.work()
    hook.status = 500
    pulse = machine.beat()
    assert (pulse.sent_ms, pulse.last_error) == (None, "the server answered 500")
    hook.status = 302
    hook.headers = {"Location": "http://elsewhere.example/"}
    assert machine.beat().last_error == "the server answered 302"
    assert "geheim" not in machine.beat().last_error


def test_a_url_from_the_environment_that_is_none_is_said_without_it(tmp_path: Path) -> None:
    machine = Machine(tmp_path, table("[heartbeat]", url_env="HEARTBEAT_URL"))
    machine.work()
    error = machine.beat().last_error
    assert "url_env" in error
    assert "ftp://x" not in error


def test_the_broker_keeps_the_newest(tmp_path: Path) -> None:
    folder = tmp_path / "broker"
    folder.mkdir()
    with Mosquitto(folder) as broker:
        machine = Machine(tmp_path, table("[heartbeat]", topic="cellar/heartbeat"), mqtt(port=broker.port))
        machine.work()
        assert machine.beat() == HeartbeatPulse(sent_ms=NOW)
        read = subprocess.run(
            ["mosquitto_sub", "-p", str(broker.port), "-t", "cellar/heartbeat", "-C", "1", "-W", "10"],
            capture_output=True,
            text=True,
            check=True,
        )
        assert json.loads(read.stdout)["at"] == "2026-11-25T18:30:00.000Z"


def test_a_way_that_cannot_be_gone_does_not_keep_back_the_other(tmp_path: Path) -> None:
    folder = tmp_path / "broker"
    folder.mkdir()
    with Mosquitto(folder) as broker:
        both = table("[heartbeat]", url_env="NOT_SET", topic="cellar/heartbeat")
        machine = Machine(tmp_path, both, mqtt(port=broker.port))
        machine.work()
        assert "NOT_SET" in machine.beat().last_error
        command = ["mosquitto_sub", "-p", str(broker.port), "-t", "cellar/heartbeat", "-C", "1", "-W", "10"]
        assert "Mill Lane" in subprocess.run(command, capture_output=True, text=True, check=True).stdout


def test_a_broker_that_is_not_there_or_says_nothing_costs_no_more_than_the_time_allowed() -> None:
    away = publish_retained(broker_address(free_port()), "a", b"b", 1.0)
    assert "127.0.0.1" in away
    with socket.create_server(("127.0.0.1", 0)) as deaf:
        port = deaf.getsockname()[1]
        assert "has not acknowledged it within 0.5 s" in publish_retained(broker_address(port), "a", b"b", 0.5)


@pytest.mark.parametrize(
    ("heartbeat", "words"),
    [
        (table("[heartbeat]"), "say where the heartbeat goes"),
        (table("[heartbeat]", url="https://x.example", url_env="X"), "url says it already"),
        (table("[heartbeat]", url="http://x.example/"), "would cross the network in the clear"),
        (table("[heartbeat]", url="ftp://x.example/"), "http:// or https://"),
        (table("[heartbeat]", topic="a/+"), "a topic without"),
        (table("[heartbeat]", topic="a", every="1 s"), "must be from 10 to 86400 s"),
    ],
)
def test_a_heartbeat_that_makes_no_sense_is_refused(heartbeat: str, words: str) -> None:
    assert words in "\n".join(problems(SITE, MQTT, KEG, heartbeat))


def test_a_topic_needs_a_broker() -> None:
    assert "needs a broker" in "\n".join(problems(SITE, KEG, table("[heartbeat]", topic="a")))
