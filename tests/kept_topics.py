"""What a broker keeps and publishes under a topic."""

from __future__ import annotations

__all__ = ["kept"]

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion


@contextmanager
def kept(port: int, topic: str = "cellar/alarm") -> Iterator[dict[str, str]]:
    """The newest payload of each topic below one, by its end; it grows as more comes."""
    seen: dict[str, str] = {}
    subscribed = threading.Event()
    client = paho.Client(CallbackAPIVersion.VERSION2)

    def on_message(_client: Any, _userdata: Any, message: paho.MQTTMessage) -> None:
        seen[message.topic.removeprefix(f"{topic}/")] = message.payload.decode()

    client.on_message = on_message
    client.on_subscribe = lambda *_: subscribed.set()
    client.connect("127.0.0.1", port)
    client.subscribe(f"{topic}/#", 1)
    client.loop_start()
    try:
        assert subscribed.wait(20)
        yield seen
    finally:
        client.disconnect()
        client.loop_stop()
