"""One connection to a broker, from CONNECT to its end.

Each connection has a client object of its own, and so its own numbering: an acknowledgement that comes too late goes
to a client whose socket is closed, and can never be sent on a later connection, where the same packet id would mean
another message. The client library's loop is driven from here and not by its own thread, because that thread ends
for good, and in silence, when something raises in it.
"""

from __future__ import annotations

__all__ = [
    "FIRST_ANSWER_S",
    "PROTOCOL_NAMES",
    "Connection",
    "ConnectionCounts",
    "ConnectionHandler",
]

import itertools
import logging
import select
import socket
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from paho.mqtt import client as paho
from paho.mqtt.enums import MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode

from ingest.sources.acknowledgement import AckOrder
from ingest.sources.broker_address import BrokerAddress, connection_words, refusal_words, wire_words
from ingest.sources.json_form import MAX_JSON_BYTES
from ingest.sources.mqtt_client import ANSWER_TIMEOUT_S, MqttClient
from ingest.sources.sample import Sample, Ticket
from ingest.sources.topics import Subscriptions

_log = logging.getLogger(__name__)

# Some brokers that know no MQTT 5 say nothing at all to it. As long as no connection has ever stood, MQTT 5 gets less
# time to be answered, so that such a broker is reached soon. Common practice, no source.
FIRST_ANSWER_S = 3.0
PROTOCOL_NAMES: Mapping[MQTTProtocolVersion, str] = {paho.MQTTv5: "MQTT 5", paho.MQTTv311: "MQTT 3.1.1"}

_TURN_S = 1.0  # longest wait for the wire: pings and the stop event are looked at this often
_PACKETS_A_TURN = 200  # packets read before acknowledgements get their turn
_TOPICS_A_SUBSCRIBE = 100  # keeps one SUBSCRIBE small, whatever the cellar
_KEEP_ALIVE_TIMEOUT = 0x8D  # MQTT 5.0 section 2.4; the library reports it for 3.1.1 as well
# No form of payload is read beyond MAX_JSON_BYTES; of more, only that it is more has to be known.
_MOST_PAYLOAD_BYTES = MAX_JSON_BYTES + 1
_FAREWELL_S = 2.0  # longest time to get "offline" and DISCONNECT out

# Over all connections of this process, so that a ticket of one is void at any other.
_generations = itertools.count(1)


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
    """What a connection needs from its surroundings; deliver, clock and monotonic as in MqttSource.

    on_established: called in the network thread when the broker lets us in. on_subscribed: called there when it has
    answered every subscription.
    """

    deliver: Callable[[Sample], None]
    clock: Callable[[], int]
    monotonic: Callable[[], float]
    on_established: Callable[[], None] = lambda: None
    on_subscribed: Callable[[], None] = lambda: None


