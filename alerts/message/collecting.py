"""What was held back goes out together, once its time has come: waking hours, the digest, a summary in a flood."""

from __future__ import annotations

__all__ = ["Collector"]

from collections.abc import Sequence
from typing import Final

from alerts.message.bundle import MOST_APART, Notice, notice_of, together
from alerts.message.digest import digest
from alerts.message.flood import flood_goes_on
from alerts.message.message_id import stable_message_id
from ingest.store import Store
from ingest.store.alarms.held_messages import held_due, replace_held
from ingest.store.alarms.messages import MessageRow, NewMessage

_DIGEST: Final = "digest"
_FLOOD: Final = "flood"
_WHEN: Final = {"waking": "outside of waking hours", "away": "while you were away"}


class Collector:
    """Works on the outbox before it is sent. site: the cellar's name."""

    def __init__(self, store: Store, site: str) -> None:
        self._store = store
        self._site = site

    def collect(self, now_ms: int) -> None:
        """Put together the messages to one person that were held back for one reason until now (UTC ms).

        Up to ``MOST_APART`` that waited for waking hours stay apart. What is put together counts as one message that
        was never tried. Raises StoreError.
        """
        if not held_due(self._store.connection, now_ms):
            return
        with self._store.write() as connection:
            groups: dict[tuple[str, str], list[MessageRow]] = {}
            for row in held_due(connection, now_ms):
                groups.setdefault((row.recipient, row.hold), []).append(row)
            for (recipient, hold), rows in groups.items():
                notice = self._notice(hold, [notice_of(row) for row in rows])
                if notice is not None:
                    replace_held(connection, rows, _message(notice, recipient, rows[0], now_ms), now_ms)

    def _notice(self, hold: str, notices: Sequence[Notice]) -> Notice | None:
        if hold == _DIGEST:
            return digest(notices, self._site)
        if hold == _FLOOD:
            return flood_goes_on(notices, self._site)
        when = _WHEN.get(hold, "at once")
        return together(notices, self._site, when) if len(notices) > MOST_APART else None


def _message(notice: Notice, recipient: str, first: MessageRow, now_ms: int) -> NewMessage:
    return NewMessage(
        message_id=stable_message_id("together", first.id, sender=first.message_id.strip("<>")),
        occurrence=" ".join(notice.occurrences) or None,
        occasion=str(notice.occasion),
        channel=first.channel,
        recipient=recipient,
        subject=notice.draft.subject,
        body=notice.draft.body,
        created_ms=now_ms,
        not_before_ms=now_ms,
        priority=notice.priority if notice.is_active else "",
    )
