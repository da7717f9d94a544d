"""Samples from an MQTT broker: stay connected, whatever the broker does, and acknowledge what is safe.

QoS 1 messages are acknowledged only on demand, so that the broker keeps each until it is stored; the session is kept
on the broker while we are away. MQTT 5 is tried first, 3.1.1 where the broker does not speak 5. A guest (``listen``)
keeps no session and asks for QoS 0, so that nothing waits for an acknowledgement.
"""

from __future__ import annotations

__all__ = ["MqttSource", "MqttState"]

import logging
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from paho.mqtt import client as paho

from ingest.backoff import GOES_ON, Backoff
from ingest.sources.broker_address import BrokerAddress
from ingest.sources.mqtt_client import ANSWER_TIMEOUT_S
from ingest.sources.mqtt_connection import (
    FIRST_ANSWER_S,
    PROTOCOL_NAMES,
    Connection,
    ConnectionCounts,
    ConnectionHandler,
)
from ingest.sources.sample import Sample, Ticket

_log = logging.getLogger(__name__)

# A connection that lived this long went well: the next wait is short again. Without it, two programs with the same
# client id would push each other out every second. Common practice, no source.
_WENT_WELL_S = 30.0
# After one that lived only this long the next wait is short too: a network that breaks every few moments must not keep
# leeside away for a minute each time. Not where another program took our place.
_STOOD_S = 10.0
# After so many connections in a row that ended sooner, the client id is suspected. MQTT 3.1.1 has no word for it.
_SUSPICIOUS_ENDS = 3
# The network thread takes a turn at least once a second. Resolving a name can take most of this; longer is a hang.
_HANG_S = 120.0


@dataclass(frozen=True, slots=True)
class MqttState:
    """How things stand with the broker.

    subscribed: the broker has answered all our subscriptions, so that from now on nothing is missed. since_mono:
    ``time.monotonic()`` since when ``connected`` is as it is, seconds. session_present: the broker had kept our
    session. protocol: ``MQTT 5`` or ``MQTT 3.1.1``, empty before the first connection. last_error: the last trouble in
    plain words; empty while all is well, but a quarrel over the client id stays until a connection lasts.
    refused_topics: the topics we may not read. unsafe_topics: granted with QoS 0 only, so that messages are lost while
    we are away. generation: number of the connection.

    The rest are counts since the start: connections made; messages received; acknowledgements sent; messages that wait
    for their acknowledgement just now; acknowledgements dropped because their connection had ended; topics that were
    not UTF-8; messages on topics that the cellar file no longer has, acknowledged and dropped (left_topics); messages
    that ``deliver`` failed to take (they stay with the broker until the next connection); failures in other callbacks.
    """

    connected: bool
    subscribed: bool
    since_mono: float
    session_present: bool
    protocol: str
    last_error: str
    refused_topics: tuple[str, ...]
    unsafe_topics: tuple[str, ...]
    generation: int
    connects: int
    received: int
    acknowledged: int
    unacknowledged: int
    stale_tickets: int
    bad_topics: int
    left_topics: int
    delivery_failures: int
    callback_failures: int


