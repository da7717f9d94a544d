"""A peer that sends exact MQTT packets and records what it receives: for what real brokers cannot be made to do.

The test is the script: it accepts a connection, reads a packet, sends bytes. The client answers a PINGREQ at once and
in order, so it serves as a barrier: when the PINGRESP has arrived, so has everything that was to be sent before.
Packets: MQTT 3.1.1 and 5.0, chapter 3.
"""

from __future__ import annotations

__all__ = [
    "CONNECT",
    "DISCONNECT",
    "PINGREQ",
    "PINGRESP",
    "PUBACK",
    "PUBCOMP",
    "PUBLISH",
    "PUBREC",
    "SUBSCRIBE",
    "PeerConnection",
    "ScriptedPeer",
    "publish",
]

import socket
import struct
from collections.abc import Callable
from types import TracebackType

CONNECT, PUBLISH, PUBACK, PUBREC, PUBCOMP, SUBSCRIBE, PINGREQ, PINGRESP, DISCONNECT = 1, 3, 4, 5, 7, 8, 12, 13, 14

_PATIENCE_S = 10.0


def publish(
    topic: bytes,
    payload: bytes,
    *,
    packet_id: int = 0,
    qos: int = 1,
    repeat: bool = False,
    retained: bool = False,
    version: int = 5,
) -> bytes:
    """Make the bytes of a PUBLISH."""
    body = struct.pack("!H", len(topic)) + topic
    if qos:
        body += struct.pack("!H", packet_id)
    if version == 5:
        body += b"\x00"
    body += payload
    return bytes([0x30 | repeat << 3 | qos << 1 | retained]) + _length(len(body)) + body


def _length(count: int) -> bytes:
    """Encode a length by MQTT 5.0, section 1.5.5: seven bits a byte, the lowest first."""
    coded = b""
    while True:
        count, low = divmod(count, 128)
        coded += bytes([low | (0x80 if count else 0)])
        if not count:
            return coded


class PeerConnection:
    """One connection, seen from the broker's side; ``received`` holds all whole packets so far.

    on_packet: called with each packet, before anything else is done with it.
    """

    def __init__(self, wire: socket.socket, on_packet: Callable[[PeerConnection, bytes], None] | None = None) -> None:
        self._wire = wire
        self._on_packet = on_packet
        self._wire.settimeout(_PATIENCE_S)
        self.received: list[bytes] = []
        self.version = 0
        self.subscribe_id = b""

    def send(self, packet: bytes) -> None:
        self._wire.sendall(packet)

    def read(self) -> bytes:
        """Read the next whole packet; empty when the client has closed."""
        head = self._exactly(1)
        if not head:
            return b""
        length, shift, raw = 0, 0, head
        while True:
            byte = self._exactly(1)
            raw += byte
            length |= (byte[0] & 0x7F) << shift
            shift += 7
            if byte[0] < 0x80:
                break
        packet = raw + self._exactly(length)
        self.received.append(packet)
        if self._on_packet is not None:
            self._on_packet(self, packet)
        return packet

    def _exactly(self, count: int) -> bytes:
        data = b""
        while len(data) < count:
            try:
                piece = self._wire.recv(count - len(data))
            except ConnectionResetError:
                return b""
            if not piece:
                return b""
            data += piece
        return data

    def read_until(self, kind: int) -> bytes:
        """Read until the next packet of this type; others are recorded."""
        while True:
            packet = self.read()
            assert packet, f"closed before a packet of type {kind} came; got {[p.hex(' ') for p in self.received]}"
            if packet[0] >> 4 == kind:
                return packet

    def read_to_end(self) -> list[bytes]:
        """Read all packets until the client closes."""
        while self.read():
            pass
        return self.received

    def take_connect(self) -> bytes:
        """Read CONNECT; ``version`` is then 4 (MQTT 3.1.1) or 5 (MQTT 5)."""
        packet = self.read_until(CONNECT)
        self.version = packet[packet.index(b"MQTT") + 4]
        return packet

    def establish(self, *, session_present: bool = False, granted: bytes = b"\x01") -> None:
        """Read CONNECT and accept it, read SUBSCRIBE and answer with the given codes."""
        self.take_connect()
        flag = bytes([session_present])
        self.send(b"\x20\x03" + flag + b"\x00\x00" if self.version == 5 else b"\x20\x02" + flag + b"\x00")
        subscribe = self.read_until(SUBSCRIBE)
        self.subscribe_id = subscribe[2:4]
        body = self.subscribe_id + (b"\x00" if self.version == 5 else b"") + granted
        self.send(bytes([0x90, len(body)]) + body)

    def barrier(self) -> list[bytes]:
        """Send a PINGREQ; return the PUBACK packets that arrived before its answer."""
        before = len(self.received)
        self.send(b"\xc0\x00")
        self.read_until(PINGRESP)
        return [packet for packet in self.received[before:] if packet[0] >> 4 == PUBACK]

    def close(self) -> None:
        self._wire.close()


class ScriptedPeer:
    """A listener on the loopback; ``accept`` returns the next connection, which calls ``on_packet`` for each packet."""

    def __init__(self, on_packet: Callable[[PeerConnection, bytes], None] | None = None) -> None:
        self._on_packet = on_packet
        self._server = socket.create_server(("127.0.0.1", 0))
        self._server.settimeout(_PATIENCE_S)
        self.port: int = self._server.getsockname()[1]
        self._connections: list[PeerConnection] = []

    def accept(self) -> PeerConnection:
        wire, _ = self._server.accept()
        connection = PeerConnection(wire, self._on_packet)
        self._connections.append(connection)
        return connection

    def __enter__(self) -> ScriptedPeer:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for connection in self._connections:
            connection.close()
        self._server.close()
