"""Who gets messages: the table ``[[person]]``, and each way on which a message reaches somebody."""

from __future__ import annotations

__all__ = ["MAIL_CHANNEL", "Person", "Recipient", "gets", "recipients"]

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import time
from typing import Annotated, Final

from pydantic import BeforeValidator, Field

from ingest.cellar.amounts import DAY_S, Span, amount
from ingest.cellar.connections import MailSettings
from ingest.cellar.equipment import read_waking
from ingest.cellar.form import Identifier, Table, Text
from ingest.cellar.limits import Priority
from ingest.cellar.units import Dimension

# The channel that [mail] is; no [[channel]] may have this id.
MAIL_CHANNEL: Final = "mail"
_ALL: Final[tuple[Priority, ...]] = ("high", "medium", "low")


def _addresses(value: object) -> object:
    if isinstance(value, dict) and value and all(isinstance(address, str) for address in value.values()):
        return {channel: address.strip() for channel, address in value.items()}
    raise ValueError(
        'channels with the address on each, such as { mail = "ana@cellar.example", push = "ana-phone" }; '
        'a channel that needs no address has ""'
    )


def _priorities(value: object) -> object:
    if isinstance(value, list | tuple):
        return tuple(value)
    raise ValueError('a list of priorities, such as ["high", "medium"]')


_Priorities = Annotated[tuple[Priority, ...], BeforeValidator(_priorities)]


class Person(Table):
    """``[[person]]``: somebody who gets messages.

    channels: the id of each channel, with the person's address on it; waking: local times of the site, None for the
    site's; woken_by: priorities whose messages may come outside of them; after_s: of a second person, how long an alarm
    stands without being acknowledged before it is sent to them too; priorities: of the alarms that they get.
    """

    id: Identifier = Field(description="a short name of the person, such as ana")
    name: Text | None = None
    channels: Annotated[
        dict[str, str],
        BeforeValidator(_addresses),
        Field(description='channels with the address on each, such as { mail = "ana@cellar.example" }'),
    ]
    waking: Annotated[tuple[time, time] | None, BeforeValidator(read_waking)] = None
    woken_by: _Priorities = _ALL
    after_s: Annotated[float | None, amount(Dimension.TIME, "s", "30 min", Span(60.0, DAY_S))] = Field(
        default=None, alias="after"
    )
    priorities: _Priorities | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipient:
    """One person on one channel.

    name: what the outbox calls them, a mail address or "ana by push"; person: the id, for an address of ``[mail] to``
    the address; called: what people call them; channel: its id; address: on that channel; waking: local time;
    woken_by, priorities: as in ``Person``; after_s: None for who gets every alarm at once.
    """

    name: str
    person: str
    called: str
    channel: str
    address: str
    waking: tuple[time, time]
    woken_by: frozenset[Priority] = frozenset(_ALL)
    priorities: frozenset[Priority] = frozenset(_ALL)
    after_s: float | None = None

    @property
    def gets_reports(self) -> bool:
        """Whether they get what is about no alarm: neither a second person, nor a helper who usually gets nothing."""
        return self.after_s is None and bool(self.priorities)

    @property
    def gets_digest(self) -> bool:
        """Whether they get the digest: neither a second person, nor a channel for urgent alarms alone."""
        return self.after_s is None and "low" in self.priorities


def recipients(mail: MailSettings | None, people: Iterable[Person], waking: tuple[time, time]) -> tuple[Recipient, ...]:
    """List everybody on each of their channels, those of ``[mail] to`` first. waking: of the site."""
    by_mail = [
        Recipient(name=address, person=address, called=address, channel=MAIL_CHANNEL, address=address, waking=waking)
        for address in (mail.to if mail is not None else ())
    ]
    others = [
        Recipient(
            name=address if channel == MAIL_CHANNEL else f"{person.id} by {channel}",
            person=person.id,
            called=person.name or person.id,
            channel=channel,
            address=address,
            waking=person.waking or waking,
            woken_by=frozenset(person.woken_by),
            priorities=gets(person),
            after_s=person.after_s,
        )
        for person in people
        for channel, address in person.channels.items()
    ]
    return (*by_mail, *others)


def gets(person: Person) -> frozenset[Priority]:
    """Give the priorities of the alarms that a person gets; a second person only high ones, unless they say more."""
    if person.priorities is not None:
        return frozenset(person.priorities)
    return frozenset(_ALL if person.after_s is None else ("high",))
