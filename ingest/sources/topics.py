"""The topic filters of one connection: what is wanted, what the broker grants and refuses, what is given up.

A session that the broker kept may hold subscriptions to topics that have left the cellar file since.
"""

from __future__ import annotations

__all__ = ["Subscriptions", "filter_problem"]

from collections.abc import Iterable, Sequence
from typing import Final

from paho.mqtt.client import topic_matches_sub
from paho.mqtt.reasoncodes import ReasonCode

# Topics that are given up on one connection, so that a flood of them costs no memory.
MOST_GIVEN_UP: Final = 1000
_LONGEST_TOPIC_BYTES: Final = 65535  # MQTT 5.0, section 1.5.4


def filter_problem(text: str) -> str:
    """Return what is wrong with a topic filter, "" if nothing (MQTT 5.0, section 4.7)."""
    if not text or "\0" in text or len(text.encode("utf-8", "surrogatepass")) > _LONGEST_TOPIC_BYTES:
        return "must have 1 to 65535 bytes and no NUL"
    levels = text.split("/")
    if any("#" in level and (level != "#" or number < len(levels)) for number, level in enumerate(levels, 1)):
        return '"#" stands alone at the end, such as "cellar/#"'
    if any("+" in level and level != "+" for level in levels):
        return '"+" stands for one whole level, such as "cellar/+/pressure"'
    return ""


class Subscriptions:
    """The filters of one connection; wildcards are allowed.

    granted: filter -> QoS; refused: filter -> the broker's reason. Both may be read from any thread.
    """

    def __init__(self, filters: Iterable[str]) -> None:
        self.filters = tuple(filters)
        self.granted: dict[str, int] = {}
        self.refused: dict[str, str] = {}
        self._exact = frozenset(text for text in self.filters if not _has_wildcard(text))
        self._wild = tuple(text for text in self.filters if _has_wildcard(text))
        self._given_up: set[str] = set()
        self._waiting: dict[int, Sequence[str]] = {}
        self._all_asked = False

    # ---- asking for them ---------------------------------------------------------------------------------------

    def asked(self, packet_id: int, filters: Sequence[str]) -> None:
        """Note that a SUBSCRIBE with these filters is on its way."""
        self._waiting[packet_id] = filters

    def all_asked(self) -> None:
        """Note that every filter has been asked for."""
        self._all_asked = True

    def answered(self, packet_id: int, reasons: Iterable[ReasonCode]) -> None:
        """Note a SUBACK."""
        for topic, reason in zip(self._waiting.pop(packet_id, ()), reasons, strict=False):
            if reason.is_failure:
                self.refused[topic] = reason.getName()
            else:
                self.granted[topic] = reason.value

    @property
    def complete(self) -> bool:
        """Whether the broker has answered every SUBSCRIBE."""
        return self._all_asked and not self._waiting

    @property
    def unsafe(self) -> list[str]:
        """Filters that were granted with QoS 0 only."""
        return [topic for topic, qos in self.granted.copy().items() if qos == 0]

    # ---- what comes --------------------------------------------------------------------------------------------

    def wants(self, topic: str) -> bool:
        """Whether a filter matches a topic; asked for every message."""
        return topic in self._exact or any(topic_matches_sub(text, topic) for text in self._wild)

    def give_up(self, topic: str) -> bool:
        """Whether to unsubscribe from a topic that nobody wants: True once for each.

        Where an old wildcard subscription brings it, unsubscribing does nothing, so it is not tried again.
        """
        if not topic or topic in self._given_up or len(self._given_up) >= MOST_GIVEN_UP or _has_wildcard(topic):
            return False
        self._given_up.add(topic)
        return True


def _has_wildcard(text: str) -> bool:
    return "+" in text or "#" in text
