"""Who would hear of an alarm, when, and by which channel, if it were raised at a time. Pure.

It asks what the messages of a turn ask, so what it says is what happens.
"""

from __future__ import annotations

__all__ = ["Hearing", "hearings"]

from typing import NamedTuple

from alerts.absence.routing import Route
from alerts.message.reminders import passed_on_after_ms
from alerts.message.routes import first_route, wait_of
from alerts.watch.own_limits import channel_key
from ingest.cellar import Cellar, EffectiveLimit, Recipient
from ingest.store.alarms.absences import Absence


class Hearing(NamedTuple):
    """How a recipient would hear of an alarm, or why not.

    at_ms: when the message would go out [UTC ms], None for never; hold: what it would wait for, "" for nothing;
    after_s: for how long nobody has acknowledged the alarm by then, 0 where that does not count; helped: the message
    says what a helper can do; why: they would not hear of it.
    """

    recipient: Recipient
    at_ms: int | None
    hold: str = ""
    after_s: float = 0.0
    helped: bool = False
    why: str = ""


def hearings(
    cellar: Cellar, limit: EffectiveLimit, absence: Absence | None, step: str, raised_ms: int
) -> list[Hearing]:
    """List it for each recipient, twice where an alarm is passed on before the message that waits.

    absence: that is under way when the alarm is raised; step: what a helper can do about it, "" for nothing.
    """
    listed: list[Hearing] = []
    for recipient in cellar.recipients:
        route = first_route(limit, recipient, absence, step, got_it=False)
        after_ms = _after_ms(limit, recipient, absence)
        is_passed_on = after_ms is not None and not (route.hears and route.held_until_ms is None)
        if route.hears:
            wait = wait_of(cellar, limit, recipient, route, raised_ms)
            listed.append(Hearing(recipient, wait.not_before_ms, wait.hold, helped=route.step != ""))
        if is_passed_on and after_ms is not None:
            wait = wait_of(cellar, limit, recipient, Route(True), raised_ms + after_ms)
            listed.append(Hearing(recipient, wait.not_before_ms, wait.hold, after_ms / 1000))
        if not route.hears and not is_passed_on:
            listed.append(Hearing(recipient, None, why=_why(limit, recipient, absence)))
    return listed


def _after_ms(limit: EffectiveLimit, recipient: Recipient, absence: Absence | None) -> int | None:
    """After how long without being acknowledged the alarm is passed on to a recipient; None where it is not."""
    if limit.priority not in recipient.priorities or limit.key == channel_key(recipient.channel):
        return None
    if absence is None and recipient.after_s is None:
        return None  # they get it at once
    if absence is not None and (recipient.person == absence.helper or limit.priority != "high"):
        return None
    return passed_on_after_ms(limit, recipient, "" if absence is None else absence.helper)


def _why(limit: EffectiveLimit, recipient: Recipient, absence: Absence | None) -> str:
    if limit.key == channel_key(recipient.channel):
        return "the alarm is about their channel"
    if absence is not None and recipient.person == absence.helper:
        return "there is nothing that a helper can safely do about it"
    if limit.priority not in recipient.priorities:
        return f"they get no alarms of {limit.priority} priority"
    return "while the owner is away, only alarms of high priority are passed on"
