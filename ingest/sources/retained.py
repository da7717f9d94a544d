"""One retained message at a broker, on a connection of its own that ends at once."""

from __future__ import annotations

__all__ = ["publish_retained", "publishing_client"]

import time
from typing import TYPE_CHECKING, Any, Final

from ingest.sources.broker_address import BrokerAddress, connection_words, refusal_words

if TYPE_CHECKING:
    from paho.mqtt.client import Client

_STEP_S: Final = 0.2
_KEEP_ALIVE_S: Final = 30


def publishing_client(address: BrokerAddress, connect_timeout_s: float) -> Client:
    """Make a client of the library for a connection that only publishes, by MQTT 3.1.1, which every broker speaks."""
    from paho.mqtt import client as paho
    from paho.mqtt.enums import CallbackAPIVersion

    settings = address.settings
    client = paho.Client(
        CallbackAPIVersion.VERSION2, client_id=address.client_id, clean_session=True, protocol=paho.MQTTv311
    )
    client.connect_timeout = connect_timeout_s
    if settings.user is not None:
        client.username_pw_set(settings.user, address.password)
    if settings.tls:
        client.tls_set(ca_certs=None if address.ca_file is None else str(address.ca_file))
    return client


def publish_retained(address: BrokerAddress, topic: str, payload: bytes, timeout_s: float) -> str:
    """Publish with QoS 1, retained; "" once the broker has acknowledged it, else why it has not within the time."""
    refusal: list[str] = []
    connected: list[bool] = []
    acknowledged: list[int] = []

    def on_connect(_client: Any, _userdata: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            refusal.append(refusal_words(reason.value, reason.getName(), address))
        else:
            connected.append(True)

    def on_publish(_client: Any, _userdata: Any, packet_id: int, _reason: Any, _properties: Any) -> None:
        acknowledged.append(packet_id)

    settings = address.settings
    deadline = time.monotonic() + timeout_s
    try:
        client = publishing_client(address, timeout_s)
    except OSError as error:  # a file of certificates that is not there, or holds none
        return connection_words(error, address)
    client.on_connect = on_connect
    client.on_publish = on_publish
    try:
        client.connect(settings.host, settings.port, keepalive=_KEEP_ALIVE_S)
        is_sent = False
        while time.monotonic() < deadline and not refusal and client.loop(_STEP_S) == 0:
            if connected and not is_sent:
                client.publish(topic, payload, qos=1, retain=True)
                is_sent = True
            if acknowledged:
                client.disconnect()
                return ""
    except (OSError, ValueError) as error:
        return connection_words(error, address)
    finally:
        if (wire := client.socket()) is not None:
            wire.close()
    return refusal[0] if refusal else f"the broker at {address} has not acknowledged it within {timeout_s:g} s"
