"""`leeside limits --try`: the message that a limit would send for a value, shown or really sent."""

from __future__ import annotations

__all__ = ["try_out"]

import os
import sys

import typer

from alerts.absence.safe_steps import safe_step
from alerts.channels.open_channel import open_channel
from alerts.command.hearing_lines import NOBODY, hearing_lines
from alerts.command.terminal import print_plain
from alerts.cylinders.gas_in_rooms import GasInRooms
from alerts.message.helper_air import helper_air
from alerts.message.message_id import stable_message_id
from alerts.message.outbox import Delivered
from alerts.message.trial import Trial, is_beyond, parse_value, try_limit
from alerts.message.wording import SHOWN_READINGS, MessageText, view_of
from alerts.so2.judge import is_upper_bound
from alerts.turning.message_background import earlier_times, judged_ago, values_ago
from alerts.view.absence_lines import absence_line, stands_in
from alerts.view.alarms.limit_lines import LimitStatus, limit_words
from alerts.view.format import days_text, duration_text, limit_value_text, local_time, with_capital
from ingest.cellar import MAIL_CHANNEL, Cellar, EffectiveLimit, Recipient, is_judged_id
from ingest.errors import IngestError
from ingest.journal.wine_places import wine_places
from ingest.process import wall_ms
from ingest.store import Store
from ingest.store.alarms.absences import Absence, absence_at
from ingest.store.alarms.messages import MessageRow
from ingest.store.journal.stored_ledger import ledger_at
from ingest.store.judgements import newest_judgements
from ingest.store.readings.series import all_series
from ingest.store.readings.series_history import newest


def try_out(
    cellar: Cellar, store: Store | None, status: LimitStatus, value_text: str, now_ms: int, *, send_as: str | None
) -> int:
    """Print what the limit would send, and when; send_as: send it too, in this person's name. Gives the exit code.

    Raises typer.BadParameter for a value that is not one of the limit's quantity.
    """
    limit = status.limit
    try:
        value = parse_value(limit, value_text, cellar.place_kind(limit.at) if limit.probe else "")
    except ValueError as error:
        raise typer.BadParameter(f"'{value_text}': {error}", param_hint="--value") from error
    if not is_beyond(limit, value):
        print(
            f"{limit.key}: at {_written(limit, value)} no message would be sent; the limit alarms "
            f"{_setpoint_words(limit)}. Give a value beyond that.",
            file=sys.stderr,
        )
        return 1
    step = safe_step(limit, {place.id: cellar.place_kind(place.id) for place in cellar.places})
    trial, helped, absence = _tried(cellar, store, limit, value, step, now_ms)
    for line in _when(cellar, status, value, trial, now_ms):
        print_plain(line)
    is_away = absence is not None and absence.from_ms <= trial.raised_ms < absence.over_ms
    if absence is not None and is_away:
        print_plain(f"\n{with_capital(absence_line(absence, cellar, now_ms))}.")
        for line in hearing_lines(cellar, limit, absence, step, trial.raised_ms, now_ms):
            print_plain(line)
        print_plain("\nOnce the absence is over:")
    for line in hearing_lines(cellar, limit, None, step, trial.raised_ms, now_ms):
        print_plain(line)
    if absence is not None and is_away and helped is not None and stands_in(absence, cellar):
        print_plain(f"\nTo {absence.helper}, who stands in:\n\nSubject: {helped.subject}\n\n{helped.body}".rstrip())
        print_plain("\nTo everybody else:")
    text = trial.text if send_as is None else trial.marked(send_as)
    print_plain(f"\nSubject: {text.subject}\n\n{text.body}".rstrip())
    return 0 if send_as is None else _send(cellar, limit, text, now_ms)


def _tried(
    cellar: Cellar, store: Store | None, limit: EffectiveLimit, value: float, step: str, now_ms: int
) -> tuple[Trial, MessageText | None, Absence | None]:
    """The trial, the same for a helper where there is a step for one, and the absence that is under way."""
    if store is None:
        return try_limit(limit, value, cellar, now_ms), None, None
    lots = _lots_in(cellar, store, limit.at, now_ms)
    with store.read():
        rooms = GasInRooms(cellar, store)
        gas, beside = rooms.around(limit.at, now_ms), rooms.beside(limit.at, now_ms)
        upper_bound = is_upper_bound(newest_judgements(store, place=limit.at))
        absence = absence_at(store.connection, now_ms)
    series = _series_of(store, limit)
    readings = [] if series is None else newest(store, series, SHOWN_READINGS - 1)
    if is_judged_id(limit.probe):
        earlier = judged_ago(store, limit.probe, now_ms)
    else:
        earlier = () if series is None else values_ago(earlier_times(store, now_ms), series)
    trial = try_limit(limit, value, cellar, now_ms, readings, lots, gas, earlier, upper_bound=upper_bound)
    if not step:
        return trial, None, absence
    air = helper_air(beside, step, view_of(cellar, limit.at).place_kind)
    helped = try_limit(limit, value, cellar, now_ms, readings, lots, upper_bound=upper_bound, helper=air)
    return trial, helped.text, absence


