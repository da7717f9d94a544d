"""People: each has a way to be reached, and at any hour a high alarm reaches somebody."""

from __future__ import annotations

__all__ = ["person_problems"]

from collections.abc import Iterator, Mapping, Sequence
from datetime import time
from typing import Final

from ingest.cellar.channels import ChannelSettings
from ingest.cellar.connections import MailSettings, is_mail_address
from ingest.cellar.draft import CellarDraft
from ingest.cellar.equipment import Site
from ingest.cellar.people import MAIL_CHANNEL, Person, gets
from ingest.cellar.table_entry import TableEntry, suggestion
from ingest.errors import Problem

_DAY_MIN: Final = 24 * 60


def person_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find everything that is wrong with people."""
    entries = draft.entries(Person)
    known = [*([MAIL_CHANNEL] if draft.written(MailSettings) else []), *draft.ids(ChannelSettings)]
    kinds = {channel.id: channel.kind for channel in draft.models(ChannelSettings)}
    for entry in entries:
        for channel, address in entry.model.channels.items():
            text = _channel_problem(channel, address, known, kinds)
            if text:
                yield entry.problem("channels", f"{channel}: {text}")
    yield from _same_address(entries, [address for mail in draft.models(MailSettings) for address in mail.to])
    if entries and draft.complete(Person, MailSettings, Site):
        yield from _nobody(entries, draft)


def _channel_problem(channel: str, address: str, known: Sequence[str], kinds: Mapping[str, str]) -> str:
    if channel not in known:
        if channel == MAIL_CHANNEL:
            return "there is no mail server; add a table [mail]"
        return f"there is no channel with this id; {suggestion(channel, known, 'known')}"
    if kinds.get(channel) == "mqtt":
        return "a channel of kind mqtt shows the alarms to a lamp or a siren, and is nobody's; leave it out"
    if channel == MAIL_CHANNEL and not is_mail_address(address):
        return 'its address must be one mail address alone, such as "ana@cellar.example"'
    if any(not character.isprintable() for character in address):
        return "its address must not hold control characters"
    return ""


def _same_address(entries: Sequence[TableEntry[Person]], by_mail: Sequence[str]) -> Iterator[Problem]:
    """Find who would get each message twice."""
    taken = {(MAIL_CHANNEL, address.lower()): "[mail] to" for address in by_mail}
    for entry in entries:
        for channel, address in entry.model.channels.items():
            if not address:
                continue
            other = taken.setdefault((channel, address.lower()), entry.label)
            if other != entry.label:
                yield entry.problem(
                    "channels", f"{channel}: {other} has this address too, and would get each message twice"
                )


def _nobody(entries: Sequence[TableEntry[Person]], draft: CellarDraft) -> Iterator[Problem]:
    """Find that nobody gets alarms at once, and hours in which a high alarm wakes nobody."""
    if any(mail.to for mail in draft.models(MailSettings)):
        return  # they are woken by whatever a limit allows to wake
    people = [entry.model for entry in entries]
    if all(person.after_s is not None for person in people):
        yield entries[0].problem(
            "after", "somebody must get alarms at once; leave it out for one person, or name somebody in [mail] to"
        )
        return
    if not any("high" in gets(person) for person in people if person.after_s is None):
        yield entries[0].problem("priorities", 'an alarm of high priority reaches nobody at once; add "high" for one')
        return
    waking = draft.models(Site)[0].waking
    asleep = set(range(_DAY_MIN))
    for person in people:
        if "high" in gets(person):
            asleep -= asleep if "high" in person.woken_by else _minutes(person.waking or waking)
    if asleep:
        first = min(minute for minute in asleep if (minute - 1) % _DAY_MIN not in asleep)
        last = first
        while last % _DAY_MIN in asleep:
            last += 1
        yield entries[0].problem(
            "woken_by",
            f"from {_clock(first)} to {_clock(last % _DAY_MIN)} an alarm of high priority would wake nobody; add "
            '"high" to woken_by of at least one person, or let their waking hours cover the day',
        )


def _minutes(waking: tuple[time, time]) -> set[int]:
    begin, end = (at.hour * 60 + at.minute for at in waking)
    return set(range(begin, end)) if begin < end else {*range(begin, _DAY_MIN), *range(end)}


def _clock(minute: int) -> str:
    return f"{minute // 60:02}:{minute % 60:02}"
