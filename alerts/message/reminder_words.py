"""The words of a reminder of an alarm that nobody has acknowledged, and of one that is passed on."""

from __future__ import annotations

__all__ = ["follow_up_text", "raised_again"]

from alerts.message.reminders import REMINDER, FollowUp, next_reminder_ms
from alerts.message.subject import PRIORITY_WORDS, SUBJECT_LIMIT, shortened, tail_of
from alerts.message.wording import MessageText
from alerts.view.format import duration_text
from alerts.watch.alarm import Transition
from alerts.watch.alarm_table import AlarmEvent, Occasion, State
from alerts.watch.watch_state import LimitRecord
from ingest.cellar import EffectiveLimit


def raised_again(record: LimitRecord, now_ms: int) -> Transition:
    """Make the transition by which an alarm would be raised as it stands now (UTC ms), for its words."""
    alarm, condition = record.alarm, record.condition
    return Transition(
        key=alarm.key,
        occurrence=alarm.occurrence,
        at_ms=now_ms,
        from_state=State.NORMAL,
        to_state=State.UNACKNOWLEDGED,
        event=AlarmEvent.BEGAN,
        occasion=Occasion.RAISED,
        opened=alarm.occurrence,
        value=alarm.last_value if condition.value is None else condition.value,
        raised_value=alarm.value,
        since_ms=alarm.since_ms,
        extreme=condition.extreme,
        condition=condition,
    )


def follow_up_text(
    follow_up: FollowUp, limit: EffectiveLimit, text: MessageText, thread_subject: str | None
) -> MessageText:
    """Write a reminder, or an alarm that is passed on. text: the alarm as it stands; thread_subject: of its thread."""
    age = duration_text(follow_up.age_ms / 1000)
    tail = tail_of(thread_subject or text.subject)
    subject = shortened(f"{PRIORITY_WORDS[limit.priority]} for {age}: {tail}", SUBJECT_LIMIT)
    head = f"Nobody has acknowledged this alarm for {age}"
    if follow_up.occasion == REMINDER:
        next_ms = next_reminder_ms(follow_up.age_ms) - follow_up.age_ms
        head += f". The next reminder comes in {duration_text(next_ms / 1000)}, if that stays so."
    else:
        head += ", so it is sent to you as well."
    return MessageText(subject, f"{head}\n\n{text.body}")
