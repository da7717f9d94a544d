"""Test messages: real ones, by the outbox and every channel, with a code that the person who gets one is to say."""

from __future__ import annotations

__all__ = ["new_code", "ring"]

import shlex
from collections.abc import Callable, Sequence
from typing import Final

from alerts.message.message_id import stable_message_id
from alerts.message.subject import SUBJECT_LIMIT, shortened
from alerts.message.wording import MessageText
from ingest.cellar import Cellar, Recipient
from ingest.store import Store
from ingest.store.alarms.messages import NewMessage, add_message
from ingest.store.alarms.rings import put_ring

# The occasion of these messages.
RING: Final = "ring"
# Read off a phone and said to somebody: without 0, 1, i, l and o.
_LETTERS: Final = "23456789abcdefghjkmnpqrstuvwxyz"
_LENGTH: Final = 5


def new_code(choice: Callable[[str], str]) -> str:
    """Make a code. choice: chooses one of these letters, so that nobody can guess it."""
    return "".join(choice(_LETTERS) for _ in range(_LENGTH))


def ring(
    store: Store, cellar: Cellar, recipients: Sequence[Recipient], codes: Sequence[str], who: str, now_ms: int
) -> list[int]:
    """Put a test message to each of the recipients into the outbox; gives their ids. codes: one for each.

    It may go out at once, whatever the hour: whoever rings is there to hear of it. Raises StoreError.
    """
    messages = []
    with store.write() as connection:
        for recipient, code in zip(recipients, codes, strict=True):
            number = cellar.recipients.index(recipient)
            text = _text(cellar, recipient, code, who)
            message = NewMessage(
                message_id=stable_message_id(RING, now_ms, number, sender=cellar.sender),
                occasion=RING,
                channel=recipient.channel,
                recipient=recipient.name,
                subject=text.subject,
                body=text.body,
                created_ms=now_ms,
                not_before_ms=now_ms,
            )
            messages.append(add_message(connection, message))
            put_ring(connection, code, recipient.name, messages[-1], now_ms)
    return messages


def _text(cellar: Cellar, recipient: Recipient, code: str, who: str) -> MessageText:
    shown = code.upper()
    return MessageText(
        shortened(f"TEST {shown}: does this reach you? {cellar.site.name}", SUBJECT_LIMIT),
        f"This is a test by {who}: an alarm at {cellar.site.name} would reach you in this way ({recipient.channel}). "
        f"Nothing is wrong.\n\nGive {who} this code:  {shown}\n\nAt the machine, note it with:\n"
        f"leeside check {shlex.quote(cellar.file)} --confirm {shown}\n",
    )
