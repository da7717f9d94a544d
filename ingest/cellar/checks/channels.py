"""Channels: each has the keys of its kind, its secret is outside of the file, and it is not read by strangers."""

from __future__ import annotations

__all__ = ["channel_problems", "reader_of", "shown_topics"]

from collections.abc import Iterator
from typing import Final, get_args
from urllib.parse import urlsplit

from ingest.cellar.channels import ChannelKind, ChannelSettings, is_private_host
from ingest.cellar.connections import MqttSettings
from ingest.cellar.draft import CellarDraft
from ingest.cellar.equipment import Probe
from ingest.cellar.limits import Priority
from ingest.cellar.people import MAIL_CHANNEL
from ingest.cellar.table_entry import TableEntry
from ingest.errors import Problem

# Which keys go with which kind, beside id and kind.
_KEYS: Final[dict[ChannelKind, tuple[str, ...]]] = {
    "apprise": ("url_env", "url_file", "timeout"),
    "webhook": ("url", "secret_env", "secret_file", "ca_file", "allow_http", "timeout"),
    "mqtt": ("topic", "payload"),
}
_ALWAYS: Final = ("id", "kind")


def channel_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find everything that is wrong with channels."""
    topics: dict[str, str] = {}
    for entry in draft.entries(ChannelSettings):
        channel = entry.model
        if channel.id.lower() == MAIL_CHANNEL:
            yield entry.problem("id", "this id stands for the server of [mail]; choose another one")
        if channel.kind == "apprise" and channel.url is not None:
            yield entry.problem(
                "url",
                "an apprise URL is as good as a password; name an environment variable with url_env, or a file that "
                "only leeside can read with url_file",
            )
        else:
            yield from _keys_of_another_kind(entry)
        match channel.kind:
            case "apprise":
                yield from _one_of(entry, "url_env", "url_file", "the apprise URL")
            case "webhook":
                yield from _webhook(entry)
            case "mqtt":
                yield from _lamp(entry, draft)
                if channel.topic is not None and (other := topics.setdefault(channel.topic, channel.id)) != channel.id:
                    yield entry.problem("topic", f"{other} has this topic; each channel needs its own")


def _keys_of_another_kind(entry: TableEntry[ChannelSettings]) -> Iterator[Problem]:
    kind = entry.model.kind
    for key in entry.raw:
        if key not in (*_ALWAYS, *_KEYS[kind]):
            yield entry.problem(key, f'is not used by a channel of kind "{kind}"; its keys: {", ".join(_KEYS[kind])}')


def _webhook(entry: TableEntry[ChannelSettings]) -> Iterator[Problem]:
    channel = entry.model
    if "url" not in entry.raw:
        yield entry.problem("url", 'is missing: where messages are posted, such as "https://hooks.example/leeside"')
    yield from _one_of(entry, "secret_env", "secret_file", "the secret that messages are signed with")
    if channel.url is None:
        return
    parts = urlsplit(channel.url)
    if parts.scheme == "https":
        if "allow_http" in entry.raw:
            yield entry.problem("allow_http", "is only used with http://; leave this out")
    elif channel.ca_file is not None:
        yield entry.problem("ca_file", "is only used with https://; change the url, or leave this out")
    if parts.scheme == "http" and not channel.allow_http and not is_private_host(parts.hostname or ""):
        yield entry.problem(
            "url",
            "messages would cross the network in the clear, where anybody can read them; use https://, an address of "
            "a private network, or write allow_http = true if that is meant",
        )


def _lamp(entry: TableEntry[ChannelSettings], draft: CellarDraft) -> Iterator[Problem]:
    if "topic" not in entry.raw:
        yield entry.problem("topic", 'is missing: under which topic the alarms are shown, such as "cellar/alarm"')
    if not draft.written(MqttSettings):
        yield entry.problem("kind", "needs a broker; add a table [mqtt]")
    for topic in shown_topics(entry.model):
        if reader := reader_of(topic, draft):
            yield entry.problem("topic", f"{reader} reads {topic}, where the alarms would be shown; choose another one")


def shown_topics(channel: ChannelSettings) -> list[str]:
    """List the topics on which a channel of kind mqtt shows the alarms."""
    return [] if channel.topic is None else [f"{channel.topic}/{end}" for end in (*get_args(Priority), "presence")]


def reader_of(topic: str, draft: CellarDraft) -> str:
    """Give the label of a probe that reads what is published on a topic, "" for none."""
    return next((probe.label for probe in draft.entries(Probe) if probe.model.topic == topic), "")


def _one_of(entry: TableEntry[ChannelSettings], variable: str, file: str, what: str) -> Iterator[Problem]:
    given = [key for key in (variable, file) if key in entry.raw]
    if not given:
        yield entry.problem(
            variable, f"is missing: an environment variable that holds {what}; or a file that does, with {file}"
        )
    elif len(given) > 1:
        yield entry.problem(file, f"give {variable} or {file}, not both")
