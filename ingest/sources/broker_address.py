"""A broker: how it is reached, how things stand with it, and what its refusals mean in plain words."""

from __future__ import annotations

__all__ = ["BrokerAddress", "MqttState", "connection_words", "refusal_words", "wire_words"]

import socket
import ssl
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal


@dataclass(frozen=True, slots=True)
class BrokerAddress:
    """Everything needed to connect.

    client_id: the name under which the broker keeps our session; no other program may use it.
    keep_alive_s: longest silence in seconds before a ping. session_expiry_s: how long the broker keeps our messages
    while we are away, 0 to 4294967295 (for ever); MQTT 5 only. window: most unacknowledged messages, 1 to 65535; MQTT 5
    only, because 3.1.1 leaves that to the broker. version: the only MQTT version to speak; None tries 5 first and 3.1.1
    where that fails.
    """

    host: str
    port: int = 1883
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: bool = False
    ca_file: Path | None = None
    client_id: str = ""
    keep_alive_s: int = 30
    session_expiry_s: int = 30 * 86_400
    window: int = 1000
    version: Literal["5", "3.1.1"] | None = None

    def __str__(self) -> str:
        return f"{self.host}:{self.port}"


@dataclass(frozen=True, slots=True)
class MqttState:
    """How things stand with the broker.

    subscribed: the broker has answered all our subscriptions, so that from now on nothing is missed. since_mono:
    ``time.monotonic()`` since when ``connected`` is as it is, seconds. session_present: the broker had kept our
    session. protocol: ``MQTT 5`` or ``MQTT 3.1.1``, empty before the first connection. last_error: the last trouble in
    plain words; empty while all is well, but a quarrel over the client id is told until a connection lasts.
    refused_topics: the topics we may not read. unsafe_topics: granted with QoS 0 only, so that messages are lost while
    we are away. generation: number of the connection.

    The rest are counts since the start: connections made; messages received; acknowledgements sent; messages that wait
    for their acknowledgement just now; acknowledgements dropped because their connection had ended; topics that were no
    UTF-8; messages on topics that the cellar file has no more, acknowledged and dropped (left_topics); messages that
    ``deliver`` failed to take (they stay with the broker until the next connection); failures in other callbacks.
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


_WRONG_LOGIN = (
    "The broker at {broker} refuses user {user}: wrong user name or password. Mend [mqtt] user and password; "
    "leeside goes on trying."
)
_NOT_ALLOWED = (
    "The broker at {broker} does not let user {user} with client id {client_id} in. Look at the broker's access rules; "
    "leeside goes on trying."
)
_BAD_ID = "The broker at {broker} refuses the client id {client_id}. Set another one in [mqtt]."
_NOT_READY = "The broker at {broker} is up but takes no connections just now; leeside goes on trying."
_TAKEN_OVER = (
    "Another program connected to the broker at {broker} with our client id {client_id}. Stop it or give it its own "
    "client id: two programs with one id push each other out and share one queue of messages."
)

# Reason codes of CONNACK and DISCONNECT: MQTT 5.0, sections 3.2.2.2 and 3.14.2.1; return codes 1 to 5 of a 3.1.1
# CONNACK (MQTT 3.1.1, table 3.1) are mapped onto them by the client library.
_REFUSALS = {
    0x85: _BAD_ID,
    0x86: _WRONG_LOGIN,
    0x87: _NOT_ALLOWED,
    0x88: _NOT_READY,
    0x89: _NOT_READY,
    0x8A: _NOT_ALLOWED,
    0x8B: "The broker at {broker} is shutting down; leeside goes on trying.",
    0x8D: "The broker at {broker} heard nothing from us for too long and closed the connection.",
    0x8E: _TAKEN_OVER,
    0x97: "The broker at {broker} closed the connection: a quota is used up. Look at the broker's limits.",
    0x9F: "The broker at {broker} closed the connection: we connect too often. leeside waits longer.",
}


def refusal_words(code: int, name: str, address: BrokerAddress) -> str:
    """What a reason code of CONNACK or DISCONNECT means and what to do; ``name`` is used for codes not known here."""
    text = _REFUSALS.get(code, "The broker at {broker} closed the connection: {name} (reason code {code}).")
    return text.format(
        broker=address,
        user=repr(address.user) if address.user else "without a name",
        client_id=repr(address.client_id),
        name=name,
        code=code,
    )


def connection_words(error: Exception, address: BrokerAddress) -> str:
    """Why no connection could be made: what happened and what to do next."""
    if isinstance(error, socket.gaierror):
        what = f"The name {address.host!r} leads nowhere ({error.strerror}): look at [mqtt] host and at the network."
    elif isinstance(error, ConnectionRefusedError):
        what = f"Nothing listens at {address}: is the broker running, and is the port right?"
    elif isinstance(error, ssl.SSLCertVerificationError):
        what = (
            f"The certificate of the broker at {address} does not pass ({error.verify_message}): look at [mqtt] "
            "ca_file, at the host name in the certificate, and at this machine's clock."
        )
    elif isinstance(error, ssl.SSLError | ConnectionResetError) and address.tls:
        why = error.reason if isinstance(error, ssl.SSLError) and error.reason else error
        what = f"No TLS connection to {address} ({why}): is this the broker's TLS port?"
    elif isinstance(error, TimeoutError):
        what = f"The broker at {address} does not answer: is the machine on, and does a firewall let us through?"
    elif isinstance(error, FileNotFoundError) and address.ca_file is not None:
        what = f"The file [mqtt] ca_file = {str(address.ca_file)!r} does not exist."
    else:
        what = f"No connection to the broker at {address}: {error}."
    return f"{what} leeside goes on trying."


def wire_words(error: Exception, address: BrokerAddress) -> str:
    """Why a standing connection ended, where the client library raised an error."""
    return f"The connection to the broker at {address} ended: {type(error).__name__}: {error}."
