"""A visit at a broker that leaves no trace: to listen for a while, or only to see whether it lets us in.

A client id of its own drawn anew each time, no session that is kept, no last will, nothing published: the running
leeside, its session and its queue stay as they are.
"""

from __future__ import annotations

__all__ = ["TrialConnection", "TrialResult", "filter_problem", "guest_address", "knock"]

import secrets
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from ingest.backoff import Backoff
from ingest.cellar import MqttSettings
from ingest.sources.broker_address import BrokerAddress, connection_words, refusal_words, wire_words
from ingest.sources.sample import Sample

ANSWER_TIMEOUT_S = 10.0  # for the TCP connection, and again for the broker's answers; common practice, no source
# Some brokers that know no MQTT 5 say nothing at all to it; the other version is then tried sooner.
_FIRST_ANSWER_S = 3.0
_TURN_S = 0.2  # the stop event is looked at this often
_PROTOCOL_NAMES = {paho.MQTTv5: "MQTT 5", paho.MQTTv311: "MQTT 3.1.1"}
_LONGEST_TOPIC_BYTES = 65535  # MQTT 5.0, section 1.5.4


@dataclass(slots=True)
class TrialResult:
    """What came of one connection.

    protocol: "MQTT 5" or "MQTT 3.1.1" once the broker has let us in, else ""; granted: topic filter -> QoS;
    refused: topic filter -> the broker's reason; error: why it failed or ended, in plain words, "" for none.
    """

    protocol: str = ""
    granted: dict[str, int] = field(default_factory=dict)
    refused: dict[str, str] = field(default_factory=dict)
    error: str = ""


def filter_problem(text: str) -> str:
    """What is wrong with a topic filter, "" if nothing (MQTT 5.0, section 4.7)."""
    if not text or "\0" in text or len(text.encode("utf-8", "surrogatepass")) > _LONGEST_TOPIC_BYTES:
        return "must have 1 to 65535 bytes and no NUL"
    levels = text.split("/")
    if any("#" in level and (level != "#" or number < len(levels)) for number, level in enumerate(levels, 1)):
        return '"#" stands alone at the end, such as "cellar/#"'
    if any("+" in level and level != "+" for level in levels):
        return '"+" stands for one whole level, such as "cellar/+/pressure"'
    return ""


def guest_address(settings: MqttSettings, environ: Mapping[str, str], base: Path) -> BrokerAddress:
    """The broker of the cellar file under a client id that nobody else has, without a session that is kept.

    The id has 23 characters, the most that each broker must take (MQTT 3.1.1, section 3.1.3.1). base: the cellar file's
    folder. Raises SourceError for a password that cannot be had.
    """
    return BrokerAddress(
        host=settings.host,
        port=settings.port,
        user=settings.user,
        password=settings.password(environ, base),
        tls=settings.tls,
        ca_file=None if settings.ca_file is None else base / settings.ca_file,
        client_id=f"leeside-look-{secrets.token_hex(5)}",
        session_expiry_s=0,
    )


def knock(address: BrokerAddress, topics: Sequence[str], timeout_s: float = ANSWER_TIMEOUT_S) -> TrialResult:
    """Connect, subscribe to each topic, hear the answers, leave.

    address: one of ``guest_address``. timeout_s: seconds for each answer.
    """
    result = TrialResult()
    for protocol in _protocols(address):
        result = TrialResult()
        deadline_s = (
            min(timeout_s, _FIRST_ANSWER_S) if protocol == paho.MQTTv5 and address.version is None else timeout_s
        )
        attempt = _Attempt(address, protocol, topics, 1, result, lambda _: None, lambda: 0, time.monotonic)
        attempt.run(threading.Event(), answer_timeout_s=deadline_s, until_answered=True)
        if not attempt.worth_another_version:
            break
    return result


class TrialConnection:
    """Delivers what a broker sends until stopped; comes back when the connection is lost.

    address: one of ``guest_address``. deliver: called in the network thread with each sample. tell: called there when
    the broker has answered all subscriptions, and when the connection fails or ends for another reason than before.
    clock: UTC milliseconds. monotonic: seconds. QoS 0 is asked for, so that nothing waits for an acknowledgement.
    """

    def __init__(
        self,
        *,
        address: BrokerAddress,
        topics: Sequence[str],
        deliver: Callable[[Sample], None],
        tell: Callable[[TrialResult], None],
        clock: Callable[[], int],
        monotonic: Callable[[], float] = time.monotonic,
        patience: Backoff | None = None,
    ) -> None:
        self._address = address
        self._topics = tuple(topics)
        self._deliver = deliver
        self._tell = tell
        self._clock = clock
        self._monotonic = monotonic
        self._patience = patience or Backoff()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="visit", daemon=True)

    def start(self) -> None:
        """Start the network thread."""
        self._thread.start()

    def stop(self, timeout: float = 5.0) -> bool:
        """Leave the broker. False if the thread did not end within ``timeout`` seconds."""
        self._stop.set()
        self._thread.join(timeout)
        return not self._thread.is_alive()

    def _run(self) -> None:
        protocols = _protocols(self._address)
        said = ""
        while not self._stop.is_set():
            for protocol in protocols:
                result = TrialResult()
                attempt = _Attempt(
                    self._address, protocol, self._topics, 0, result, self._deliver, self._clock, self._monotonic
                )
                attempt.on_answered = lambda: self._tell(result)  # noqa: B023  run() below ends before the next turn
                attempt.run(self._stop, answer_timeout_s=ANSWER_TIMEOUT_S, until_answered=False)
                if result.protocol:
                    protocols = (protocol,)
                    self._patience.reset()
                    said = ""
                if not attempt.worth_another_version or self._stop.is_set():
                    break
            if not self._stop.is_set() and result.error != said:
                said = result.error
                self._tell(result)
            self._stop.wait(self._patience.next_wait_s())


