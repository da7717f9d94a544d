"""The heartbeat: it goes somewhere, by a broker that there is, and not in the clear through the world."""

from __future__ import annotations

__all__ = ["heartbeat_problems"]

from collections.abc import Iterator
from urllib.parse import urlsplit

from ingest.cellar.channels import ChannelSettings, is_private_host
from ingest.cellar.checks.channels import reader_of, shown_topics
from ingest.cellar.connections import MqttSettings
from ingest.cellar.draft import CellarDraft
from ingest.cellar.heartbeat import HeartbeatSettings
from ingest.errors import Problem


def heartbeat_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find everything that is wrong with the heartbeat."""
    for entry in draft.entries(HeartbeatSettings):
        heartbeat = entry.model
        named = [key for key in ("url", "url_env", "url_file") if key in entry.raw]
        if not named and "topic" not in entry.raw:
            yield entry.problem("url", "is missing: say where the heartbeat goes with url, url_env, url_file or topic")
        if len(named) > 1:
            yield entry.problem(named[1], f"{named[0]} says it already; leave one of them out")
        if heartbeat.topic is not None and not draft.written(MqttSettings):
            yield entry.problem("topic", "needs a broker; add a table [mqtt]")
        if heartbeat.topic is not None:
            if reader := reader_of(heartbeat.topic, draft):
                yield entry.problem("topic", f"{reader} reads it; choose another one")
            for lamp in draft.entries(ChannelSettings):
                if heartbeat.topic in shown_topics(lamp.model):
                    yield entry.problem("topic", f"{lamp.label} shows the alarms on it; choose another one")
        parts = urlsplit(heartbeat.url or "")
        if parts.scheme == "http" and not heartbeat.allow_http and not is_private_host(parts.hostname or ""):
            yield entry.problem(
                "url",
                "it would cross the network in the clear; use https://, an address of a private network, or write "
                "allow_http = true if that is meant",
            )
