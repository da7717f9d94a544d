"""The store's side of the outbox's contract."""

from __future__ import annotations

__all__ = ["StoredOutbox"]

from collections.abc import Sequence

from alerts.message.outbox import StoredMessage
from ingest.store import Store
from ingest.store.alarms.messages import due_messages, mark_failed, mark_gave_up, mark_sent


class StoredOutbox:
    """An ``OutboxStore`` over the table ``message``."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def due(self, now_ms: int) -> Sequence[StoredMessage]:
        """Messages whose time has come, the longest waiting first."""
        return [
            StoredMessage(
                id=row.id,
                message_id=row.message_id,
                thread_id=row.thread_id,
                recipient=row.recipient,
                subject=row.subject,
                body=row.body,
                created_ms=row.created_ms,
                not_before_ms=row.not_before_ms,
                attempts=row.attempts,
                closed_ms=row.closed_ms,
            )
            for row in due_messages(self._store, now_ms)
        ]

    def sent(self, id: int, at_ms: int) -> None:
        """Note that a message was taken."""
        mark_sent(self._store, id, at_ms)

    def failed(self, id: int, at_ms: int, error: str, next_try_ms: int) -> None:
        """Note a try that failed."""
        mark_failed(self._store, id, error, next_try_ms)

    def gave_up(self, id: int, at_ms: int, reason: str) -> None:
        """Note that a message is not tried again."""
        mark_gave_up(self._store, id, at_ms, reason)
