"""Samples from an MQTT broker: stay connected, whatever the broker does, and acknowledge what is safe.

QoS 1 messages are acknowledged only on demand, so that the broker keeps each until it is stored; the session is kept
on the broker while we are away. MQTT 5 is tried first, 3.1.1 where the broker wants no 5.
"""

from __future__ import annotations

__all__ = ["BrokerAddress", "MqttSource", "MqttState"]

import itertools
import logging
import threading
import time
from collections.abc import Callable, Sequence

from paho.mqtt import client as paho

from ingest.backoff import Backoff
from ingest.errors import SourceError
from ingest.sources.broker_address import BrokerAddress, MqttState
from ingest.sources.mqtt_connection import ANSWER_TIMEOUT_S, Connection, ConnectionCounts, ConnectionHandler
from ingest.sources.sample import Sample, Ticket

_log = logging.getLogger(__name__)

# A connection that lived this long went well: the next wait is short again. Without it, two programs with the same
# client id would push each other out every second. Common practice, no source.
_WENT_WELL_S = 30.0
# After so many connections in a row that ended sooner, the client id is suspected. MQTT 3.1.1 has no word for it.
_SUSPICIOUS_ENDS = 3
# The network thread takes a turn at least once a second. Resolving a name can take most of this; longer is a hang.
_HANG_S = 120.0

# Over all sources of this process, so that a ticket of one source is void at any other.
_generations = itertools.count(1)

# Some brokers that know no MQTT 5 say nothing at all to it. As long as no connection has ever stood, MQTT 5 gets less
# time to be answered, so that such a broker is reached soon. Common practice, no source.
_FIRST_ANSWER_S = 3.0

_PROTOCOL_NAMES = {paho.MQTTv5: "MQTT 5", paho.MQTTv311: "MQTT 3.1.1"}


class MqttSource:
    """Delivers what a broker sends as samples, and acknowledges them when asked to.

    address: the broker. topics: what to subscribe to, wildcards allowed. presence_topic: there the broker keeps
    ``online`` or ``offline``, retained. deliver: called in the network thread for each message; it must be quick and
    only put the sample aside. A message that it fails to take stays with the broker until the next connection.
    clock: UTC milliseconds. monotonic: seconds. patience: the waits between attempts.

    Raises SourceError if the settings cannot work with any broker. Everything else is retried for ever and told by
    ``state()``. What a retained message, a repeat and a ticket are, ``Sample`` says.
    """

    def __init__(
        self,
        *,
        address: BrokerAddress,
        topics: Sequence[str],
        presence_topic: str,
        deliver: Callable[[Sample], None],
        clock: Callable[[], int],
        monotonic: Callable[[], float] = time.monotonic,
        patience: Backoff | None = None,
    ) -> None:
        _refuse_unusable(address, presence_topic)
        self._address = address
        self._counts = ConnectionCounts()
        self._handler = ConnectionHandler(
            tuple(topics), presence_topic, deliver, clock, monotonic, self._on_established
        )
        self._monotonic = monotonic
        self._patience = patience or Backoff()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._connection: Connection | None = None
        self._protocol = paho.MQTTv311 if address.version == "3.1.1" else paho.MQTTv5
        self._connects = 0
        self._acknowledged_before = 0
        self._short_lives = 0
        self._quarrel = False
        self._last_error = ""
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

        timeout: seconds. Whoever wants acknowledgements to go out calls ``acknowledge_all`` before.
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
                subscribed=connection is not None and connected and connection.subscribed,
                since_mono=since_mono,
                session_present=connection is not None and connection.session_present,
                protocol=_PROTOCOL_NAMES[self._protocol] if self._connects else "",
                last_error="" if connected and not unsettled else self._last_error,
                refused_topics=tuple(connection.refused_topics) if connection is not None else (),
                unsafe_topics=tuple(connection.unsafe_topics) if connection is not None else (),
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
                self._last_error = f"The MQTT source stumbled: {type(error).__name__}: {error}. leeside goes on trying."
                _log.exception("the MQTT source stumbled")
            if not at_once:
                self._stop.wait(self._patience.next_wait_s())

    def _attempt(self) -> bool:
        """Connect and stay connected as long as it lasts; True if the other protocol version is to be tried at once."""
        probing = self._address.version is None and self._protocol == paho.MQTTv5 and not self._connects
        connection = Connection(
            self._address,
            self._protocol,
            next(_generations),
            self._handler,
            self._counts,
            answer_timeout_s=_FIRST_ANSWER_S if probing else ANSWER_TIMEOUT_S,
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
        if connection is not None:
            _log.info(
                "connected to the broker at %s with %s; it had %s",
                self._address,
                _PROTOCOL_NAMES[connection.protocol],
                "kept our session" if connection.session_present else "no session of ours",
            )

    def _judge_end(self, connection: Connection) -> None:
        """A connection that stood has ended: was it a good one, and what is to be said?"""
        lasted = self._monotonic() - connection.established_mono >= _WENT_WELL_S
        if lasted:
            self._patience.reset()
        self._short_lives = 0 if lasted else self._short_lives + 1
        self._quarrel = connection.taken_over or self._short_lives >= _SUSPICIOUS_ENDS
        suspicion = (
            f" Perhaps another program uses our client id {self._address.client_id!r}: each pushes the other out."
            if self._quarrel and not connection.taken_over
            else ""
        )
        self._tell(connection.error + suspicion)

    def _judge_refusal(self, connection: Connection) -> bool:
        """No connection came about. True if MQTT 3.1.1 is to be tried at once because the broker knows no 5."""
        self._tell(connection.error)
        if self._address.version is not None:
            return False
        if connection.version_refused and self._protocol == paho.MQTTv5:
            _log.info("the broker at %s does not speak MQTT 5; trying 3.1.1", self._address)
            self._protocol = paho.MQTTv311
            return True
        if connection.unanswered or connection.version_refused:
            # Some brokers close or say nothing when they are spoken to in the wrong version; so does one that is
            # just starting. Try the other version, but not without a wait.
            self._protocol = paho.MQTTv311 if self._protocol == paho.MQTTv5 else paho.MQTTv5
        return False

    def _tell(self, error: str) -> None:
        """Keep the trouble for ``state()``, and log it unless it is the one of before."""
        if error != self._last_error:
            _log.warning("%s", error)
        self._last_error = error


def _refuse_unusable(address: BrokerAddress, presence_topic: str) -> None:
    if not address.client_id:
        raise SourceError(
            "The MQTT client id is empty. Set one: without it a broker cannot keep messages while we are away."
        )
    if not 1 <= address.window <= 65535:
        raise SourceError(f"An MQTT window of {address.window} messages; 1 to 65535 is possible.")
    if not 0 <= address.session_expiry_s <= 0xFFFFFFFF:
        raise SourceError(f"An MQTT session expiry of {address.session_expiry_s} s; 0 to 4294967295 is possible.")
    if not 1 <= address.keep_alive_s <= 65535:
        raise SourceError(f"An MQTT keep-alive of {address.keep_alive_s} s; 1 to 65535 is possible.")
    if not 1 <= address.port <= 65535:
        raise SourceError(f"An MQTT port of {address.port}; 1 to 65535 is possible.")
    if address.password is not None and address.user is None:
        raise SourceError("An MQTT password without a user name. Set [mqtt] user, or leave the password out.")
    if not presence_topic or any(mark in presence_topic for mark in "+#\0"):
        raise SourceError(f"The MQTT presence topic {presence_topic!r} must be a topic without + and #.")
