"""Reminders of a racking that was begun and that no entry finishes: its vessels are watched less meanwhile."""

from __future__ import annotations

__all__ = ["RackingReminder", "RackingReminders"]

import shlex
import sqlite3
from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

from alerts.message.hours import earliest
from alerts.message.message_id import stable_message_id
from alerts.message.reports import put_report
from alerts.message.wording import MessageText
from alerts.view.entries.advised_forms import NOTHING, form_path
from alerts.view.format import duration_text, exact_time
from ingest.cellar import Cellar
from ingest.journal.open_rackings import LONGEST_RACKING_MS, OpenRacking
from ingest.store.alarms.messages import has_message

_HOUR_MS: Final = 3_600_000
# How long after its beginning a racking is reminded of: while its vessels are still muted, and once more the next day.
# This project's choice.
_REMINDED_AFTER_MS: Final = (4 * _HOUR_MS, 24 * _HOUR_MS)
# One that was begun longer ago is left in peace; it is listed as not finished all the same.
_NO_LONGER_MS: Final = 7 * 24 * _HOUR_MS


class RackingReminder(NamedTuple):
    """after_ms: which of the reminders it is, by how long after the beginning it is due."""

    racking: OpenRacking
    after_ms: int

    @property
    def name(self) -> str:
        """The same for this reminder of this racking, and different for any other."""
        return f"racking-{self.racking.entry}-{self.after_ms // _HOUR_MS}h"


class RackingReminders:
    """Knows which reminders are due; each is put into the outbox once, which also remembers it over a restart."""

    def __init__(self, cellar: Cellar) -> None:
        self._cellar = cellar
        self._written: set[str] = set()

    def due(self, connection: sqlite3.Connection, begun: Iterable[OpenRacking], now_ms: int) -> list[RackingReminder]:
        """Of each racking the last reminder that is due and not written yet. begun: those not finished; now_ms: UTC."""
        numbers = [number for number, each in enumerate(self._cellar.recipients) if each.gets_reports]
        if not numbers:
            return []
        reminders = []
        for racking in begun:
            passed_ms = now_ms - racking.at_ms
            reached = [after_ms for after_ms in _REMINDED_AFTER_MS if passed_ms >= after_ms]
            if not reached or passed_ms >= _NO_LONGER_MS:
                continue
            reminder = RackingReminder(racking, reached[-1])
            if reminder.name in self._written:
                continue
            first = stable_message_id("report", reminder.name, numbers[0], sender=self._cellar.sender)
            if has_message(connection, first):
                self._written.add(reminder.name)
            else:
                reminders.append(reminder)
        return reminders

    def put(self, connection: sqlite3.Connection, reminders: Sequence[RackingReminder], now_ms: int) -> int:
        """Put them into the outbox, to go out in waking hours; the number of messages."""
        site = self._cellar.site
        not_before_ms = earliest(now_ms, "waking", site.waking, site.zone)
        return sum(
            put_report(connection, self._text(reminder, now_ms), self._cellar, reminder.name, now_ms, not_before_ms)
            for reminder in reminders
        )

    def _text(self, reminder: RackingReminder, now_ms: int) -> MessageText:
        racking, zone, file = reminder.racking, self._cellar.site.zone, shlex.quote(self._cellar.file)
        end_ms = racking.at_ms + LONGEST_RACKING_MS
        end, vessels = exact_time(end_ms, zone), " and ".join(racking.vessels)
        if racking.lasts(now_ms):
            effect = f"Until it is finished, low pressure and leaks of {vessels} raise no alarm, at most until {end}."
        else:
            effect = f"Low pressure and leaks of {vessels} are watched again since {end}."
        age = duration_text((now_ms - racking.at_ms) / 1000)
        sources = " ".join(f"--from {shlex.quote(source)}" for source in racking.sources)
        return MessageText(
            f"NOTE: {racking.name} is not finished"[:78],
            f"The {racking.name}, begun {exact_time(racking.at_ms, zone)} by {racking.who}, {age} ago, is not "
            f"finished in the journal. {effect} High pressure is an alarm at any time.\n\n"
            f"Write down what came of it:        leeside enter racking {file} {sources} --to ...\n"
            f"or strike it, if nothing did:      leeside strike {file} {racking.entry} --reason '...'\n"
            f"{self._on_the_page(racking)}",
        )

    def _on_the_page(self, racking: OpenRacking) -> str:
        """Where the page has the forms for the same, "" where nobody can reach it from elsewhere."""
        url = self._cellar.page.url if self._cellar.page else None
        if url is None:
            return ""
        return (
            f"On the page, to write it down:      {url}{form_path('racking', NOTHING, {'from': racking.sources})}\n"
            f"or to strike it:                    {url}/journal/{racking.entry}/strike\n"
        )
