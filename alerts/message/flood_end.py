"""The end of a flood of alarms: noticed by a turn, and reported once to each person who was in it."""

from __future__ import annotations

__all__ = ["FloodEnd"]

import sqlite3
from collections.abc import Sequence

from alerts.message.bundle import notice_of
from alerts.message.flood import OVER_BELOW, WINDOW_MS, flood_over
from alerts.message.message_id import stable_message_id
from ingest.cellar import Cellar
from ingest.store import Store
from ingest.store.alarms.held_messages import FLOOD_OVER, alarms_since, held_for, people_in_flood, replace_held
from ingest.store.alarms.messages import NewMessage


class FloodEnd:
    """Knows who is in a flood, by the outbox, so that a turn without one asks nothing."""

    def __init__(self, cellar: Cellar, store: Store) -> None:
        self._cellar = cellar
        self._store = store
        self._people: list[str] = []
        self.look(1)

    def look(self, messages: int) -> None:
        """See who is in a flood, after a turn that wrote so many messages."""
        if not messages:
            return
        names = [each.name for each in self._cellar.recipients]
        self._people = people_in_flood(self._store.connection, names)

    def over_for(self, now_ms: int) -> list[str]:
        """Those whose flood is over at this time (UTC ms)."""
        connection, from_ms = self._store.connection, now_ms - WINDOW_MS
        return [each for each in self._people if alarms_since(connection, each, from_ms) < OVER_BELOW]

    def report(
        self, connection: sqlite3.Connection, recipients: Sequence[str], standing: Sequence[str], now_ms: int
    ) -> int:
        """Put the message that it is over into the outbox for each of them, with what was held back; their number.

        standing: a line for each alarm that still stands.
        """
        for number, (name, channel) in enumerate((each.name, each.channel) for each in self._cellar.recipients):
            if name not in recipients:
                continue
            held = held_for(connection, "flood", name)
            notices = [notice_of(row) for row in held]
            text = flood_over(notices, standing, self._cellar.site.name)
            message = NewMessage(
                message_id=stable_message_id(FLOOD_OVER, now_ms, number, sender=self._cellar.sender),
                occurrence=" ".join(name for each in notices for name in each.occurrences) or None,
                occasion=FLOOD_OVER,
                channel=channel,
                recipient=name,
                subject=text.subject,
                body=text.body,
                created_ms=now_ms,
                not_before_ms=now_ms,
            )
            replace_held(connection, held, message, now_ms)
        return len(recipients)
