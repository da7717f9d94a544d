"""The client library, set up for one connection, reading from the socket in large pieces.

On its own it asks the socket three times for each message, and each time gives the interpreter away to whichever
thread wants it. While the writer works on a flood, that made reading the slowest part: tests/benchmarks/mqtt.py.
"""

from __future__ import annotations

__all__ = ["ANSWER_TIMEOUT_S", "PING_S", "MqttClient"]

import time
from typing import Any

from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from ingest.errors import SourceError
from ingest.sources.broker_address import BrokerAddress

ANSWER_TIMEOUT_S = 10.0  # for the TCP connection, and again for each answer; common practice, no source

# After so long without a packet the broker is asked whether it is there (PINGREQ), and it has as long to answer, in
# seconds. MQTT lets a client ask at any time; ``keep_alive`` is what the broker is promised. Short enough that a broker
# that hangs is known to be gone before its probes' no-data times; this project's choice.
PING_S = 10

# Largest packet that we ask the broker to send (MQTT 5): far above what a probe says (JSON is read up to 64 KiB), so
# that a message that is too large still arrives, is counted and is named, instead of being dropped by the broker. MQTT
# 3.1.1 cannot ask: of a larger message the beginning is kept and the rest thrown away as it comes, so that it is
# counted and acknowledged like any other that no probe can read.
MAX_PACKET_BYTES = 1024 * 1024

_PIECE_BYTES = 64 * 1024
_PUBLISH = 3


class MqttClient(paho.Client):
    """A client that acknowledges nothing by itself, and does not come back after its one connection.

    ``buffered`` bytes are read already and cannot be seen by select. Should a later version of the library no longer
    read through the method that is replaced here, it reads as slowly as it did and without a bound, and nothing else
    changes.
    """

    _ahead = b""
    _place = 0
    _unwanted = 0

    def __init__(self, address: BrokerAddress, protocol: MQTTProtocolVersion) -> None:
        super().__init__(
            CallbackAPIVersion.VERSION2,
            client_id=address.client_id,
            # 3.1.1 only. The library's default would throw away what the broker kept for us.
            clean_session=None if protocol == paho.MQTTv5 else not address.keeps_session,
            protocol=protocol,
            reconnect_on_failure=False,
            manual_ack=True,
        )
        self._address = address
        self.connect_timeout = ANSWER_TIMEOUT_S
        if address.settings.user is not None:
            self.username_pw_set(address.settings.user, address.password)
        if address.keeps_session:
            self.will_set(address.presence_topic, b"offline", qos=1, retain=True)
        # With this set, acknowledging from another thread only queues; without it that thread would write to the
        # socket itself, beside the network thread. The queue is looked at in every turn, so there is nothing to do.
        self.on_socket_register_write = lambda *_: None

    def open(self) -> None:
        """Connect and send CONNECT. Raises OSError, or ValueError for a host name that cannot be encoded."""
        settings = self._address.settings
        if settings.tls:
            self.tls_set(ca_certs=str(self._address.ca_file) if self._address.ca_file else None)
        self.connect(settings.host, settings.port, keepalive=settings.keep_alive_s, **self._session_arguments())

    def _session_arguments(self) -> dict[str, Any]:
        if self.protocol != paho.MQTTv5:
            return {}
        kept, settings = self._address.keeps_session, self._address.settings
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # the library has no hint there
        properties.SessionExpiryInterval = settings.session_expiry_s if kept else 0
        properties.ReceiveMaximum = settings.window
        properties.MaximumPacketSize = MAX_PACKET_BYTES
        # The library's default would start a clean session once per process, and lose what was queued meanwhile.
        return {"clean_start": not kept, "properties": properties}

    def watch_broker(self) -> None:
        """Ask the broker every ``PING_S`` whether it is there, once it has let us in."""
        # The library has one number for what it promises and for when it asks; the first has been sent by now.
        self._keepalive = min(self._keepalive or PING_S, PING_S)

    @property
    def buffered(self) -> int:
        """Bytes that were read from the socket and not yet made into packets."""
        return len(self._ahead) - self._place

    def _sock_recv(self, bufsize: int) -> bytes:
        if self._unwanted and not self._pass_over():
            return b""
        if bufsize > MAX_PACKET_BYTES:
            self._cut(bufsize)
            bufsize = MAX_PACKET_BYTES
        place = self._place
        if place == len(self._ahead):
            # Raises BlockingIOError while there is nothing; gives b"" at the connection's end, as the socket does.
            self._ahead = super()._sock_recv(max(bufsize, _PIECE_BYTES))
            place = 0
        part = self._ahead[place : place + bufsize]
        self._place = place + len(part)
        return part

    def _cut(self, length: int) -> None:
        """A packet of that many bytes begins: have the library take the beginning for the whole of it."""
        if self._in_packet["command"] >> 4 != _PUBLISH:
            raise SourceError(
                f"a packet of {length:,} bytes that is not a message; at most {MAX_PACKET_BYTES:,} are read"
            )
        self._unwanted = length - MAX_PACKET_BYTES
        self._in_packet["to_process"] = MAX_PACKET_BYTES

    def _pass_over(self) -> bool:
        """Throw away the rest of a packet that was cut, one piece at a time; False where the connection has ended.

        Raises BlockingIOError while more of it is to come, so that acknowledgements and pings have their turn.
        """
        if self._place == len(self._ahead):
            self._ahead, self._place = super()._sock_recv(_PIECE_BYTES), 0
            if not self._ahead:
                return False
            with self._msgtime_mutex:
                # The broker is well; its answer to a ping is behind what it is sending.
                self._last_bytes_received = time.monotonic()
        step = min(self._unwanted, len(self._ahead) - self._place)
        self._place += step
        self._unwanted -= step
        if self._unwanted:
            raise BlockingIOError
        return True
