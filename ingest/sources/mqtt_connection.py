"""One connection to a broker, from CONNECT to its end.

Each connection has a client object of its own, and so its own numbering: an acknowledgement that comes too late goes
to a client whose socket is closed, and can never be sent on a later connection, where the same packet id would mean
another message. The client library's loop is driven from here and not by its own thread, because that thread ends
for good, and in silence, when something raises in it.
"""

from __future__ import annotations

__all__ = ["Connection", "ConnectionCounts", "ConnectionHandler"]

import logging
import select
import socket
import threading
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from ingest.sources.acknowledgement import AckOrder
from ingest.sources.broker_address import BrokerAddress, connection_words, refusal_words, wire_words
from ingest.sources.read_ahead import ReadAheadClient
from ingest.sources.sample import Sample, Ticket
from ingest.sources.topics import WantedTopics

_log = logging.getLogger(__name__)

# Largest packet that we ask the broker to send (MQTT 5): far above what a probe says (JSON is read up to 64 KiB), so
# that a message that is too large still arrives, is counted and is named, instead of being dropped by the broker.
MAX_PACKET_BYTES = 1024 * 1024

ANSWER_TIMEOUT_S = 10.0  # for the TCP connection, and again for CONNACK; common practice, no source
_TURN_S = 1.0  # longest wait for the wire: pings and the stop event are looked at this often
_PACKETS_A_TURN = 200  # packets read before acknowledgements get their turn
_TOPICS_A_SUBSCRIBE = 100  # keeps one SUBSCRIBE small, whatever the cellar
_FAREWELL_S = 2.0  # longest time to get "offline" and DISCONNECT out


def _worth_a_line(count: int) -> bool:
    """Whether the count-th trouble of a kind is logged: the 1st, 2nd, 4th, 8th ..., so that a flood fills no disk."""
    return count.bit_count() == 1


@dataclass(slots=True)
class ConnectionCounts:
    """Counts of one source over all its connections; written by the network thread alone, but for ``stale_tickets``."""

    received: int = 0
    bad_topics: int = 0
    left_topics: int = 0
    delivery_failures: int = 0
    callback_failures: int = 0
    stale_tickets: int = 0


@dataclass(frozen=True, slots=True)
class ConnectionHandler:
    """What a connection needs from its surroundings; the meaning is that of MqttSource's arguments."""

    topics: Sequence[str]
    presence_topic: str
    deliver: Callable[[Sample], None]
    clock: Callable[[], int]
    monotonic: Callable[[], float]
    on_established: Callable[[], None]


