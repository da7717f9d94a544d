"""A visit at a real broker: what it hears, what it is refused, and that it leaves no trace."""

from __future__ import annotations

import json
import queue
from collections.abc import Iterator
from pathlib import Path

import pytest
from brokers import Amqtt, Mosquitto, free_port
from eventually import eventually
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from ingest.backoff import Backoff
from ingest.cellar import MqttSettings
from ingest.errors import SourceError
from ingest.sources.broker_address import BrokerAddress
from ingest.sources.sample import Sample
from ingest.sources.visit import TrialConnection, TrialResult, filter_problem, guest_address, knock

DYNAMIC_SECURITY = next(Path("/usr/lib").glob("*/mosquitto_dynamic_security.so"), Path("/usr/lib/no-such-plugin"))


def address(port: int, **more: object) -> BrokerAddress:
    settings = MqttSettings.model_validate({"host": "127.0.0.1", "port": port, **more})
    return guest_address(settings, {"SECRET": "opensesame"}, Path("/srv/cellar"))


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path) as running:
        yield running


class Guest:
    def __init__(self, at: BrokerAddress, *topics: str) -> None:
        self.samples: queue.Queue[Sample] = queue.Queue()
        self.told: list[str] = []
        self.visit = TrialConnection(
            address=at,
            topics=topics or ("#",),
            deliver=self.samples.put,
            tell=self._tell,
            clock=lambda: 7,
            patience=Backoff(0.02, 0.05),
        )

    def _tell(self, result: TrialResult) -> None:
        self.told.append(result.error or f"granted {sorted(result.granted)} refused {sorted(result.refused)}")

    def __enter__(self) -> Guest:
        self.visit.start()
        return self

    def __exit__(self, *_: object) -> None:
        assert self.visit.stop()


def test_a_visit_hears_all_and_marks_what_was_retained(broker: Mosquitto) -> None:
    broker.publish("k1/old", "1", retain=True)
    with Guest(address(broker.port)) as guest:
        old = guest.samples.get(timeout=10)
        assert (old.address, old.payload, old.retained, old.ticket) == ("k1/old", b"1", True, None)
        broker.publish("k1/new", "2", qos=1)
        new = guest.samples.get(timeout=10)
        assert (new.address, new.payload, new.retained, new.arrival_ms) == ("k1/new", b"2", False, 7)
        assert guest.told == ["granted ['#'] refused []"]


def test_a_visit_leaves_no_session_and_says_nothing(tmp_path: Path) -> None:
    with Mosquitto(tmp_path, options=["log_type all"]) as broker:
        with Guest(address(broker.port)) as guest:
            eventually(lambda: guest.told)
        knock(address(broker.port), ["k1/p"])
        broker.publish("k1/p", "after")
        eventually(lambda: broker.log().count("Received DISCONNECT from leeside-look-") == 2)
        log = broker.log()
    connects = [entry for entry in log.splitlines() if "New client connected" in entry and "leeside-look-" in entry]
    assert len(connects) == 2
    assert all("c1" in entry for entry in connects)  # c1: a clean start
    assert len({entry.split(" as ")[1].split(" ")[0] for entry in connects}) == 2
    assert "Received PUBLISH from leeside-look-" not in log
    assert "will" not in "".join(connects).lower()
    assert "Sending PUBLISH to leeside-look-" not in log.split("Received DISCONNECT")[-1]


def test_a_visit_comes_back_when_the_broker_does(broker: Mosquitto) -> None:
    with Guest(address(broker.port)) as guest:
        eventually(lambda: len(guest.told) == 1)
        broker.stop()
        eventually(lambda: len(guest.told) >= 2)
        broker.start()
        eventually(lambda: guest.told[-1].startswith("granted"))
        broker.publish("k1/p", "5")
        assert guest.samples.get(timeout=10).payload == b"5"


def test_a_broker_that_knows_no_mqtt_5_is_visited_all_the_same() -> None:
    with Amqtt() as port:
        assert knock(address(port), ["k1/p"]).protocol == "MQTT 3.1.1"


def test_nobody_listens() -> None:
    port = free_port()
    assert "Nothing listens at" in knock(address(port), ["a"]).error
    with Guest(address(port)) as guest:
        eventually(lambda: guest.told)
    assert guest.told == [
        f"Nothing listens at 127.0.0.1:{port}: is the broker running, and is the port right? leeside goes on trying."
    ]


