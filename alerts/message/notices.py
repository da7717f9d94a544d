"""Notices: what a turn's transitions say to each person, put into the outbox inside the turn's transaction.

Several of one turn to one person become one, so that a broker that dies does not send a dozen mails.
"""

from __future__ import annotations

__all__ = ["GAP", "Background", "Notifier"]

import logging
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Final, Protocol

from alerts.absence.routing import Route, route_of
from alerts.absence.safe_steps import safe_step
from alerts.ack_link import ACK_PATH, GOOD_FOR_MS, AckLink, link_key, signed_link
from alerts.blanket.details import BlanketShown
from alerts.cylinders.details import CylinderShown
from alerts.errors import AlertsError
from alerts.gas.stock import RoomGas
from alerts.message.bundle import Notice, combine, fold, notice_of
from alerts.message.flood import WINDOW_MS, in_flood
from alerts.message.helper_air import helper_air
from alerts.message.message_id import stable_message_id
from alerts.message.reminder_words import follow_up_text, raised_again
from alerts.message.reminders import PASSED_ON, REMINDER, FollowUp
from alerts.message.room_air import air_paragraph, is_about_gas
from alerts.message.routes import AWAY, absence_of, first_route, wait_of
from alerts.message.subject import is_beyond
from alerts.message.wording import Ago, CellarView, compose, view_of
from alerts.watch.alarm import Transition
from alerts.watch.alarm_table import Occasion, State
from alerts.watch.chatter import WINDOW_S
from alerts.watch.chatter_advice import ChatterAdvice, advise
from alerts.watch.own_limits import channel_key
from alerts.watch.turn import DEFAULT_FRESH_S
from alerts.watch.turn_inputs import WatchReading
from ingest.cellar import Cellar, EffectiveLimit, Recipient
from ingest.store.alarms.absences import Absence
from ingest.store.alarms.held_messages import FLOOD, alarms_since, flood_since, held_of_limit
from ingest.store.alarms.messages import NewMessage, add_message, cancel_waiting, thread_of, unsent_raise, withdraw
from ingest.store.readings.series_history import HistoryRow

_log = logging.getLogger(__name__)

_LEVELS: Final = ("low", "high")

# Why a message waits for the report about a gap.
GAP: Final = "gap"


class Background(Protocol):
    """What stands in a message beside the alarm itself."""

    def newest(self, probe: str) -> Sequence[HistoryRow]:
        """The newest readings of a probe, oldest first."""

    def earlier(self, probe: str, now_ms: int) -> Sequence[Ago]:
        """What a probe read an hour and a day before now (UTC ms), as far as that is known."""

    def since(self, probe: str, since_ms: int) -> Sequence[HistoryRow]:
        """The readings of a probe from a time (UTC ms) on, oldest first, for advice about chatter."""

    def lots_in(self, place: str) -> Sequence[str]:
        """The lots that lie at a place."""

    def blanket(self, place: str, now_ms: int) -> BlanketShown | None:
        """How the gas in a vessel was judged last, as of now (UTC ms); None where it is not judged."""

    def cylinder(self, place: str, now_ms: int) -> CylinderShown | None:
        """How a gas cylinder was judged last, as of now (UTC ms); None for any other place."""

    def upper_bound(self, place: str) -> bool:
        """Whether what is judged of the SO2 of the wine at a place is at most so much."""

    def gas_around(self, place: str, now_ms: int) -> RoomGas | None:
        """The gas that a leak at a place can let out into its room; None where none is kept."""

    def gas_beside(self, place: str, now_ms: int) -> RoomGas | None:
        """All gas that somebody who goes to a place may meet; None where there is none."""


