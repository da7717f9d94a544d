"""The state of the alarms kept at the broker, for a lamp or a siren: retained, QoS 1, under a client id of its own.

A thread keeps one connection; the library is called in that thread alone, so that none of its callbacks runs in a
thread that could end without a word. What was not acknowledged by the broker is published again on the next connection.
"""

from __future__ import annotations

__all__ = ["Lamp"]

import logging
import time
from collections.abc import Callable, Mapping
from threading import Event, Lock, Thread
from typing import TYPE_CHECKING, Any, Final

from alerts.channels.lamp_state import LampState, payload_of
from ingest.backoff import Backoff
from ingest.cellar import ChannelSettings, Priority
from ingest.errors import IngestError
from ingest.first_traces import FirstTraces
from ingest.plain_text import one_line
from ingest.sources.broker_address import BrokerAddress, connection_words, refusal_words
from ingest.sources.retained import publishing_client

if TYPE_CHECKING:
    from paho.mqtt.client import Client

_log = logging.getLogger(__name__)

# How soon a change is seen, in seconds.
_TURN_S: Final = 0.2
_ANSWERS_WITHIN_S: Final = 10.0
_PING_S: Final = 10
_LONGEST_WORDS: Final = 300
# A state that was not shown again for so long is out of date; a turn is made each second, and one that waits for the
# store's lock takes ten.
STALE_S: Final = 60.0


class Lamp:
    """One channel of kind mqtt. ``show`` may be called from any thread.

    find_address: of the broker, asked for each connection, so that a corrected password needs no restart; monotonic:
    seconds of the clock that nobody can set.
    """

    def __init__(
        self,
        settings: ChannelSettings,
        find_address: Callable[[], BrokerAddress],
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._settings = settings
        self._find_address = find_address
        self._lock = Lock()
        self._monotonic = monotonic
        self._states: Mapping[Priority, LampState] = {}
        self._shown_at = monotonic()
        self._traces = FirstTraces()
        self._wanted: dict[str, bytes] = {}
        self._shown: dict[str, bytes] = {}
        self._under_way: dict[int, tuple[str, bytes]] = {}
        self._established = False
        self._refusal = ""
        self._error = "has not reached the broker yet"
        self._stop = Event()
        self._thread = Thread(target=self._run, name=f"lamp {settings.id}", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """Show ``offline`` and leave the broker."""
        self._stop.set()
        self._thread.join(5.0)

    def show(self, states: Mapping[Priority, LampState]) -> None:
        """Show this from now on, for as long as it is not out of date; call it again with each turn."""
        with self._lock:
            self._states, self._shown_at = dict(states), self._monotonic()
            self._want(states)

    @property
    def channel(self) -> str:
        """The channel's id."""
        return self._settings.id

    @property
    def trouble(self) -> str:
        """Why the broker does not have the present state, "" where it has."""
        with self._lock:
            return "" if self._shown == self._wanted else self._error or "the broker has not acknowledged the state yet"

    @property
    def _presence(self) -> str:
        return self._topic("presence")

    def _topic(self, end: str) -> str:
        return f"{self._settings.topic}/{end}"

    def _want(self, states: Mapping[Priority, LampState]) -> None:
        """Publish this; call it with the lock held."""
        payloads = {
            self._topic(priority): payload_of(state, self._settings.payload) for priority, state in states.items()
        }
        self._wanted = {self._presence: b"online", **payloads} if payloads else {}

    # ---- its thread --------------------------------------------------------------------------------------------

    def _run(self) -> None:
        backoff = Backoff()
        while not self._stop.is_set():
            was = self._error
            try:
                self._connection()
            except Exception as error:  # noqa: BLE001 - whatever the library raises costs this connection only
                self._error = one_line(f"{type(error).__name__}: {error}", _LONGEST_WORDS)
                if self._traces.is_new(error):
                    _log.exception("channel %s failed; it goes on", self._settings.id)
            if self._established:
                backoff.reset()
            if self._error and self._error != was:
                _log.warning("channel %s: %s", self._settings.id, self._error)
            self._stop.wait(0.0 if self._stop.is_set() else backoff.next_wait_s())

    def _connection(self) -> None:
        """Connect, and publish what is to be shown until the connection ends."""
        self._established = False
        with self._lock:
            # A broker that was started again may have forgotten it.
            self._shown, self._under_way = {}, {}
        try:
            self._address = self._find_address()
        except IngestError as error:
            self._error = str(error)
            return
        settings = self._address.settings
        try:
            client = self._client()
            client.connect(settings.host, settings.port, keepalive=max(settings.keep_alive_s, 2 * _PING_S))
        except (OSError, ValueError) as error:
            self._error = connection_words(error, self._address)
            return
        self._refusal = ""
        deadline = time.monotonic() + _ANSWERS_WITHIN_S
        try:
            while client.loop(_TURN_S) == 0 and not self._stop.is_set():
                if self._established:
                    self._publish(client)
                elif time.monotonic() > deadline:
                    self._error = f"the broker at {self._address} does not answer"
                    return
            if self._stop.is_set() and self._established:
                self._farewell(client)
            else:
                gone = f"the broker at {self._address} closed the connection, or the network broke it"
                self._error = self._refusal or gone
        finally:
            wire = client.socket()
            if wire is not None:
                wire.close()  # without DISCONNECT the broker publishes the last will, which is then the truth

    def _client(self) -> Client:
        client = publishing_client(self._address, _ANSWERS_WITHIN_S)
        client.will_set(self._presence, b"offline", qos=1, retain=True)
        client.on_connect = self._on_connect
        client.on_publish = self._on_publish
        return client

    def _publish(self, client: Client) -> None:
        with self._lock:
            if self._monotonic() - self._shown_at > STALE_S:
                # No turn is made, and nobody knows how the alarms are.
                self._want({priority: state._replace(known=False) for priority, state in self._states.items()})
            pending = dict(self._under_way.values())
            due = {
                topic: payload
                for topic, payload in self._wanted.items()
                if self._shown.get(topic) != payload and pending.get(topic) != payload
            }
        for topic, payload in due.items():
            sent = client.publish(topic, payload, qos=1, retain=True)
            with self._lock:
                self._under_way[sent.mid] = (topic, payload)

    def _farewell(self, client: Client) -> None:
        client.publish(self._presence, b"offline", qos=1, retain=True)
        deadline = time.monotonic() + 1.0
        while client.want_write() and time.monotonic() < deadline:
            client.loop(_TURN_S)
        client.disconnect()

    def _on_connect(self, client: Client, _userdata: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            self._refusal = refusal_words(reason.value, reason.getName(), self._address)
            return
        self._established = True
        self._error = ""

    def _on_publish(self, _client: Client, _userdata: Any, packet_id: int, _reason: Any, _properties: Any) -> None:
        with self._lock:
            topic, payload = self._under_way.pop(packet_id, ("", b""))
            if topic:
                self._shown[topic] = payload