class Connection:
    """One attempt to reach the broker, and the connection if it succeeds. ``run`` once, then it is used up.

    answer_timeout_s: how long to wait for CONNACK. ``unanswered`` afterwards: the broker closed without a word, or
    kept silent.
    """

    def __init__(
        self,
        address: BrokerAddress,
        protocol: MQTTProtocolVersion,
        generation: int,
        handler: ConnectionHandler,
        counts: ConnectionCounts,
        *,
        answer_timeout_s: float = ANSWER_TIMEOUT_S,
    ) -> None:
        self.address = address
        self.protocol = protocol
        self.generation = generation
        self.established = False
        self.established_mono = 0.0
        self.session_present = False
        self.version_refused = False
        self.unanswered = False
        self.taken_over = False
        self.error = ""
        self.refused_topics: list[str] = []
        self.unsafe_topics: list[str] = []
        self.turn_mono = handler.monotonic()
        self._answer_timeout_s = answer_timeout_s
        self._handler = handler
        self._counts = counts
        self._asked = False
        self._topics = WantedTopics(handler.topics)
        self._subscribing: dict[int, list[str]] = {}
        self._client = self._build_client()
        self.order = AckOrder(self._client.ack)
        self._wake_in, self._wake_out = socket.socketpair()
        self._wake_in.setblocking(False)
        self._wake_out.setblocking(False)

    @property
    def subscribed(self) -> bool:
        """Whether the broker has answered every subscription."""
        return self._asked and not self._subscribing

    # ---- building ----------------------------------------------------------------------------------------------

    def _build_client(self) -> ReadAheadClient:
        five = self.protocol == paho.MQTTv5
        client = ReadAheadClient(
            CallbackAPIVersion.VERSION2,
            client_id=self.address.client_id,
            # 3.1.1 only. The library's default would throw away what the broker kept for us.
            clean_session=None if five else False,
            protocol=self.protocol,
            reconnect_on_failure=False,
            manual_ack=True,
        )
        client.connect_timeout = ANSWER_TIMEOUT_S
        if self.address.user is not None:
            client.username_pw_set(self.address.user, self.address.password)
        client.will_set(self._handler.presence_topic, b"offline", qos=1, retain=True)
        client.on_connect = self._guarded(self._on_connect)
        client.on_subscribe = self._guarded(self._on_subscribe)
        client.on_disconnect = self._guarded(self._on_disconnect)
        client.on_message = self._on_message
        # With this set, acknowledging from another thread only queues; without it that thread would write to the
        # socket itself, beside the network thread. The queue is looked at in every turn, so there is nothing to do.
        client.on_socket_register_write = lambda *_: None
        return client

    def _connect_arguments(self) -> dict[str, Any]:
        if self.protocol != paho.MQTTv5:
            return {}
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # the library has no hint there
        properties.SessionExpiryInterval = self.address.session_expiry_s
        properties.ReceiveMaximum = self.address.window
        properties.MaximumPacketSize = MAX_PACKET_BYTES
        # The library's default would start a clean session once per process, and lose what was queued meanwhile.
        return {"clean_start": False, "properties": properties}

    def _guarded(self, callback: Callable[..., None]) -> Callable[..., None]:
        """The callback, but what it raises is logged and counted, and the network thread goes on."""

        def call(*arguments: Any) -> None:
            try:
                callback(*arguments)
            except Exception:  # noqa: BLE001 - raised into the library it would end the connection without a word
                self._counts.callback_failures += 1
                _log.exception("handling an answer of the broker at %s failed", self.address)

        return call

    # ---- the network thread ------------------------------------------------------------------------------------

    def run(self, stop: threading.Event) -> None:
        """Connect, subscribe, deliver until the connection ends or ``stop`` is set; ``error`` then says why."""
        try:
            if self._open():
                self._turns(stop)
                if stop.is_set():
                    self._farewell()
        finally:
            self._close()

    def _open(self) -> bool:
        try:
            if self.address.tls:
                self._client.tls_set(ca_certs=str(self.address.ca_file) if self.address.ca_file else None)
            self._client.connect(
                self.address.host, self.address.port, keepalive=self.address.keep_alive_s, **self._connect_arguments()
            )
        except (OSError, ValueError) as error:  # ValueError: a host name that cannot be encoded, a port out of range
            self.error = connection_words(error, self.address)
            return False
        return True

    def _turns(self, stop: threading.Event) -> None:
        deadline = self._handler.monotonic() + self._answer_timeout_s
        try:
            while not stop.is_set():
                if not self._turn(_TURN_S):
                    self.unanswered = not self.established and not self.error
                    self.error = self.error or self._closed_words()
                    return
                if not self.established and self._handler.monotonic() >= deadline:
                    self.unanswered = True
                    self.error = (
                        f"{self.address} takes the connection but does not answer: is it an MQTT broker, and is it "
                        "well? leeside goes on trying."
                    )
                    return
        except Exception as error:  # noqa: BLE001 - whatever the library stumbles over costs this connection, not the thread
            self._counts.callback_failures += 1
            self.error = wire_words(error, self.address)
            _log.exception("the connection to the broker at %s broke", self.address)

    def _turn(self, timeout_s: float) -> bool:
        """Wait for the wire, read, write, ping; False when the connection has ended."""
        client = self._client
        wire = client.socket()
        if wire is None:
            return False
        # What was read ahead, and what TLS has decrypted, select cannot see.
        pending = client.buffered > 0 or (hasattr(wire, "pending") and wire.pending() > 0)
        writers = [wire] if client.want_write() else []
        readable, writable, _ = select.select([wire, self._wake_out], writers, [], 0 if pending else timeout_s)
        self.turn_mono = self._handler.monotonic()
        if self._wake_out in readable:
            self._drain_wakes()
        if (pending or wire in readable) and not self._read():
            return False
        if (writable or client.want_write()) and client.loop_write() != paho.MQTT_ERR_SUCCESS:
            return False
        return client.loop_misc() == paho.MQTT_ERR_SUCCESS and client.socket() is not None

    def _read(self) -> bool:
        """Read the packets that have come. As long as messages keep coming there is no need to ask select again."""
        client, counts = self._client, self._counts
        for _ in range(_PACKETS_A_TURN):
            received = counts.received
            if client.loop_read() != paho.MQTT_ERR_SUCCESS or client.socket() is None:
                return False
            if counts.received == received:
                break
        return True

    def _drain_wakes(self) -> None:
        try:
            self._wake_out.recv(4096)
        except BlockingIOError:
            pass  # another turn was quicker

    def _farewell(self) -> None:
        """Say "offline" and DISCONNECT, so that the broker does not have to guess."""
        try:
            if self.established:
                self._client.publish(self._handler.presence_topic, b"offline", qos=0, retain=True)
            self._client.disconnect()
            deadline = self._handler.monotonic() + _FAREWELL_S
            while self._client.want_write() and self._handler.monotonic() < deadline:
                if not self._turn(0.1):
                    return
        except Exception:  # noqa: BLE001 - a farewell that fails is what the last will is for
            _log.exception("leaving the broker at %s failed", self.address)

    def _close(self) -> None:
        wire = self._client.socket()
        if wire is not None:
            # Not disconnect(): without DISCONNECT the broker publishes our last will, which is then the truth.
            wire.close()
        self._wake_in.close()
        self._wake_out.close()

    def _closed_words(self) -> str:
        if self.established:
            return f"The broker at {self.address} closed the connection, or the network broke it."
        hint = "." if self.address.tls else "; does it want TLS on this port?"
        return f"The broker at {self.address} closed the connection without an answer{hint} leeside goes on trying."

    # ---- callbacks, in the network thread ----------------------------------------------------------------------

    def _on_connect(
        self, client: paho.Client, _userdata: Any, flags: paho.ConnectFlags, reason: ReasonCode, _properties: Any
    ) -> None:
        if reason.is_failure:
            self.version_refused = reason.value == 0x84
            self.error = refusal_words(reason.value, reason.getName(), self.address)
            return
        self.established = True
        self.established_mono = self._handler.monotonic()
        self.session_present = flags.session_present
        client.publish(self._handler.presence_topic, b"online", qos=0, retain=True)
        # On every connection, kept session or not: the cellar file may have new topics since the session began.
        topics = list(self._handler.topics)
        for start in range(0, len(topics), _TOPICS_A_SUBSCRIBE):
            self._subscribe(client, topics[start : start + _TOPICS_A_SUBSCRIBE])
        self._asked = True
        self._handler.on_established()

    def _subscribe(self, client: paho.Client, topics: list[str]) -> None:
        try:
            # QoS 1 and never 2: for QoS 2 the library answers at once and keeps the message in memory only.
            _, packet_id = client.subscribe([(topic, 1) for topic in topics])
        except ValueError:
            if len(topics) == 1:
                self._refuse(topics[0], "it is no MQTT topic filter")
            else:
                for topic in topics:
                    self._subscribe(client, [topic])
            return
        if packet_id is not None:
            self._subscribing[packet_id] = topics

    def _on_subscribe(
        self, _client: paho.Client, _userdata: Any, packet_id: int, reasons: list[ReasonCode], _properties: Any
    ) -> None:
        for topic, reason in zip(self._subscribing.pop(packet_id, []), reasons, strict=False):
            if reason.is_failure:
                self._refuse(topic, reason.getName())
            elif reason.value == 0:
                self.unsafe_topics.append(topic)
                _log.warning(
                    "the broker at %s grants topic %r with QoS 0 only: what is sent while leeside is away is lost",
                    self.address,
                    topic,
                )

    def _refuse(self, topic: str, reason: str) -> None:
        self.refused_topics.append(topic)
        _log.error(
            "the broker at %s does not let us read topic %r (%s): its probes will stay silent. "
            "Look at the broker's access rules and at the topic in the cellar file",
            self.address,
            topic,
            reason,
        )

    def _on_disconnect(
        self, _client: paho.Client, _userdata: Any, flags: paho.DisconnectFlags, reason: ReasonCode, _properties: Any
    ) -> None:
        if flags.is_disconnect_packet_from_server:
            self.taken_over = reason.value == 0x8E
            self.error = refusal_words(reason.value, reason.getName(), self.address)

    def _on_message(self, _client: paho.Client, _userdata: Any, message: paho.MQTTMessage) -> None:
        # For every message: nothing here that could wait outside. It must not raise.
        handler = self._handler
        self._counts.received += 1
        ticket = None
        if message.qos:
            ticket = Ticket(self.generation, message.mid, message.qos)
            self.order.arrived(ticket)
        try:
            topic = message.topic
        except UnicodeDecodeError:
            self._void(ticket)
            return
        if not self._topics.wants(topic):
            self._leave(topic, ticket)
            return
        try:
            handler.deliver(
                Sample(
                    "mqtt",
                    topic,
                    bytes(message.payload),
                    handler.clock(),
                    handler.monotonic(),
                    message.retain,
                    message.dup,
                    ticket,
                )
            )
        except Exception:  # noqa: BLE001 - raised into the library it would end the connection without a word
            self._counts.delivery_failures += 1
            if ticket is not None:
                self.order.refused(ticket)
            if _worth_a_line(self._counts.delivery_failures):
                _log.exception("a message on %r was not taken; it stays with the broker", topic)

    def _void(self, ticket: Ticket | None) -> None:
        """The topic is no UTF-8, so no probe can have it: counted, and acknowledged so that it does not come again."""
        self._counts.bad_topics += 1
        if _worth_a_line(self._counts.bad_topics):
            _log.warning("the broker at %s sent a message whose topic is no UTF-8; it was dropped", self.address)
        if ticket is not None:
            self.order.done((ticket,))

    def _leave(self, topic: str, ticket: Ticket | None) -> None:
        """The session still holds a subscription that the cellar file no longer has: give it up, drop the message.

        It is acknowledged, or the broker would send it on each connection and its window would fill.
        """
        self._counts.left_topics += 1
        if ticket is not None:
            self.order.done((ticket,))
        if self._topics.give_up(topic):
            _log.info("the broker at %s still sent topic %r, which no probe has any more: left", self.address, topic)
            self._client.unsubscribe(topic)

    # ---- any thread --------------------------------------------------------------------------------------------

    def acknowledge(self, tickets: Iterable[Ticket]) -> None:
        """Send PUBACKs, in the order of arrival; after the connection's end this does nothing."""
        self.order.done(tickets)
        self.wake()

    def wake(self) -> None:
        """Have the network thread look at what there is to write, and at the stop event."""
        try:
            self._wake_in.send(b"\0")
        except OSError:
            pass  # full: it is being woken already; closed: the connection has ended
