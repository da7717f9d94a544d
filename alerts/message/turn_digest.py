"""Several messages of one turn to one person become one, so that a broker that dies does not send a dozen mails.

Nothing waits for anything here: only what one turn brought, and what may go out at the same moment, is put together.
"""

from __future__ import annotations

__all__ = ["MOST_APART", "Notice", "combine", "gather"]

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from alerts.message.wording import SAFETY, SUBJECT_LIMIT, MessageText, tail_of
from alerts.watch.alarm_table import Tells

# More than this many from one turn to one person are put together; this project's choice.
MOST_APART: Final = 3
# Of what is put together, this many are told in full; the rest by subject.
MOST_IN_FULL: Final = 10

_RANK: Final = {"high": 0, "medium": 1, "low": 2}
_WORDS: Final = {"high": "HIGH", "medium": "MEDIUM", "low": "LOW PRIORITY"}


@dataclass(frozen=True, slots=True)
class Notice:
    """A message to one person that is not stored yet, or not sent.

    occurrences: whom it is about (several once gathered); tells: what it says, of several the most urgent; priority: of
    the limit, of several the highest; not_before_ms: when it may first go out, UTC milliseconds.
    """

    occurrences: tuple[str, ...]
    tells: Tells
    draft: MessageText
    priority: str
    not_before_ms: int


def combine(raised: Notice, returned: Notice) -> Notice:
    """One notice of a raise that never went out and of the return that overtook it.

    It goes out when the raise would have. Where the raise was tried before, the result needs a Message-ID of its own:
    the server may have taken the raise and lost its answer, and a receiver drops what it thinks it has.
    """
    later, earlier = returned.draft, raised.draft
    body = (
        f"{later.body.rstrip()}\n\n"
        "It was over before the message about its beginning could go out. That message said:\n\n"
        f"{_without_safety(earlier.body).rstrip()}\n"
    )
    return replace(
        returned,
        draft=MessageText(f"CAME AND WENT: {tail_of(earlier.subject)}"[:SUBJECT_LIMIT], body),
        priority=raised.priority,
        not_before_ms=raised.not_before_ms,
    )


def gather(notices: Sequence[Notice], site: str) -> list[Notice]:
    """What one turn has to say to one person, in as few messages as is kind.

    A raise and the return of the same occurrence become one. Of those that may go out at the same moment, more than
    ``MOST_APART`` become one. site: the cellar's name.
    """
    folded: list[Notice] = []
    for notice in notices:
        raised = next((index for index, each in enumerate(folded) if _is_raise_of(each, notice)), None)
        if raised is None:
            folded.append(notice)
        else:
            folded[raised] = combine(folded[raised], notice)
    moments: dict[int, list[Notice]] = {}
    for notice in folded:
        moments.setdefault(notice.not_before_ms, []).append(notice)
    gathered: list[Notice] = []
    for group in moments.values():
        gathered += group if len(group) <= MOST_APART else [_together(group, site)]
    return gathered


def _is_raise_of(earlier: Notice, later: Notice) -> bool:
    return earlier.tells is Tells.RAISED and later.tells is Tells.RETURNED and earlier.occurrences == later.occurrences


def _together(group: Sequence[Notice], site: str) -> Notice:
    ordered = sorted(group, key=lambda each: (each.tells is not Tells.RAISED, _RANK[each.priority]))
    first = ordered[0]
    raised = sum(each.tells is Tells.RAISED for each in group)
    if raised:
        others = len(group) - raised
        count = f"{raised} alarms" if raised > 1 else "1 alarm"
        count += f" and {others} other news" if others else ""
        word = _WORDS[first.priority]
    else:
        word, count = "NEWS", f"{len(group)} alarms"
    lines = "\n".join(f"  {each.draft.subject}" for each in ordered)
    in_full = ordered[:MOST_IN_FULL]
    parts = [f"{count} at {site} at once:\n{lines}"]
    parts += [f"---- {each.draft.subject}\n\n{_without_safety(each.draft.body).rstrip()}" for each in in_full]
    if len(ordered) > len(in_full):
        parts.append(f"---- The other {len(ordered) - len(in_full)} are told above by their subject only.")
    if any(each.draft.body.startswith(SAFETY) for each in group):
        parts.insert(0, SAFETY)
    subject = f"{word}: {count} at {site}, first {tail_of(first.draft.subject)}"
    if len(subject) > SUBJECT_LIMIT:
        subject = subject[: SUBJECT_LIMIT - 1] + "…"
    return Notice(
        occurrences=tuple(name for each in ordered for name in each.occurrences),
        tells=first.tells,
        draft=MessageText(subject, "\n\n".join(parts) + "\n"),
        priority=min((each.priority for each in ordered), key=_RANK.__getitem__),
        not_before_ms=first.not_before_ms,
    )


def _without_safety(body: str) -> str:
    return body.removeprefix(SAFETY).lstrip("\n")