class Notifier:
    """Writes what a turn has to say to each recipient.

    limits: every limit that is watched; background: what stands in a message beside the alarm itself.
    """

    def __init__(self, cellar: Cellar, limits: Mapping[str, EffectiveLimit], background: Background) -> None:
        self._cellar = cellar
        self._limits = limits
        self._background = background
        silences = (each for each in limits.values() if each.kind == "no data" and not each.role)
        self._fresh_s = {each.probe: each.setpoint for each in silences}
        self._place_kinds = {place.id: cellar.place_kind(place.id) for place in cellar.places}

    def notify(
        self,
        connection: sqlite3.Connection,
        transitions: Mapping[int, Transition],
        now_ms: int,
        *,
        report_by_ms: int | None = None,
    ) -> int:
        """Put the messages that the transitions cause into the outbox; give their number.

        transitions: by the id of the row in the alarm record, which makes the Message-ID; report_by_ms: while what is
        found after a gap is collected, the latest time of the report; only alarms of high priority go out before.
        A second person hears of what follows an alarm once it was sent to them. Without recipients nothing is written.
        """
        announced = {row: transition for row, transition in transitions.items() if transition.occasion is not None}
        if not announced:
            return 0
        site, file = self._cellar.site.name, self._cellar.file
        absence = absence_of(self._cellar, connection, now_ms)
        count = 0
        for recipient in self._cellar.recipients:
            routed = [(each, self._route(connection, each, recipient, absence)) for each in announced.values()]
            notices = fold(
                [self._notice(connection, each, recipient, route, now_ms) for each, route in routed if route.hears]
            )
            if report_by_ms is not None:
                notices = [_for_report(notice, report_by_ms) for notice in notices]
            since_ms = flood_since(connection, recipient.name)
            recent = alarms_since(connection, recipient.name, now_ms - WINDOW_MS)
            for notice in in_flood(notices, since_ms, recent, now_ms, site=site, file=file):
                # The row of the first transition in the message names it; a row goes into one message only.
                row = next(
                    row for row, transition in announced.items() if _occurrence(transition) in notice.occurrences
                )
                if notice.occasion == Occasion.CHATTERING:
                    _take_back_held(connection, announced[row], recipient.name, now_ms)
                self._put(connection, notice, row, recipient, now_ms)
                count += 1
        return count

    def withdraw(self, connection: sqlite3.Connection, transitions: Iterable[Transition], now_ms: int) -> None:
        """Take back waiting reminders of alarms that were acknowledged or muted, or are over; before ``notify``."""
        for step in transitions:
            if step.occurrence is not None and step.from_state is State.UNACKNOWLEDGED:
                withdraw(connection, step.occurrence, (REMINDER, PASSED_ON), now_ms)

    def follow_up(self, connection: sqlite3.Connection, due: Sequence[FollowUp], now_ms: int) -> int:
        """Put messages about alarms that nobody has acknowledged into the outbox; give their number.

        What an absence holds back is left out, but for urgent alarms that the helper has not acknowledged: when it is
        over, the alarm itself is sent.
        """
        absence = absence_of(self._cellar, connection, now_ms)
        count = 0
        for each in due:
            limit, recipient = self._limits[each.key], each.recipient
            route = Route(limit.key != channel_key(recipient.channel))
            if absence is not None:
                got_it = each.occasion == REMINDER
                step = safe_step(limit, self._place_kinds)
                away = route_of(absence, limit, step, recipient.person, got_it=got_it)
                # What a helper has not acknowledged is passed on, and then reminded of, whoever is away.
                is_passed_on = recipient.person != absence.helper and limit.priority == "high"
                route = route if is_passed_on else away
            if not route.hears or route.held_until_ms is not None:
                continue
            occurrence = each.record.alarm.occurrence or each.key
            withdraw(connection, occurrence, (REMINDER,), now_ms, recipient.name)
            if each.occasion == PASSED_ON:
                # What waits for the end of an absence would hold this one up.
                withdraw(connection, occurrence, (Occasion.RAISED.value,), now_ms, recipient.name)
            notice = self._notice(connection, raised_again(each.record, now_ms), recipient, route, now_ms)
            thread = thread_of(connection, occurrence, recipient.name)
            text = follow_up_text(each, limit, notice.draft, thread[1] if thread else None)
            message = self._message(replace(notice, occasion=each.occasion, draft=text), recipient, now_ms)
            thread_id = thread[0] if thread else None
            add_message(connection, message._replace(message_id=each.message_id, thread_id=thread_id))
            count += 1
        return count

    def _route(
        self, connection: sqlite3.Connection, transition: Transition, recipient: Recipient, absence: Absence | None
    ) -> Route:
        """Whether and when a recipient hears of a transition."""
        limit = self._limits.get(transition.key)
        got_it = thread_of(connection, _occurrence(transition), recipient.name) is not None
        step = "" if limit is None else safe_step(limit, self._place_kinds)
        return first_route(limit, recipient, absence, step, got_it=got_it)

    def _notice(
        self, connection: sqlite3.Connection, transition: Transition, recipient: Recipient, route: Route, now_ms: int
    ) -> Notice:
        limit = self._limits.get(transition.key)
        occurrence = _occurrence(transition)
        thread = thread_of(connection, occurrence, recipient.name)
        assert transition.occasion is not None
        at = limit.at if limit else transition.key.split("/", 1)[0]
        background = self._background
        view = replace(
            view_of(self._cellar, at),
            blanket=background.blanket(at, now_ms),
            cylinder=background.cylinder(at, now_ms),
            upper_bound=background.upper_bound(at),
            link=self._link(transition, recipient, now_ms),
        )
        reads = limit is not None and limit.kind != "no data"
        air, helper_step = self._air(transition, limit, view, now_ms), route.step
        if limit is not None and helper_step:
            air, helper_step = helper_air(background.gas_beside(limit.at, now_ms), helper_step, view.place_kind)
        draft = compose(
            transition,
            limit,
            view,
            readings=self._background.newest(limit.probe) if limit is not None and reads else (),
            earlier=self._background.earlier(limit.probe, now_ms) if limit is not None and reads else (),
            thread_subject=thread[1] if thread and transition.occasion is not Occasion.RAISED else None,
            advice=self._advice(transition, limit),
            lots=self._background.lots_in(limit.at) if limit is not None else (),
            beyond=self._beyond(transition, limit),
            air=air,
            helper_step=helper_step,
        )
        wait = wait_of(self._cellar, limit, recipient, route, now_ms)
        return Notice(
            occurrences=(occurrence,),
            occasion=transition.occasion,
            draft=draft,
            priority=limit.priority if limit is not None else "low",
            not_before_ms=wait.not_before_ms,
            is_active=transition.occasion is not Occasion.REMOVED
            and transition.to_state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED),
            hold=wait.hold,
        )

    def _link(self, transition: Transition, recipient: Recipient, now_ms: int) -> str:
        """A link by which this person can acknowledge the alarm; "" where there is none."""
        page = self._cellar.page
        # Of what chatters, the occurrence that a message is about is soon another one.
        if page is None or not page.url or transition.chatter is not None or transition.occurrence is None:
            return ""
        try:
            key = link_key(self._cellar)
        except AlertsError as error:
            _log.warning("messages carry no link that acknowledges: %s", error)
            return ""
        link = AckLink(transition.occurrence, recipient.called, now_ms + GOOD_FOR_MS)
        return page.url + ACK_PATH.format(token=signed_link(key, link))

    def _air(self, transition: Transition, limit: EffectiveLimit | None, view: CellarView, now_ms: int) -> str:
        if limit is None or not is_about_gas(transition, limit, view):
            return ""
        return air_paragraph(self._background.gas_around(limit.at, now_ms), view)

    def _beyond(self, transition: Transition, limit: EffectiveLimit | None) -> EffectiveLimit | None:
        """The worst other limit that the value is beyond when this alarm has ended: all is not well then."""
        value = transition.value
        if limit is None or transition.occasion is not Occasion.RETURNED or value is None or limit.kind not in _LEVELS:
            return None
        others = (each for each in self._limits.values() if each.probe == limit.probe and each.kind in _LEVELS)
        beyond = (each for each in others if is_beyond(each, value))
        return max(beyond, key=lambda each: each.setpoint if each.kind == "high" else -each.setpoint, default=None)

    def _advice(self, transition: Transition, limit: EffectiveLimit | None) -> ChatterAdvice:
        if limit is None or transition.occasion is not Occasion.CHATTERING or not limit.probe:
            return ChatterAdvice()
        rows = self._background.since(limit.probe, transition.at_ms - round(WINDOW_S * 1000))
        readings = [WatchReading(limit.probe, row.at_ms, row.value, row.quality) for row in rows]
        return advise(limit, readings, fresh_s=self._fresh_s.get(limit.probe, DEFAULT_FRESH_S))

    def _put(self, connection: sqlite3.Connection, notice: Notice, row: int, recipient: Recipient, now_ms: int) -> None:
        single = notice.occurrences[0] if len(notice.occurrences) == 1 and notice.occasion != FLOOD else None
        occasion = notice.occasion
        thread_id = None
        if single is not None and notice.occasion != Occasion.RAISED:
            is_calm = notice.occasion == Occasion.CALM and not notice.is_active
            ends_it = is_calm or notice.occasion in (Occasion.RETURNED, Occasion.REMOVED)
            raised = unsent_raise(connection, single, recipient.name) if ends_it else None
            if raised is not None:
                cancel_waiting(connection, raised.id, now_ms, "sent together with the return to normal")
                notice = combine(notice_of(raised), notice)
            else:
                thread = thread_of(connection, single, recipient.name)
                thread_id = thread[0] if thread else None
        number = self._cellar.recipients.index(recipient)
        message_id = stable_message_id(single or "several", row, number, sender=self._cellar.sender)
        message = self._message(replace(notice, occasion=occasion), recipient, now_ms)
        add_message(connection, message._replace(message_id=message_id, thread_id=thread_id))

    def _message(self, notice: Notice, recipient: Recipient, now_ms: int) -> NewMessage:
        """A message of a notice, without its id and its thread."""
        return NewMessage(
            message_id="",
            occurrence=" ".join(notice.occurrences),
            occasion=str(notice.occasion),
            channel=recipient.channel,
            recipient=recipient.name,
            subject=notice.draft.subject,
            body=notice.draft.body,
            created_ms=now_ms,
            not_before_ms=notice.not_before_ms,
            hold=notice.hold,
            priority=notice.priority if notice.is_active else "",
        )


def _take_back_held(connection: sqlite3.Connection, chattering: Transition, recipient: str, now_ms: int) -> None:
    """Take back what waits for waking hours about the comings and goings that the report on the chatter counts."""
    chatter = chattering.chatter
    if chatter is not None and chatter.since_ms is not None:
        for row in held_of_limit(connection, chattering.key, recipient, chatter.since_ms):
            cancel_waiting(connection, row.id, now_ms, "sent together with the report that it chatters")


def _occurrence(transition: Transition) -> str:
    return transition.occurrence or transition.key


def _for_report(notice: Notice, report_by_ms: int) -> Notice:
    if notice.hold in ("digest", AWAY) or (notice.is_active and notice.priority == "high"):
        return notice
    return replace(notice, hold=GAP, not_before_ms=report_by_ms)
