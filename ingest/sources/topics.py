"""Which topics are still wanted, and which are to be given up at the broker.

A session that the broker kept may hold subscriptions to topics that have left the cellar file since.
"""

from __future__ import annotations

__all__ = ["WantedTopics"]

from collections.abc import Iterable
from typing import Final

from paho.mqtt.client import topic_matches_sub

# Topics that are given up on one connection, so that a flood of them costs no memory.
MOST_GIVEN_UP: Final = 1000


class WantedTopics:
    """The filters of one connection; wildcards are allowed."""

    def __init__(self, filters: Iterable[str]) -> None:
        each = tuple(filters)
        self._exact = frozenset(text for text in each if not _has_wildcard(text))
        self._wild = tuple(text for text in each if _has_wildcard(text))
        self._given_up: set[str] = set()

    def wants(self, topic: str) -> bool:
        """Whether a filter matches a topic; asked for every message."""
        return topic in self._exact or any(topic_matches_sub(text, topic) for text in self._wild)

    def give_up(self, topic: str) -> bool:
        """Whether to unsubscribe from a topic that nobody wants: True once for each.

        Where a wildcard subscription of old brings it, unsubscribing does nothing, so it is not tried again.
        """
        if not topic or topic in self._given_up or len(self._given_up) >= MOST_GIVEN_UP or _has_wildcard(topic):
            return False
        self._given_up.add(topic)
        return True


def _has_wildcard(text: str) -> bool:
    return "+" in text or "#" in text