def _written(limit: EffectiveLimit, value: float) -> str:
    return duration_text(value) if limit.kind == "no data" else limit_value_text(value, limit)


def _setpoint_words(limit: EffectiveLimit) -> str:
    if limit.kind == "due":
        return f"after {days_text(limit.setpoint)}"
    if limit.kind == "rate":
        return f"when it {limit_words(limit)}"
    return f"after more than {duration_text(limit.setpoint)}" if limit.kind == "no data" else limit_words(limit)


def _lots_in(cellar: Cellar, store: Store, place: str, now_ms: int) -> list[str]:
    with store.read():
        try:
            wine = wine_places(ledger_at(store.connection, now_ms, cellar).states_at(now_ms))
        except IngestError:
            return []  # an entry that cannot be read; the daemon says so
    return sorted(wine.lots.get(place, ()))


def _series_of(store: Store, limit: EffectiveLimit) -> int | None:
    return next(
        (
            row.id
            for row in all_series(store)
            if (row.probe, row.place, row.quantity) == (limit.probe, limit.at, limit.quantity)
        ),
        None,
    )


def _when(cellar: Cellar, status: LimitStatus, value: float, trial: Trial, now_ms: int) -> list[str]:
    """Whether and when a message would go out, in sentences."""
    limit, zone = status.limit, cellar.site.zone
    lines = [f"{_written(limit, value)} is beyond the limit {limit.key}: it alarms {_setpoint_words(limit)}."]
    if status.muted:
        lines.append(f"The limit is muted now ({status.muted}), so no message would be sent until that ends.")
    watched = {each.key: each for each in cellar.possible_limits}
    # Only of another setpoint of the same probe does the value say whether it alarms too; of silence it does not.
    worse = (watched[key] for key in limit.suppressed_by if key in watched and limit.kind in ("low", "high"))
    for parent in worse:
        if (parent.probe, parent.kind) == (limit.probe, limit.kind) and is_beyond(parent, value):
            lines.append(f"At this value {parent.key} alarms as well, and mutes this one: its message comes instead.")
    if limit.kind != "no data" and limit.on_delay_s:
        raised = local_time(trial.raised_ms, zone, now_ms)
        lines.append(f"If that lasted, the alarm would be raised after {duration_text(limit.on_delay_s)}, at {raised}.")
    else:
        lines.append("The alarm would be raised at once.")
    return lines


def _send(cellar: Cellar, limit: EffectiveLimit, text: MessageText, now_ms: int) -> int:
    print_plain()
    if not cellar.recipients:
        print(f"Nothing was sent: {NOBODY}.", file=sys.stderr)
        return 1
    failures = 0
    for number, recipient in enumerate(cellar.recipients):
        channel = open_channel(cellar, recipient.channel, os.environ, None, wall_ms)
        outcome = channel.deliver(_message(cellar, recipient, number, limit, text, now_ms), now_ms)
        if isinstance(outcome, Delivered):
            print_plain(f"Sent to {recipient.name}: {_taker(cellar, recipient)} has taken it.")
        else:
            failures += 1
            print_plain(f"NOT sent to {recipient.name}: {outcome.text}")
    return 1 if failures else 0


def _taker(cellar: Cellar, recipient: Recipient) -> str:
    mail = cellar.mail
    if recipient.channel == MAIL_CHANNEL and mail is not None:
        return f"mail server {mail.host} port {mail.port}"
    return f"channel {recipient.channel}"


def _message(
    cellar: Cellar, recipient: Recipient, number: int, limit: EffectiveLimit, text: MessageText, now_ms: int
) -> MessageRow:
    return MessageRow(
        id=0,
        message_id=stable_message_id("trial", limit.key, now_ms, number, sender=cellar.sender),
        thread_id=None,
        occurrence=None,
        occasion="trial",
        channel=recipient.channel,
        recipient=recipient.name,
        subject=text.subject,
        body=text.body,
        created_ms=now_ms,
        not_before_ms=now_ms,
        hold="",
        priority="",
        state="waiting",
        attempts=0,
        next_try_ms=now_ms,
        last_error=None,
        ended_ms=None,
        closed_ms=None,
    )