class Connection:
    """One attempt to reach the broker, and the connection if it succeeds. ``run`` once, then it is used up.

    qos: what to ask for, 0 or 1. answer_timeout_s: how long to wait for CONNACK. Afterwards ``error`` says why it
    failed or ended, "" for nothing; unanswered: the broker closed without a word, or kept silent; failure: what the
    client library raised.
    """

    def __init__(
        self,
        address: BrokerAddress,
        protocol: MQTTProtocolVersion,
        topics: Sequence[str],
        handler: ConnectionHandler,
        counts: ConnectionCounts,
        *,
        qos: int = 1,
        answer_timeout_s: float = ANSWER_TIMEOUT_S,
    ) -> None:
        self.address = address
        self.protocol = protocol
        self.generation = next(_generations)
        self.subscriptions = Subscriptions(topics)
        self.established = False
        self.established_mono = 0.0
        self.session_present = False
        self.version_refused = False
        self.unanswered = False
        self.taken_over = False
        self.error = ""
        self.failure: Exception | None = None
        self.turn_mono = handler.monotonic()
        self._qos = qos
        self._answer_timeout_s = answer_timeout_s
        self._deadline = 0.0
        self._handler = handler
        self._counts = counts
        self._client = MqttClient(address, protocol)
        self._client.on_connect = self._guarded(self._on_connect)
        self._client.on_subscribe = self._guarded(self._on_subscribe)
        self._client.on_disconnect = self._guarded(self._on_disconnect)
        self._client.on_message = self._on_message
        self.order = AckOrder(self._client.ack)
        self._wake_in, self._wake_out = socket.socketpair()
        self._wake_in.setblocking(False)
        self._wake_out.setblocking(False)

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

    def run(self, stop: threading.Event, *, until_subscribed: bool = False) -> None:
        """Connect, subscribe, deliver until the connection ends, ``stop`` is set or, if wanted, all is subscribed."""
        try:
            if self._open() and self._turns(stop, until_subscribed=until_subscribed):
                self._farewell()
        finally:
            self._close()

    def _open(self) -> bool:
        try:
            self._client.open()
        except (OSError, ValueError) as error:
            self.error = connection_words(error, self.address)
            return False
        return True

    def _turns(self, stop: threading.Event, *, until_subscribed: bool) -> bool:
        """Go on until something ends it; True if that is our own wish."""
        self._deadline = self._handler.monotonic() + self._answer_timeout_s
        try:
            while not stop.is_set() and not (until_subscribed and self.subscriptions.complete):
                if not self._turn(_TURN_S):
                    self.unanswered = not self.established and not self.error
                    self.error = self.error or self._closed_words()
                    return False
                if self._overdue():
                    self.unanswered = not self.established
                    self.error = self._silence_words()
                    return False
        except Exception as error:  # noqa: BLE001 - whatever the library raises costs this connection, not the thread
            self._counts.callback_failures += 1
            self.error = wire_words(error, self.address)
            self.failure = error
            return False
        return True

    def _overdue(self) -> bool:
        if self._handler.monotonic() < self._deadline:
            return False
        # With a kept session messages come before the subscriptions are answered, and may take their time.
        return not self.established or not (self.address.keeps_session or self.subscriptions.complete)

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
            if self.established and self.address.keeps_session:
                self._client.publish(self.address.presence_topic, b"offline", qos=0, retain=True)
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
        hint = "." if self.address.settings.tls else "; does it want TLS on this port?"
        return f"The broker at {self.address} closed the connection without an answer{hint}"

    def _silence_words(self) -> str:
        if self.established:
            return f"The broker at {self.address} lets us in but does not answer the subscription."
        return f"{self.address} takes the connection but does not answer: is it an MQTT broker, and is it well?"

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
        self._client.watch_broker()
        self._handler.on_established()
        self._subscribe_all(client)
        if self.address.keeps_session:
            # After the subscriptions: a small packet waits until the one before it has been acknowledged.
            client.publish(self.address.presence_topic, b"online", qos=0, retain=True)

    def _subscribe_all(self, client: paho.Client) -> None:
        """Ask on every connection, kept session or not: the cellar file may have new topics since the session began."""
        self._deadline = self._handler.monotonic() + ANSWER_TIMEOUT_S
        topics = self.subscriptions.filters
        # A guest asks for each alone: a broker may close the connection over one that it does not like.
        size = _TOPICS_A_SUBSCRIBE if self.address.keeps_session else 1
        for start in range(0, len(topics), size):
            self._subscribe(client, topics[start : start + size])
        self.subscriptions.all_asked()
        if self.subscriptions.complete:
            self._handler.on_subscribed()

    def _subscribe(self, client: paho.Client, topics: Sequence[str]) -> None:
        try:
            # QoS 1 at most and never 2: for QoS 2 the library answers at once and keeps the message in memory only.
            _, packet_id = client.subscribe([(topic, self._qos) for topic in topics])
        except ValueError:
            if len(topics) == 1:
                self.subscriptions.refused[topics[0]] = "it is not an MQTT topic filter"
            else:
                for topic in topics:
                    self._subscribe(client, [topic])
            return
        if packet_id is not None:
            self.subscriptions.asked(packet_id, topics)

    def _on_subscribe(
        self, _client: paho.Client, _userdata: Any, packet_id: int, reasons: list[ReasonCode], _properties: Any
    ) -> None:
        self.subscriptions.answered(packet_id, reasons)
        if self.subscriptions.complete:
            self._handler.on_subscribed()

    def _on_disconnect(
        self, _client: paho.Client, _userdata: Any, flags: paho.DisconnectFlags, reason: ReasonCode, _properties: Any
    ) -> None:
        if flags.is_disconnect_packet_from_server:
            self.taken_over = reason.value == 0x8E
            self.error = refusal_words(reason.value, reason.getName(), self.address)
        elif reason.value == _KEEP_ALIVE_TIMEOUT:
            self.error = f"The broker at {self.address} keeps the connection open but no longer answers: is it well?"

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
        if self.address.keeps_session and not self.subscriptions.wants(topic):
            self._leave(topic, ticket)
            return
        try:
            handler.deliver(
                Sample(
                    "mqtt",
                    topic,
                    bytes(message.payload[:_MOST_PAYLOAD_BYTES]),
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
        """The topic is not UTF-8, so no probe can have it: counted, and acknowledged so that it does not come again."""
        self._counts.bad_topics += 1
        if _worth_a_line(self._counts.bad_topics):
            _log.warning("the broker at %s sent a message whose topic is not UTF-8; it was dropped", self.address)
        if ticket is not None:
            self.order.done((ticket,))

    def _leave(self, topic: str, ticket: Ticket | None) -> None:
        """Give up a subscription that the session still holds and the cellar file no longer has; drop the message.

        It is acknowledged, or the broker would send it on each connection and its window would fill.
        """
        self._counts.left_topics += 1
        if ticket is not None:
            self.order.done((ticket,))
        if self.subscriptions.give_up(topic):
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
