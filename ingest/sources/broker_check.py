"""A broker tried once, without a trace: does it let us in, and does it grant the topics?"""

from __future__ import annotations

__all__ = ["BrokerTrial", "try_broker"]

import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from paho.mqtt import client as paho

from ingest.sources.broker_address import BrokerAddress
from ingest.sources.mqtt_client import ANSWER_TIMEOUT_S
from ingest.sources.mqtt_connection import (
    FIRST_ANSWER_S,
    PROTOCOL_NAMES,
    Connection,
    ConnectionCounts,
    ConnectionHandler,
)


@dataclass(frozen=True, slots=True)
class BrokerTrial:
    """What came of a short visit at a broker.

    protocol: "MQTT 5" or "MQTT 3.1.1" if the broker let us in, else ""; granted: topic filter -> QoS; refused: topic
    filter -> the broker's reason; error: why it failed or ended, "" for nothing.
    """

    protocol: str
    granted: Mapping[str, int]
    refused: Mapping[str, str]
    error: str


def try_broker(address: BrokerAddress, topics: Sequence[str]) -> BrokerTrial:
    """Connect, subscribe to each topic, wait for the answers, leave. address: one of ``guest_address``."""
    handler = ConnectionHandler(deliver=lambda _: None, clock=lambda: 0, monotonic=time.monotonic)
    for protocol in PROTOCOL_NAMES:
        answer_timeout_s = FIRST_ANSWER_S if protocol == paho.MQTTv5 else ANSWER_TIMEOUT_S
        connection = Connection(
            address, protocol, topics, handler, ConnectionCounts(), answer_timeout_s=answer_timeout_s
        )
        connection.run(threading.Event(), until_subscribed=True)
        if not (connection.version_refused or connection.unanswered):
            break
    subscriptions = connection.subscriptions
    protocol_name = PROTOCOL_NAMES[protocol] if connection.established else ""
    return BrokerTrial(protocol_name, subscriptions.granted, subscriptions.refused, connection.error)
