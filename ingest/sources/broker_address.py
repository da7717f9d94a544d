"""A broker: how it is reached and as whom, and what its refusals mean in plain words."""

from __future__ import annotations

__all__ = ["BrokerAddress", "connection_words", "default_client_id", "guest_address", "refusal_words", "wire_words"]

import os
import secrets
import socket
import ssl
from collections.abc import Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path

from ingest.cellar import MqttSettings


@dataclass(frozen=True, slots=True)
class BrokerAddress:
    """The broker of the cellar file, and as whom to connect to it.

    client_id: the name under which the broker keeps our session; no other program may use it. password, ca_file: those
    that the settings name. keeps_session: the broker keeps our subscriptions and messages while we are away, and our
    presence stands on a topic; False for a guest, of whom nothing stays and who publishes nothing.
    """

    settings: MqttSettings
    client_id: str
    password: str | None = field(default=None, repr=False)
    ca_file: Path | None = None
    keeps_session: bool = True

    @classmethod
    def of(
        cls,
        settings: MqttSettings,
        client_id: str,
        environ: Mapping[str, str],
        base: Path,
        *,
        keeps_session: bool = True,
    ) -> BrokerAddress:
        """Read the password and find the files that the settings name. Raises SourceError for a missing password.

        base: the cellar file's folder.
        """
        return cls(
            settings=settings,
            client_id=client_id,
            password=settings.password(environ, base),
            ca_file=None if settings.ca_file is None else base / settings.ca_file,
            keeps_session=keeps_session,
        )

    @property
    def presence_topic(self) -> str:
        """The topic on which the broker keeps ``online`` or ``offline``, retained."""
        return f"leeside/{self.client_id}/presence"

    def __str__(self) -> str:
        return f"{self.settings.host}:{self.settings.port}"


def default_client_id(store_path: Path) -> str:
    """The name under which the broker keeps messages: the same at every start, another for another machine or store."""
    try:
        machine = Path("/etc/machine-id").read_text(encoding="ascii").strip()
    except OSError:
        machine = os.uname().nodename
    return "leeside-" + sha256(f"{machine} {store_path.absolute()}".encode()).hexdigest()[:12]


def guest_address(settings: MqttSettings, environ: Mapping[str, str], base: Path) -> BrokerAddress:
    """Return the broker under a client id that nobody else has: the session of the running leeside stays as it is.

    The id has 23 characters, the most that each broker must take (MQTT 3.1.1, section 3.1.3.1). Raises SourceError for
    a missing password.
    """
    client_id = f"leeside-look-{secrets.token_hex(5)}"
    return BrokerAddress.of(settings, client_id, environ, base, keeps_session=False)


_WRONG_LOGIN = (
    "The broker at {broker} refuses user {user}: wrong user name or password. Correct [mqtt] user and password."
)
_NOT_ALLOWED = (
    "The broker at {broker} does not let user {user} with client id {client_id} in. Look at the broker's access rules."
)
_BAD_ID = "The broker at {broker} refuses the client id {client_id}. Set another one in [mqtt]."
_NOT_READY = "The broker at {broker} is up but takes no connections just now."
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
    0x8B: "The broker at {broker} is shutting down.",
    0x8D: "The broker at {broker} heard nothing from us for too long and closed the connection.",
    0x8E: _TAKEN_OVER,
    0x97: "The broker at {broker} closed the connection: a quota is used up. Look at the broker's limits.",
    0x9F: "The broker at {broker} closed the connection: we connect too often.",
}


def refusal_words(code: int, name: str, address: BrokerAddress) -> str:
    """Explain a reason code of CONNACK or DISCONNECT, and what to do; ``name`` is used for codes not known here."""
    text = _REFUSALS.get(code, "The broker at {broker} closed the connection: {name} (reason code {code}).")
    return text.format(
        broker=address,
        user=repr(address.settings.user) if address.settings.user else "without a name",
        client_id=repr(address.client_id),
        name=name,
        code=code,
    )


def connection_words(error: Exception, address: BrokerAddress) -> str:
    """Explain why no connection could be made, and what to do."""
    match error:
        case socket.gaierror():
            host = address.settings.host
            words = f"The name {host!r} leads nowhere ({error.strerror}): look at [mqtt] host and at the network."
        case ConnectionRefusedError():
            words = f"Nothing listens at {address}: is the broker running, and is the port right?"
        case ssl.SSLCertVerificationError():
            words = (
                f"The certificate of the broker at {address} does not pass ({error.verify_message}): look at [mqtt] "
                "ca_file, at the host name in the certificate, and at this machine's clock."
            )
        case ssl.SSLError() | ConnectionResetError() if address.settings.tls:
            why = error.reason if isinstance(error, ssl.SSLError) and error.reason else error
            words = f"No TLS connection to {address} ({why}): is this the broker's TLS port?"
        case TimeoutError():
            words = f"The broker at {address} does not answer: is the machine on, and does a firewall let us through?"
        case FileNotFoundError() if address.ca_file is not None:
            words = f"The file [mqtt] ca_file = {str(address.ca_file)!r} does not exist."
        case _:
            words = f"No connection to the broker at {address}: {error}."
    return words


def wire_words(error: Exception, address: BrokerAddress) -> str:
    """Explain why a standing connection ended, where the client library raised an error."""
    return f"The connection to the broker at {address} ended: {type(error).__name__}: {error}."
