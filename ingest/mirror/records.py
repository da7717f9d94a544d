"""Records: changes of alarms, entries of the journal and strikes, each followed by a place of its own.

They are only ever added, so the number of the last one that was sent is enough, and nothing has to be put off while the
server is away.
"""

from __future__ import annotations

__all__ = ["Records"]

from typing import Final

from ingest.mirror.client import Reply
from ingest.mirror.sending import Sender
from ingest.mirror.store_lines import StoreLines
from ingest.store import Store
from ingest.store.change_feed import cursor, set_cursor
from ingest.store.mirror_queue import TRANSITIONS, transitions_after, unsent_transitions
from ingest.store.mirror_queue_entries import keep_entries, keep_strikes, next_entries, next_strikes, unsent_entries

# An entry can be some kilobytes long.
AT_ONCE: Final = 200


class Records:
    """Sends the records of a store, those of one kind in the order in which they were written."""

    def __init__(self, store: Store, lines: StoreLines, sender: Sender) -> None:
        self._store = store
        self._lines = lines
        self._sender = sender

    def send(self) -> Reply | None:
        """Send the next of each kind; the reply that stopped it, or None."""
        return self._send_transitions() or self._send_entries() or self._send_strikes()

    def unsent(self) -> int:
        """How many are left."""
        return unsent_transitions(self._store) + unsent_entries(self._store)

    def _send_transitions(self) -> Reply | None:
        rows = transitions_after(self._store, cursor(self._store, TRANSITIONS) or 0, self._sender.batch)
        if not rows:
            return None
        stopped = self._sender.send(self._store, self._lines.transitions(rows))
        if stopped is None:
            with self._store.write() as connection:
                set_cursor(connection, TRANSITIONS, rows[-1][0])
        return stopped

    def _send_entries(self) -> Reply | None:
        entries = next_entries(self._store, AT_ONCE)
        if not entries:
            return None
        stopped = self._sender.send(self._store, self._lines.entries(entries))
        if stopped is None:
            keep_entries(self._store, entries)
        return stopped

    def _send_strikes(self) -> Reply | None:
        strikes = next_strikes(self._store, AT_ONCE)
        if not strikes:
            return None
        stopped = self._sender.send(self._store, self._lines.entries(entry for _, entry in strikes))
        if stopped is None:
            keep_strikes(self._store, strikes[-1][0])
        return stopped
