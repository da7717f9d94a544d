"""A flood of alarms: more than one person can read (ISA-18.2: more than ten in ten minutes, over below five in ten).

The first ten go out as always. From the eleventh on one summary gives what is new, at once; then a summary follows
every 20 minutes, and one message says that the flood is over. An alarm of high priority goes out at once and by itself
also in a flood: it says that somebody has to act now, there are few of them, and a summary has one subject only.
"""

from __future__ import annotations

__all__ = ["MOST_ALARMS", "OVER_BELOW", "SUMMARY_EVERY_MS", "WINDOW_MS", "flood_goes_on", "flood_over", "in_flood"]

import shlex
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from alerts.message.bundle import Notice, gather, joined, listed, most_urgent_first
from alerts.message.subject import SUBJECT_LIMIT, shortened
from alerts.message.wording import MessageText
from alerts.view.format import counted
from alerts.watch.alarm_table import Occasion
from ingest.store.alarms.held_messages import FLOOD

# ISA-18.2 and EEMUA 191 count an alarm flood so, for each operator.
MOST_ALARMS: Final = 10
OVER_BELOW: Final = 5
WINDOW_MS: Final = 10 * 60 * 1000
# Three summaries an hour can be read beside the work that a flood makes; this project's choice.
SUMMARY_EVERY_MS: Final = 20 * 60 * 1000

_ALARMS: Final = (Occasion.RAISED, Occasion.CHATTERING)


def in_flood(
    notices: Sequence[Notice], since_ms: int | None, recent: int, now_ms: int, *, site: str, file: str
) -> list[Notice]:
    """Give what goes to a person now and later, of the notices of one turn.

    since_ms: since when the person is in a flood, None if in none; recent: alarms of the last ten minutes before this
    turn; site: the cellar's name; file: the cellar file as a command names it. What is held back already stays so.
    """
    at_once = [each for each in notices if not each.hold]
    held = [each for each in notices if each.hold]
    if since_ms is None:
        raised = sum(each.is_active and each.occasion in _ALARMS for each in at_once)
        if not raised or recent + raised <= MOST_ALARMS:
            return gather(notices, site)
        return [_begins(at_once, recent, raised, site, file), *held]
    urgent = [each for each in at_once if each.is_active and each.priority == "high"]
    passed = max(now_ms - since_ms, 0) // SUMMARY_EVERY_MS
    next_ms = max(since_ms + (passed + 1) * SUMMARY_EVERY_MS, now_ms)
    later = [replace(each, hold="flood", not_before_ms=next_ms) for each in at_once if each not in urgent]
    return [*gather(urgent, site), *later, *held]


def _begins(notices: Sequence[Notice], recent: int, raised: int, site: str, file: str) -> Notice:
    ordered = most_urgent_first(notices)
    sent = f" {recent} of them came by mail before." if recent else ""
    note = (
        "Until it is over, alarms of high priority still come at once. Everything else comes together, every "
        f"{SUMMARY_EVERY_MS // 60_000} minutes. One message says when it is over.\n"
        f"Each alarm is kept: leeside alarms {shlex.quote(file)} --history"
    )
    body = (
        f"{counted(recent + raised, 'alarm')} in ten minutes at {site}: more than anybody can follow.{sent} Look for "
        f"one cause first: power, network, gas supply, cooling.\n\nNew:\n{listed(ordered, note)}"
    )
    return joined(ordered, f"FLOOD OF {recent + raised} ALARMS{_urgency(ordered)} at {site}", body, FLOOD)


def flood_goes_on(notices: Sequence[Notice], site: str) -> Notice:
    """Write the summary of what was held back since the last one."""
    ordered = most_urgent_first(notices)
    alarms = sum(each.is_active for each in ordered)
    count = counted(alarms, "new alarm")
    clears = len(ordered) - alarms
    body = f"The flood of alarms at {site} goes on: {count} and {counted(clears, 'all-clear')}.\n\n{listed(ordered)}"
    return joined(ordered, f"FLOOD GOES ON, {count}{_urgency(ordered)} at {site}", body, FLOOD)


def flood_over(held: Sequence[Notice], standing: Sequence[str], site: str) -> MessageText:
    """Write that the flood is over.

    held: what was held back since the last summary; standing: a line for each alarm that still stands.
    """
    ordered = most_urgent_first(held)
    count = counted(len(standing), "alarm")
    stands = f"{count} still {'stands' if len(standing) == 1 else 'stand'}" if standing else "no alarm stands any more"
    parts = [f"The flood of alarms at {site} is over, {stands}. From now on each alarm is sent by itself again."]
    if standing:
        parts.append("\n".join(f"  {line}" for line in standing))
    if ordered:
        parts.append(f"Since the last summary:\n{listed(ordered)}".rstrip())
    return MessageText(shortened(f"FLOOD OVER at {site}: {stands}", SUBJECT_LIMIT), "\n\n".join(parts) + "\n")


def _urgency(ordered: Sequence[Notice]) -> str:
    high = sum(each.is_active and each.priority == "high" for each in ordered)
    return f", {high} of HIGH PRIORITY," if high else ""
