"""Several messages to one person become one: what it is about first, then each by its subject, the most urgent in full.

Nothing waits for anything here: what is put together may go out at the same moment.
"""

from __future__ import annotations

__all__ = [
    "MOST_APART",
    "Notice",
    "combine",
    "count_words",
    "fold",
    "gather",
    "in_capitals",
    "joined",
    "listed",
    "most_urgent_first",
    "notice_of",
    "together",
]

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from alerts.message.cautions import cautions_in, without_cautions
from alerts.message.subject import CAME_AND_WENT, SUBJECT_LIMIT, shortened, tail_of
from alerts.message.wording import LAST_READINGS, MessageText
from alerts.view.format import counted
from alerts.watch.alarm_table import Occasion
from ingest.store.alarms.messages import MessageRow

# More than this many from one turn to one person are put together; this project's choice.
MOST_APART: Final = 3
# Of what is put together, this many stand in full; the rest by subject.
MOST_IN_FULL: Final = 10

PRIORITY_RANK: Final = {"high": 0, "medium": 1, "low": 2}


@dataclass(frozen=True, slots=True)
class Notice:
    """A message to one person that is not stored yet, or not sent yet.

    occurrences: what it is about (several once gathered); occasion: an ``Occasion``, of several that of the most
    urgent, or what kind of summary it is; priority: of the limit, of several the highest; not_before_ms: when it may
    first go out, UTC milliseconds; is_active: whether something is not as it should be, so that this is not an
    all-clear; hold: why it is held back until then, "" if it is not.
    """

    occurrences: tuple[str, ...]
    occasion: str
    draft: MessageText
    priority: str
    not_before_ms: int
    is_active: bool = True
    hold: str = ""


def notice_of(row: MessageRow) -> Notice:
    """Make a notice of a message that is stored and was not sent yet."""
    return Notice(
        occurrences=tuple((row.occurrence or "").split()),
        occasion=row.occasion,
        draft=MessageText(row.subject, row.body),
        priority=row.priority or "low",
        not_before_ms=row.not_before_ms,
        is_active=bool(row.priority),
        hold=row.hold,
    )


def combine(raised: Notice, returned: Notice) -> Notice:
    """Make one notice of a raise that never went out and of the return that overtook it.

    It goes out when the raise would have. Where the raise was tried before, the result needs a Message-ID of its own:
    the server may have taken the raise and lost its answer, and a receiver drops what it thinks it has.
    """
    later, earlier = returned.draft, raised.draft
    head, over = CAME_AND_WENT, "It was over before the message about its beginning could go out. That message said:"
    if returned.occasion == Occasion.REMOVED:  # nobody knows whether it is over
        head, over = later.subject.partition(": ")[0], "The message about its beginning had not gone out. It said:"
    body = f"{later.body.rstrip()}\n\n{over}\n\n{_without_readings(without_cautions(earlier.body)).rstrip()}\n"
    return replace(
        returned,
        draft=MessageText(shortened(f"{head}: {tail_of(earlier.subject)}", SUBJECT_LIMIT), body),
        priority=raised.priority,
        not_before_ms=raised.not_before_ms,
        hold=raised.hold,
    )


def _without_readings(body: str) -> str:
    """The text of a message without the readings at its end: those of the later message are newer."""
    return body.partition(f"\n{LAST_READINGS}\n")[0]


def fold(notices: Sequence[Notice]) -> list[Notice]:
    """Make one notice of a raise and the return of the same occurrence, where both came in one turn."""
    folded: list[Notice] = []
    for notice in notices:
        raised = next((index for index, each in enumerate(folded) if _is_raise_of(each, notice)), None)
        if raised is None:
            folded.append(notice)
        else:
            folded[raised] = combine(folded[raised], notice)
    return folded


def gather(notices: Sequence[Notice], site: str) -> list[Notice]:
    """Put together what may go out now, if it is more than ``MOST_APART``; what is held back is left as it is.

    site: the cellar's name.
    """
    at_once = [each for each in notices if not each.hold]
    held = [each for each in notices if each.hold]
    return [*(at_once if len(at_once) <= MOST_APART else [together(at_once, site)]), *held]


def _is_raise_of(earlier: Notice, later: Notice) -> bool:
    return (
        earlier.occasion == Occasion.RAISED
        and later.occasion == Occasion.RETURNED
        and earlier.occurrences == later.occurrences
    )


def most_urgent_first(notices: Sequence[Notice]) -> list[Notice]:
    """The alarms by priority, then the all-clears."""
    return sorted(notices, key=lambda each: (not each.is_active, PRIORITY_RANK[each.priority]))


def together(notices: Sequence[Notice], site: str, when: str = "at once") -> Notice:
    """Make one notice of several. site: the cellar's name; when: they came, in words."""
    ordered = most_urgent_first(notices)
    count = count_words(ordered)
    return joined(ordered, f"{in_capitals(count)} at {site}", f"{count} at {site} {when}:\n{listed(ordered)}")


def joined(ordered: Sequence[Notice], subject_head: str, body: str, occasion: str = "") -> Notice:
    """Make one notice of several, the most urgent first; its subject ends with what the first is about.

    occasion: "" for that of the first.
    """
    first = ordered[0]
    subject = shortened(f"{subject_head}: {tail_of(first.draft.subject)}", SUBJECT_LIMIT)
    return Notice(
        occurrences=tuple(name for each in ordered for name in each.occurrences),
        occasion=occasion or first.occasion,
        draft=MessageText(subject, body),
        priority=first.priority,
        not_before_ms=first.not_before_ms,
        is_active=first.is_active,
    )


def listed(ordered: Sequence[Notice], note: str = "") -> str:
    """Write the subject of each notice, the cautions, and the first in full. note: a paragraph after the cautions."""
    high = sum(each.is_active and each.priority == "high" for each in ordered)
    in_full = ordered[: max(MOST_IN_FULL, high)]
    bodies = [each.draft.body for each in ordered if each.is_active]
    cautions = cautions_in(bodies)
    parts = ["\n".join(f"  {each.draft.subject}" for each in ordered), "\n".join(cautions), note]
    parts += [f"---- {each.draft.subject}\n\n{without_cautions(each.draft.body).rstrip()}" for each in in_full]
    if len(ordered) > len(in_full):
        parts.append(f"---- The other {len(ordered) - len(in_full)} stand above by their subject only.")
    return "\n\n".join(part for part in parts if part) + "\n"


def count_words(notices: Sequence[Notice]) -> str:
    """How many alarms and all-clears there are: "4 alarms, 2 of high priority, and 1 all-clear"."""
    alarms = [each.priority for each in notices if each.is_active]
    removed = sum(each.occasion == Occasion.REMOVED for each in notices)
    clears = len(notices) - len(alarms) - removed
    parts = []
    if alarms:
        highest = min(alarms, key=PRIORITY_RANK.__getitem__)
        of_it = alarms.count(highest)
        words = counted(len(alarms), "alarm")
        parts.append(
            f"{words} of {highest} priority" if of_it == len(alarms) else f"{words}, {of_it} of {highest} priority"
        )
    if clears:
        parts.append(counted(clears, "all-clear"))
    if removed:
        parts.append(counted(removed, "limit removed", "limits removed"))
    if len(parts) > 1 and "," in parts[0]:
        parts[0] += ","
    return " and ".join(parts) if len(parts) < 3 else f"{', '.join(parts[:-1])} and {parts[-1]}".replace(",,", ",")


def in_capitals(count: str) -> str:
    """The words of ``count_words`` as a subject begins with them."""
    return count.upper().replace(" OF ", " of ").replace(" AND ", " and ")