def _protocols(address: BrokerAddress) -> tuple[MQTTProtocolVersion, ...]:
    if address.version is not None:
        return (paho.MQTTv311 if address.version == "3.1.1" else paho.MQTTv5,)
    return (paho.MQTTv5, paho.MQTTv311)


class _Attempt:
    """One connection, from CONNECT to its end; what came of it stands in ``result``."""

    def __init__(
        self,
        address: BrokerAddress,
        protocol: MQTTProtocolVersion,
        topics: Sequence[str],
        qos: int,
        result: TrialResult,
        deliver: Callable[[Sample], None],
        clock: Callable[[], int],
        monotonic: Callable[[], float],
    ) -> None:
        self._address = address
        self._protocol = protocol
        self._topics = list(topics)
        self._qos = qos
        self._result = result
        self._deliver = deliver
        self._clock = clock
        self._monotonic = monotonic
        self._asked: dict[int, list[str]] = {}
        self._answered = False
        self.on_answered: Callable[[], None] = lambda: None
        self.worth_another_version = False
        five = protocol == paho.MQTTv5
        self._client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=address.client_id,
            clean_session=None if five else True,
            protocol=protocol,
            reconnect_on_failure=False,
        )
        self._client.connect_timeout = ANSWER_TIMEOUT_S
        if address.user is not None:
            self._client.username_pw_set(address.user, address.password)
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_disconnect = self._on_disconnect
        self._client.on_message = self._on_message

    def run(self, stop: threading.Event, *, answer_timeout_s: float, until_answered: bool) -> None:
        """Connect and stay until ``stop``, the end of the connection or, if asked so, the last answer."""
        try:
            if self._open():
                self._turns(stop, answer_timeout_s, until_answered)
        except Exception as error:  # noqa: BLE001 - whatever the library stumbles over ends this visit and is told
            self._result.error = wire_words(error, self._address)
        finally:
            self._leave()

    def _open(self) -> bool:
        options: dict[str, Any] = {}
        if self._protocol == paho.MQTTv5:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # the library has no hint there
            properties.SessionExpiryInterval = 0
            options = {"clean_start": True, "properties": properties}
        try:
            if self._address.tls:
                self._client.tls_set(ca_certs=str(self._address.ca_file) if self._address.ca_file else None)
            self._client.connect(self._address.host, self._address.port, self._address.keep_alive_s, **options)
        except (OSError, ValueError) as error:  # ValueError: a host name that cannot be encoded
            self._result.error = connection_words(error, self._address)
            return False
        return True

    def _turns(self, stop: threading.Event, answer_timeout_s: float, until_answered: bool) -> None:
        deadline = self._monotonic() + answer_timeout_s
        while not stop.is_set() and not (self._answered and until_answered):
            if self._client.loop(_TURN_S) != paho.MQTT_ERR_SUCCESS:
                if not self._result.error:
                    self._closed_early()
                return
            if not self._answered and self._monotonic() >= deadline:
                self._silent()
                return

    def _closed_early(self) -> None:
        if self._result.protocol:
            self._result.error = f"The broker at {self._address} closed the connection, or the network broke it."
            return
        self.worth_another_version = True
        hint = "." if self._address.tls else "; does it want TLS on this port?"
        self._result.error = f"The broker at {self._address} closed the connection without an answer{hint}"

    def _silent(self) -> None:
        if self._result.protocol:
            self._result.error = f"The broker at {self._address} lets us in but does not answer the subscription."
            return
        self.worth_another_version = True
        self._result.error = (
            f"{self._address} takes the connection but does not answer: is it an MQTT broker, and is it well?"
        )

    def _leave(self) -> None:
        if self._client.socket() is not None:
            self._client.disconnect()  # without a queue of ours to flush: DISCONNECT is written at once
        wire = self._client.socket()
        if wire is not None:
            wire.close()

    def _on_connect(self, client: paho.Client, _data: Any, _flags: Any, reason: ReasonCode, _properties: Any) -> None:
        if reason.is_failure:
            self.worth_another_version = reason.value == 0x84
            self._result.error = refusal_words(reason.value, reason.getName(), self._address)
            return
        self._result.protocol = _PROTOCOL_NAMES[self._protocol]
        for topic in self._topics:
            # One each: a broker may close the connection over one that it does not like, and then it is the last asked.
            _, packet_id = client.subscribe(topic, self._qos)
            if packet_id is not None:
                self._asked[packet_id] = [topic]
        if not self._asked:
            self._answer_complete()

    def _on_subscribe(
        self, _client: paho.Client, _data: Any, packet_id: int, reasons: list[ReasonCode], _properties: Any
    ) -> None:
        for topic, reason in zip(self._asked.pop(packet_id, []), reasons, strict=False):
            if reason.is_failure:
                self._result.refused[topic] = reason.getName()
            else:
                self._result.granted[topic] = reason.value
        if not self._asked:
            self._answer_complete()

    def _answer_complete(self) -> None:
        self._answered = True
        self.on_answered()

    def _on_disconnect(
        self, _client: paho.Client, _data: Any, flags: paho.DisconnectFlags, reason: ReasonCode, _properties: Any
    ) -> None:
        if flags.is_disconnect_packet_from_server:
            self._result.error = refusal_words(reason.value, reason.getName(), self._address)

    def _on_message(self, _client: paho.Client, _data: Any, message: paho.MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            return  # no probe can have such a topic, and it could not be shown
        self._deliver(
            Sample("mqtt", topic, bytes(message.payload), self._clock(), self._monotonic(), message.retain, message.dup)
        )
