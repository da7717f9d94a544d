"""Several messages to one person become one: what it is about first, then each by its subject, the most urgent in full.

Nothing waits for anything here: what is put together may go out at the same moment.
"""

from __future__ import annotations

__all__ = ["MOST_APART", "PRIORITY_RANK", "Notice", "bundle_text", "combine", "count_words", "gather"]

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from alerts.message.cautions import CAUTIONS, without_cautions
from alerts.message.subject import CAME_AND_WENT, SUBJECT_LIMIT, shortened, tail_of
from alerts.message.wording import MessageText
from alerts.view.format import counted
from alerts.watch.alarm_table import Occasion

# More than this many from one turn to one person are put together; this project's choice.
MOST_APART: Final = 3
# Of what is put together, this many stand in full; the rest by subject.
MOST_IN_FULL: Final = 10

PRIORITY_RANK: Final = {"high": 0, "medium": 1, "low": 2}


@dataclass(frozen=True, slots=True)
class Notice:
    """A message to one person that is not stored yet, or not sent yet.

    occurrences: what it is about (several once gathered); occasion: of several that of the most urgent; priority: of
    the limit, of several the highest; not_before_ms: when it may first go out, UTC milliseconds; is_active: whether
    something is not as it should be, so that this is no all-clear.
    """

    occurrences: tuple[str, ...]
    occasion: Occasion
    draft: MessageText
    priority: str
    not_before_ms: int
    is_active: bool = True


def combine(raised: Notice, returned: Notice) -> Notice:
    """Make one notice of a raise that never went out and of the return that overtook it.

    It goes out when the raise would have. Where the raise was tried before, the result needs a Message-ID of its own:
    the server may have taken the raise and lost its answer, and a receiver drops what it thinks it has.
    """
    later, earlier = returned.draft, raised.draft
    body = (
        f"{later.body.rstrip()}\n\n"
        "It was over before the message about its beginning could go out. That message said:\n\n"
        f"{without_cautions(earlier.body).rstrip()}\n"
    )
    return replace(
        returned,
        draft=MessageText(shortened(f"{CAME_AND_WENT}: {tail_of(earlier.subject)}", SUBJECT_LIMIT), body),
        priority=raised.priority,
        not_before_ms=raised.not_before_ms,
    )


def gather(notices: Sequence[Notice], site: str) -> list[Notice]:
    """Put together what one turn has to say to one person.

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
    return (
        earlier.occasion is Occasion.RAISED
        and later.occasion is Occasion.RETURNED
        and earlier.occurrences == later.occurrences
    )


def _together(group: Sequence[Notice], site: str) -> Notice:
    ordered = sorted(group, key=lambda each: (not each.is_active, PRIORITY_RANK[each.priority]))
    first = ordered[0]
    return Notice(
        occurrences=tuple(name for each in ordered for name in each.occurrences),
        occasion=first.occasion,
        draft=bundle_text(ordered, site),
        priority=min((each.priority for each in ordered), key=PRIORITY_RANK.__getitem__),
        not_before_ms=first.not_before_ms,
        is_active=first.is_active,
    )


def bundle_text(ordered: Sequence[Notice], site: str) -> MessageText:
    """Write one message of several notices, the most urgent first. site: the cellar's name."""
    count = count_words(ordered)
    subjects = "\n".join(f"  {each.draft.subject}" for each in ordered)
    in_full = ordered[:MOST_IN_FULL]
    bodies = [each.draft.body for each in ordered if each.is_active]
    cautions = [caution for caution in CAUTIONS if any(caution in body.split("\n") for body in bodies)]
    parts = [f"{count} at {site} at once:\n{subjects}"]
    if cautions:
        parts.append("\n".join(cautions))
    parts += [f"---- {each.draft.subject}\n\n{without_cautions(each.draft.body).rstrip()}" for each in in_full]
    if len(ordered) > len(in_full):
        parts.append(f"---- The other {len(ordered) - len(in_full)} stand above by their subject only.")
    subject = f"{_in_capitals(count)} at {site}: {tail_of(ordered[0].draft.subject)}"
    return MessageText(shortened(subject, SUBJECT_LIMIT), "\n\n".join(parts) + "\n")


def count_words(notices: Sequence[Notice]) -> str:
    """How many alarms and all-clears there are: "4 alarms, 2 of high priority, and 1 all-clear"."""
    alarms = [each.priority for each in notices if each.is_active]
    removed = sum(each.occasion is Occasion.REMOVED for each in notices)
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


def _in_capitals(count: str) -> str:
    return count.upper().replace(" OF ", " of ").replace(" AND ", " and ")
