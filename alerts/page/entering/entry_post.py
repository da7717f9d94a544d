"""What a browser sends of an entry's form, read into one value."""

from __future__ import annotations

__all__ = ["EntryPost", "checked_form", "new_key", "read_post", "with_new_key"]

import re
import secrets
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field, replace
from hashlib import sha256
from typing import Any, Final

from fastapi import HTTPException, Request
from starlette.datastructures import FormData

from alerts.page.doors.tokens import Tokens
from alerts.page.entering.form_controls import posted_texts
from ingest.journal.kinds.kind import EntryKind
from ingest.json_text import json_text
from ingest.store.journal.idempotency_keys import Once

_LONGEST_KEY: Final = 100
_MOMENT: Final = re.compile("[0-9]{1,15}")
# What is of the form itself begins so, since no question's name does.
_OWN: Final = "_"
_NOT_SENT_ON: Final = frozenset({"token", "_step", "_seen", "_now", "_warned", "_with_later", "_touched"})


@dataclass(frozen=True, slots=True)
class EntryPost:
    """A form as it was sent.

    step: fields (only show the fields again), take (a probe's reading), look, save, or change; texts: the answers by
    question; date, time: as the controls for them give them, "" for now; way: one of the two moments that a time of the
    clock change can mean; key: of this form; now: the moment that the form was looked at, if it is of now; seen: the
    mark of what was shown then; offers: what was offered, by question; touched: questions in which a person was;
    taken_ms: when the last reading came that was taken from a probe (UTC ms); pairs: all that is to be sent on.
    """

    step: str = "look"
    texts: dict[str, list[str]] = field(default_factory=dict)
    date: str = ""
    time: str = ""
    way: str = ""
    who: str = ""
    reason: str = ""
    key: str = ""
    now: str = ""
    seen: str = ""
    is_warned: bool = False
    with_later: bool = False
    offers: dict[str, list[str]] = field(default_factory=dict)
    touched: tuple[str, ...] = ()
    taken_ms: int | None = None
    pairs: tuple[tuple[str, str], ...] = ()

    @property
    def at(self) -> str | None:
        """When it happened, as a person writes it; None for now."""
        plain = f"{self.date} {self.time}".strip()
        return self.way if plain and self.way.startswith(plain) else plain or None

    @property
    def typed_texts(self) -> dict[str, list[str]]:
        """The answers without those that were offered, and that nobody has touched."""
        return {
            name: texts for name, texts in self.texts.items() if name in self.touched or texts != self.offers.get(name)
        }

    def once(self, about: str) -> Once | None:
        """The key of the form with a digest of what it asks for. about: what the form is of."""
        if not self.key:
            return None
        texts = {name: list(answers) for name, answers in sorted(self.texts.items())}
        asked = json_text([about, texts, self.at, self.who, self.reason])
        return Once(self.key, sha256(asked.encode("utf-8", "replace")).hexdigest())


def new_key() -> str:
    """Make the key of a new form."""
    return secrets.token_urlsafe(18)


def checked_form(tokens: Tokens) -> Callable[[Request], Awaitable[tuple[FormData, str]]]:
    """Make the dependency that reads a form, and says why it may not write, "" where it may."""

    async def read(request: Request) -> tuple[FormData, str]:
        form = await request.form(max_files=0)
        try:
            await tokens.check(request)
        except HTTPException as error:
            return form, str(error.detail)
        return form, ""

    return read


def read_post(kind: EntryKind[Any], form: FormData) -> EntryPost:
    """Read a form that was sent."""

    def text(name: str) -> str:
        value = form.get(_OWN + name)
        return value.strip() if isinstance(value, str) else ""

    # Of what a person was asked, a form sends each control; what it was offered is sent beside it, in the same parts.
    offered = FormData(
        [(name.removeprefix("offered."), value) for name, value in form.multi_items() if name.startswith("offered.")]
    )
    return EntryPost(
        step=text("step") or "look",
        texts=posted_texts(kind, form),
        date=text("date"),
        time=text("time"),
        way=text("way"),
        who=text("who"),
        reason=text("reason"),
        key=text("key")[:_LONGEST_KEY],
        now=text("now"),
        seen=text("seen"),
        is_warned=bool(text("warned")),
        with_later=bool(text("with_later")),
        offers=posted_texts(kind, offered),
        touched=tuple(value for value in form.getlist("_touched") if isinstance(value, str)),
        taken_ms=int(text("taken")) if _MOMENT.fullmatch(text("taken")) else None,
        pairs=tuple(
            (name, value) for name, value in form.multi_items() if isinstance(value, str) and name not in _NOT_SENT_ON
        ),
    )


def with_new_key(post: EntryPost) -> EntryPost:
    """The form as another one, which writes an entry of its own."""
    key = new_key()
    pairs = tuple((name, value) for name, value in post.pairs if name != "_key")
    return replace(post, key=key, pairs=(*pairs, ("_key", key)))