class MqttSource:
    """Delivers what a broker sends as samples, and acknowledges them when asked to.

    address: the broker, and as whom to connect. topics: what to subscribe to, wildcards allowed. deliver: called in the
    network thread for each message; it must be quick and only put the sample aside. A message that it fails to take
    stays with the broker until the next connection. clock: UTC milliseconds. monotonic: seconds. backoff: the waits
    between attempts.

    Whatever goes wrong is tried again for ever and shown by ``state()``. ``Sample`` explains retained messages,
    repeats and tickets.
    """

    def __init__(
        self,
        *,
        address: BrokerAddress,
        topics: Sequence[str],
        deliver: Callable[[Sample], None],
        clock: Callable[[], int],
        monotonic: Callable[[], float] = time.monotonic,
        backoff: Backoff | None = None,
    ) -> None:
        self._address = address
        self._topics = tuple(topics)
        self._counts = ConnectionCounts()
        self._handler = ConnectionHandler(deliver, clock, monotonic, self._on_established, self._on_subscribed)
        self._monotonic = monotonic
        self._backoff = backoff or Backoff()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._connection: Connection | None = None
        self._protocol = paho.MQTTv5
        self._connects = 0
        self._acknowledged_before = 0
        self._short_lives = 0
        self._quarrel = False
        self._last_error = ""
        self._logged_error = ""
        self._since_mono = monotonic()
        self._waiting_mono = monotonic()
        self._lock = threading.Lock()

    # ---- start, stop, state ------------------------------------------------------------------------------------

    def start(self) -> None:
        """Start the network thread; it may also be called after ``stop``, or when ``alive`` says no."""
        if self._thread is not None and self._thread.is_alive():
            raise RuntimeError("the MQTT source is running already")
        self._stop.clear()
        self._waiting_mono = self._monotonic()
        self._thread = threading.Thread(target=self._run, name="mqtt", daemon=True)
        self._thread.start()

    def stop(self, timeout: float = 5.0) -> bool:
        """Say "offline", disconnect, end the thread; the broker keeps the session. False if it did not end in time.

        timeout: seconds. To send the outstanding acknowledgements, call ``acknowledge_all`` before.
        """
        self._stop.set()
        connection = self._connection
        if connection is not None:
            connection.wake()
        if self._thread is None:
            return True
        self._thread.join(timeout)
        return not self._thread.is_alive()

    def alive(self) -> bool:
        """Whether the network thread is there and took a turn within the last two minutes, connected or not."""
        if self._thread is None or not self._thread.is_alive():
            return False
        connection = self._connection
        last_mono = self._waiting_mono if connection is None else max(connection.turn_mono, self._waiting_mono)
        return self._monotonic() - last_mono < _HANG_S

    @property
    def generation(self) -> int:
        """The number of the present connection, 0 if there is none; tickets of any other number are void."""
        connection = self._connection
        return connection.generation if connection is not None and connection.established else 0

    @property
    def has_window(self) -> bool:
        """Whether the broker keeps to the window that was asked for; MQTT 3.1.1 has no such thing."""
        return self._protocol == paho.MQTTv5

    def state(self) -> MqttState:
        """How things stand; may be asked from any thread."""
        with self._lock:
            connection = self._connection
            connected = connection is not None and connection.established
            since_mono = connection.established_mono if connection is not None and connected else self._since_mono
            unsettled = self._quarrel and self._monotonic() - since_mono < _WENT_WELL_S
            counts = self._counts
            return MqttState(
                connected=connected,
                subscribed=connection is not None and connected and connection.subscriptions.complete,
                since_mono=since_mono,
                session_present=connection is not None and connection.session_present,
                protocol=PROTOCOL_NAMES[self._protocol] if self._connects else "",
                last_error="" if connected and not unsettled else self._last_error,
                refused_topics=tuple(connection.subscriptions.refused) if connection is not None else (),
                unsafe_topics=tuple(connection.subscriptions.unsafe) if connection is not None else (),
                generation=connection.generation if connection is not None and connected else 0,
                connects=self._connects,
                received=counts.received,
                acknowledged=self._acknowledged_before + (connection.order.sent if connection is not None else 0),
                unacknowledged=len(connection.order) if connection is not None else 0,
                stale_tickets=counts.stale_tickets,
                bad_topics=counts.bad_topics,
                left_topics=counts.left_topics,
                delivery_failures=counts.delivery_failures,
                callback_failures=counts.callback_failures,
            )

    # ---- acknowledging -----------------------------------------------------------------------------------------

    def acknowledge(self, ticket: Ticket) -> None:
        """What this ticket stands for is on disk: the broker may forget it. See ``acknowledge_all``."""
        self.acknowledge_all((ticket,))

    def acknowledge_all(self, tickets: Sequence[Ticket]) -> None:
        """What these tickets stand for is on disk: the broker may forget it.

        Each must be the object that came with the sample. They go out in the order of arrival, so one that is never
        given back holds up all later ones. Tickets of an earlier connection are dropped and counted: the broker sends
        those messages again. May be called from any thread.
        """
        connection = self._connection
        generation = connection.generation if connection is not None else 0
        # If the connection ends just now, its client is closed and nothing is sent: that is why there is no lock.
        valid = [ticket for ticket in tickets if ticket.generation == generation]
        if len(valid) < len(tickets):
            self._counts.stale_tickets += len(tickets) - len(valid)
        if connection is not None and valid:
            connection.acknowledge(valid)

    # ---- the network thread ------------------------------------------------------------------------------------

    def _run(self) -> None:
        while not self._stop.is_set():
            self._waiting_mono = self._monotonic()
            at_once = False
            try:
                at_once = self._attempt()
            except Exception as error:  # noqa: BLE001 - top of this thread's turn: logged, and tried again later
                self._counts.callback_failures += 1
                self._last_error = f"The MQTT source failed: {type(error).__name__}: {error}. {GOES_ON}"
                _log.exception("the MQTT source failed")
            if not at_once:
                self._stop.wait(self._backoff.next_wait_s())

    def _attempt(self) -> bool:
        """Connect and stay connected as long as it lasts; True if the other protocol version is to be tried at once."""
        probing = self._protocol == paho.MQTTv5 and not self._connects
        connection = Connection(
            self._address,
            self._protocol,
            self._topics,
            self._handler,
            self._counts,
            qos=1 if self._address.keeps_session else 0,
            answer_timeout_s=FIRST_ANSWER_S if probing else ANSWER_TIMEOUT_S,
        )
        self._connection = connection
        try:
            connection.run(self._stop)
        finally:
            with self._lock:
                self._acknowledged_before += connection.order.sent
                self._connection = None
                if connection.established:
                    self._since_mono = self._monotonic()
        if self._stop.is_set():
            return False
        if connection.established:
            self._judge_end(connection)
            return False
        return self._judge_refusal(connection)

    def _on_established(self) -> None:
        connection = self._connection
        self._connects += 1
        self._logged_error = ""
        if connection is not None and self._address.keeps_session:
            _log.info(
                "connected to the broker at %s with %s; it had %s",
                self._address,
                PROTOCOL_NAMES[connection.protocol],
                "kept our session" if connection.session_present else "no session of ours",
            )

    def _on_subscribed(self) -> None:
        connection = self._connection
        if connection is None:
            return
        subscriptions = connection.subscriptions
        if not self._address.keeps_session:
            refusals = [
                f"; it refuses {topic} ({reason}): look at the broker's access rules"
                for topic, reason in subscriptions.refused.items()
            ]
            _log.info(
                "broker %s: connected with %s, listening to %s%s",
                self._address,
                PROTOCOL_NAMES[connection.protocol],
                ", ".join(subscriptions.granted) or "nothing",
                "".join(refusals),
            )
            return
        for topic, reason in subscriptions.refused.items():
            _log.error(
                "the broker at %s does not let us read topic %r (%s): its probes will stay silent. "
                "Look at the broker's access rules and at the topic in the cellar file",
                self._address,
                topic,
                reason,
            )
        for topic in subscriptions.unsafe:
            _log.warning(
                "the broker at %s grants topic %r with QoS 0 only: what is sent while leeside is away is lost",
                self._address,
                topic,
            )

    def _judge_end(self, connection: Connection) -> None:
        """Note how a connection that stood has ended: after a good while, or in a quarrel over the client id."""
        life_s = self._monotonic() - connection.established_mono
        lasted = life_s >= _WENT_WELL_S
        if lasted or (life_s >= _STOOD_S and not connection.taken_over):
            self._backoff.reset()
        self._short_lives = 0 if lasted else self._short_lives + 1
        suspicious = self._address.keeps_session and self._short_lives >= _SUSPICIOUS_ENDS
        self._quarrel = connection.taken_over or suspicious
        suspicion = (
            f" Perhaps another program uses our client id {self._address.client_id!r}: each pushes the other out."
            if suspicious and not connection.taken_over
            else ""
        )
        self._report(connection.error + suspicion, connection.failure)

    def _judge_refusal(self, connection: Connection) -> bool:
        """No connection came about. True if MQTT 3.1.1 is to be tried at once because the broker does not speak 5."""
        if connection.version_refused and self._protocol == paho.MQTTv5:
            _log.info("the broker at %s does not speak MQTT 5; trying 3.1.1", self._address)
            self._protocol = paho.MQTTv311
            return True
        self._report(connection.error, connection.failure)
        if connection.unanswered or connection.version_refused:
            # Some brokers close or say nothing when they are spoken to in the wrong version; so does one that is
            # just starting. Try the other version, but not without a wait.
            self._protocol = paho.MQTTv311 if self._protocol == paho.MQTTv5 else paho.MQTTv5
        return False

    def _report(self, trouble: str, failure: Exception | None) -> None:
        """Keep the trouble for ``state()``, and log it unless it was the last one logged on the way to a connection."""
        self._last_error = f"{trouble} {GOES_ON}"
        if failure is not None or self._last_error != self._logged_error:
            _log.warning("%s", self._last_error, exc_info=failure)
        self._logged_error = self._last_error
