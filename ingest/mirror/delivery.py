"""One batch on its way: sent whole, halved, searched for bad lines, or put off. Pure but for what ``post`` does."""

from __future__ import annotations

__all__ = ["MOST_BAD", "Delivery", "deliver"]

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

from ingest.mirror.client import Reply, ReplyMeaning, meaning_of
from ingest.store.mirror_queue import RefusedLine

# So many bad lines in one batch are no bad lines: the server takes something else than we send.
MOST_BAD: Final = 100

Post = Callable[[Sequence[str]], Reply]


@dataclass(slots=True)
class Delivery:
    """What came of a batch.

    stopped: the reply because of which the batch is not delivered, None if it is; taken: lines that were written;
    refused: lines that never will be; largest: how many lines to send at once from now on, None if the server took as
    many as it was given.
    """

    stopped: Reply | None = None
    taken: int = 0
    refused: list[RefusedLine] = field(default_factory=list)
    largest: int | None = None


def deliver(lines: Sequence[str], post: Post, *, trusted: bool = True) -> Delivery:
    """Send lines until each is written or refused, or until a reply calls for waiting.

    trusted: the server has taken lines before. While it has not, and takes none of these, a 400 is held against the
    server (a wrong address answers so too) and not against the lines, so that nothing is given up by mistake.
    """
    made = Delivery()
    waiting = [list(lines)] if lines else []
    blamed: Reply | None = None
    # Most lines that were taken at once since the server wanted fewer: one line that is too long by itself must not
    # make every later batch a batch of one.
    most = 0
    while waiting:
        part = waiting.pop()
        reply = post(part)
        answer = meaning_of(reply.status)
        if answer in (ReplyMeaning.TAKEN, ReplyMeaning.PARTLY):
            made.taken += len(part)
            if made.largest is not None:
                made.largest = most = max(most, len(part))
            if answer is ReplyMeaning.PARTLY:
                made.refused.append(RefusedLine(part[0], reply.status, reply.said))
        elif answer in (ReplyMeaning.SEARCH, ReplyMeaning.HALVE) and len(part) > 1:
            middle = len(part) // 2
            waiting += [part[middle:], part[:middle]]
            if answer is ReplyMeaning.HALVE:
                made.largest = most or max(1, middle)
        elif answer in (ReplyMeaning.SEARCH, ReplyMeaning.HALVE):
            made.refused.append(RefusedLine(part[0], reply.status, reply.said))
            blamed = reply
            if len(made.refused) > MOST_BAD:
                made.stopped = reply
                return made
        else:
            made.stopped = reply
            return made
    if blamed is not None and made.taken == 0 and not trusted:
        made.stopped = blamed
    return made
