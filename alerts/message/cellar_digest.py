"""The words of a digest: how the whole cellar stands, for somebody who did not look since the last one. Pure."""

from __future__ import annotations

__all__ = ["COMING_DAYS", "DigestFacts", "cellar_digest"]

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Final

from alerts.message.bundle import Notice, most_urgent_first
from alerts.message.cautions import caution_of
from alerts.message.subject import SUBJECT_LIMIT, shortened
from alerts.message.wording import MessageText, view_of
from alerts.view.alarms.alarm_lines import alarm_line
from alerts.view.alarms.muted_lines import muted_line
from alerts.view.due_lines import day_text, due_name, due_text
from alerts.view.format import age, counted, quantity_name
from alerts.view.own_state import own_parts
from alerts.view.places.vessel_line import vessel_line
from alerts.view.status import AlarmStatus, CellarStatus, ReadingStatus
from alerts.watch.alarm_table import State
from alerts.watch.due import DAY_MS, DueLimit
from ingest.cellar import Cellar
from ingest.store.alarms.alarm_record import TransitionRow

# How far ahead a digest looks for work: until the next one of a week.
COMING_DAYS: Final = 7
_MOST_LINES: Final = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class DigestFacts:
    """What a digest is written from.

    status: the cellar now; due: all work that is awaited, by key; steps: of the alarm record since the previous digest;
    before_ms: when that was, UTC ms.
    """

    status: CellarStatus
    due: Mapping[str, DueLimit]
    steps: Sequence[TransitionRow]
    before_ms: int


def cellar_digest(cellar: Cellar, facts: DigestFacts, notices: Sequence[Notice] = ()) -> MessageText:
    """Write the digest for a person. notices: what was held back for it: those that are over are said in a line each.

    The fact comes first; where nothing is wrong or due, it is one line, and below it stand the vessels.
    """
    status, zone, units, now_ms = facts.status, cellar.site.zone, cellar.site.units, facts.status.now_ms
    alarms = [alarm for alarm in status.alarms if not _is_due(alarm)]
    muted_keys = {muted.key for muted in status.muted}
    overdue = [each for each in _by_time(facts.due) if each.fact.due_ms <= now_ms and each.limit.key not in muted_keys]
    silent = [(place.id, each) for place in status.places for each in place.readings if each.silent]
    trouble = [
        part.line for part in own_parts(status, cellar, lambda at_ms: f"{age(now_ms - at_ms)} ago") if not part.in_order
    ]
    counts = _counts(alarms, overdue, silent, trouble)
    span = "day" if now_ms - facts.before_ms < 2 * DAY_MS else "week"
    day = day_text(now_ms, zone, now_ms)
    head = f"A quiet {span} at {status.site}: no alarm stands, no work is due, every probe is heard."
    subject = f"DIGEST of {status.site}, {day}: "
    if counts:
        head = f"At {status.site}: {', '.join(counts)}."
    subject += ", ".join(counts) if counts else f"a quiet {span}"
    horizon_ms = now_ms + COMING_DAYS * DAY_MS
    coming = [each for each in _by_time(facts.due) if now_ms < each.fact.due_ms <= horizon_ms]
    vessels = [vessel_line(place, zone, units, now_ms) for place in status.places if place.contents is not None]
    sections = [
        ("Alarms", [alarm_line(alarm, zone, units, now_ms) for alarm in alarms]),
        ("Due", [due_text(each.limit, each.fact.due_ms, each.fact.finding, zone, now_ms) for each in overdue]),
        ("Silent probes", [_silent_line(place, reading, now_ms) for place, reading in silent]),
        ("Leeside", trouble),
        ("Vessels", vessels),
        (f"Due in the next {COMING_DAYS} days", [_coming_line(each, zone, now_ms) for each in coming]),
        ("Muted", [muted_line(muted, zone, now_ms) for muted in status.muted]),
        (f"Since the previous digest, of {day_text(facts.before_ms, zone, now_ms)}", _since_lines(facts, notices)),
    ]
    page = (cellar.page.url or "") if cellar.page else ""
    parts = ["\n".join([head, *_cautions(cellar, alarms)])]
    parts += [_section(title, lines) for title, lines in sections if lines]
    parts += [f"Page: {page}"] if page else []
    return MessageText(shortened(subject, SUBJECT_LIMIT), "\n\n".join(parts) + "\n")


def _counts(
    alarms: Sequence[AlarmStatus],
    overdue: Sequence[DueLimit],
    silent: Sequence[tuple[str, ReadingStatus]],
    trouble: Sequence[str],
) -> list[str]:
    words = []
    standing = [alarm for alarm in alarms if alarm.state != State.RETURNED]
    returned = len(alarms) - len(standing)
    if standing:
        high = sum(alarm.limit is not None and alarm.limit.priority == "high" for alarm in standing)
        words.append(counted(len(standing), "alarm") + (f" ({high} of high priority)" if high else ""))
    if returned:
        words.append(f"{counted(returned, 'alarm')} over and not acknowledged")
    if overdue:
        words.append(f"{counted(len(overdue), 'task')} due")
    if silent:
        words.append(f"{counted(len(silent), 'probe')} silent")
    if trouble:
        words.append("leeside needs a look")
    return words


def _section(title: str, lines: Sequence[str]) -> str:
    shown = [f"  {line}" for line in lines[:_MOST_LINES]]
    if len(lines) > _MOST_LINES:
        shown.append(f"  and {len(lines) - _MOST_LINES} more")
    return "\n".join([f"{title}:", *shown])


def _by_time(due: Mapping[str, DueLimit]) -> list[DueLimit]:
    return sorted(due.values(), key=lambda each: (each.fact.due_ms, each.limit.key))


def _is_due(alarm: AlarmStatus) -> bool:
    return alarm.limit is not None and alarm.limit.kind == "due"


def _coming_line(work: DueLimit, zone: tzinfo, now_ms: int) -> str:
    return f"{due_name(work.limit)} on {day_text(work.fact.due_ms, zone, now_ms)}"


def _silent_line(place: str, reading: ReadingStatus, now_ms: int) -> str:
    since = "nothing yet" if reading.at_ms is None else f"nothing for {age(now_ms - reading.at_ms)}"
    return f"{place} {quantity_name(reading.quantity)}: {since} [{reading.probe}]"


def _since_lines(facts: DigestFacts, notices: Sequence[Notice]) -> list[str]:
    """How often each limit has raised an alarm; what was held back for the digest and is over."""
    raised = Counter(
        step.key
        for step in facts.steps
        if step.to_state == State.UNACKNOWLEDGED and step.from_state in (State.NORMAL, State.RETURNED)
    )
    lines = [f"{key}: alarm raised{'' if count == 1 else f' {count} times'}" for key, count in raised.most_common()]
    over = [each for each in most_urgent_first(notices) if not each.is_active]
    return lines + [" ".join(each.draft.body.partition("\n\n")[0].split()) for each in over]


def _cautions(cellar: Cellar, alarms: Sequence[AlarmStatus]) -> list[str]:
    """The cautions of the alarms that stand, each once."""
    lines = []
    for alarm in alarms:
        if alarm.limit is not None and alarm.state != State.RETURNED:
            view = view_of(cellar, alarm.at)
            lines.append(caution_of(alarm.limit, view.place_kind, glass=view.glass, under_gas=view.under_gas))
    return [*dict.fromkeys(line for line in lines if line)]