def test_a_host_that_does_not_exist() -> None:
    settings = MqttSettings.model_validate({"host": "nowhere.invalid"})
    assert "leads nowhere" in knock(guest_address(settings, {}, Path()), ["a"]).error


def test_right_and_wrong_passwords(tmp_path: Path) -> None:
    with Mosquitto(tmp_path, password=("ana", "opensesame")) as broker:
        right = knock(address(broker.port, user="ana", password_env="SECRET"), ["k1/p"])
        assert (right.error, right.granted) == ("", {"k1/p": 1})
        settings = MqttSettings.model_validate(
            {"host": "127.0.0.1", "port": broker.port, "user": "ana", "password_env": "SECRET"}
        )
        wrong = knock(guest_address(settings, {"SECRET": "no"}, Path()), ["k1/p"])
        # Mosquitto answers "not authorized" (0x87), whatever was wrong.
        assert "does not let user 'ana'" in wrong.error
        assert (wrong.protocol, wrong.granted) == ("", {})


def test_a_missing_password_is_told() -> None:
    with pytest.raises(SourceError, match="NO_SUCH"):
        address(1883, user="ana", password_env="NO_SUCH")


def dynamic_security(folder: Path) -> list[str]:
    """Lines of mosquitto.conf: everybody may subscribe below k1/ and nowhere else."""
    topics = [{"acltype": "subscribePattern", "topic": "k1/#", "priority": 0, "allow": True}]
    rules = {
        "defaultACLAccess": {"publishClientSend": True, "publishClientReceive": True, "subscribe": False},
        "clients": [],
        "groups": [{"groupname": "all", "roles": [{"rolename": "below-k1"}]}],
        "roles": [{"rolename": "below-k1", "acls": topics}],
        "anonymousGroup": "all",
    }
    file = folder / "rules.json"
    file.write_text(json.dumps(rules))
    file.chmod(0o600)
    return [f"plugin {DYNAMIC_SECURITY}", f"plugin_opt_config_file {file}"]


def test_a_refused_topic_is_told_beside_the_granted_one(tmp_path: Path) -> None:
    with Mosquitto(tmp_path, options=dynamic_security(tmp_path)) as broker:
        result = knock(address(broker.port), ["k1/p", "k2/p"])
        assert (result.granted, list(result.refused)) == ({"k1/p": 1}, ["k2/p"])
        assert "authorized" in result.refused["k2/p"].lower()
        with Guest(address(broker.port), "k1/p", "k2/p") as guest:
            eventually(lambda: guest.told)
            assert guest.told == ["granted ['k1/p'] refused ['k2/p']"]


def test_an_access_file_of_mosquitto_grants_and_then_keeps_back(tmp_path: Path) -> None:
    """What docs/wiring.md says of it; if this changes, the page must."""
    rules = tmp_path / "rules"
    rules.write_text("topic read k1/#\ntopic write #\n")
    rules.chmod(0o600)
    with (
        Mosquitto(tmp_path, options=[f"acl_file {rules}"]) as broker,
        Guest(address(broker.port), "k2/p", "k1/p") as guest,
    ):
        eventually(lambda: guest.told)
        assert guest.told == ["granted ['k1/p', 'k2/p'] refused []"]
        broker.publish("k2/p", "kept back")
        broker.publish("k1/p", "let through")
        assert guest.samples.get(timeout=10).payload == b"let through"


@pytest.mark.parametrize("text", ["#", "+", "a/#", "a/+/b", "/", "a b", "/+/#"])
def test_filters_that_are(text: str) -> None:
    assert filter_problem(text) == ""


@pytest.mark.parametrize("text", ["", "a/#/b", "a#", "#/a", "a+", "a/b+/c", "a\0b", "a" * 65536])
def test_filters_that_are_not(text: str) -> None:
    assert filter_problem(text) != ""


@given(st.text("a/+#", max_size=8))
def test_what_passes_as_a_filter_the_client_library_takes_too(text: str) -> None:
    client = Client(CallbackAPIVersion.VERSION2)
    try:
        client.subscribe(text)
    except ValueError:
        assert filter_problem(text)
    else:
        assert not filter_problem(text)
