"""What each reply of the mirror's server calls for, and the delivery of a batch. Pure but for what sends a request.

Meaning of the codes: InfluxData, "Write API" of InfluxDB v2 (POST /api/v2/write); Retry-After: RFC 9110 section 10.2.3.
Sending points again is harmless, since an equal point replaces itself. So whatever leaves it open whether a batch was
written is answered by the same batch again.
"""

from __future__ import annotations

__all__ = [
    "MOST_BAD",
    "Delivery",
    "ReplyMeaning",
    "deliver",
    "meaning_of",
    "open_client",
]

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Final

from ingest.cellar import MirrorSettings
from ingest.errors import IngestError
from ingest.mirror.reply import NETWORK, Reply
from ingest.store.mirror_queue import RefusedLine

if TYPE_CHECKING:
    from ingest.mirror.influx import Influx

# With more bad lines than this in one batch it is not the lines that are bad: the server wants something else.
MOST_BAD: Final = 100


class ReplyMeaning(Enum):
    """What to do after a reply."""

    TAKEN = "all is written: go on"
    PARTLY = "some points will never be taken, the rest is written: note it, go on"
    SEARCH = "a line is wrong, and nothing is written: look for it"
    HALVE = "too much at once: send half"
    AGAIN = "nobody knows, or the server is busy: the same again, later"
    SHUT = "the server will not have us: nothing to gain by haste"


_MEANINGS: Final = {
    NETWORK: ReplyMeaning.AGAIN,
    204: ReplyMeaning.TAKEN,
    400: ReplyMeaning.SEARCH,
    401: ReplyMeaning.SHUT,
    403: ReplyMeaning.SHUT,
    404: ReplyMeaning.SHUT,
    408: ReplyMeaning.AGAIN,
    413: ReplyMeaning.HALVE,
    422: ReplyMeaning.PARTLY,
    425: ReplyMeaning.AGAIN,
    429: ReplyMeaning.AGAIN,
}


def meaning_of(status: int) -> ReplyMeaning:
    """Return what a status calls for: from 500 on AGAIN, SHUT for any other that such a server does not give.

    That holds for 200 too: a log-in page or a wrong path replies so, and has stored nothing.
    """
    return _MEANINGS.get(status, ReplyMeaning.AGAIN if status >= 500 else ReplyMeaning.SHUT)


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


def deliver(lines: Sequence[str], post: Callable[[Sequence[str]], Reply], *, trusted: bool = True) -> Delivery:
    """Send lines until each is written or refused, or until a reply calls for waiting.

    trusted: the server has taken lines before. While it has not, and takes none of these, a 400 is held against the
    server (a wrong address replies so too) and not against the lines, so that nothing is given up by mistake.
    """
    delivery = Delivery()
    waiting = [list(lines)] if lines else []
    blamed: Reply | None = None
    # Most lines that were taken at once since the server wanted fewer: one line that is too long by itself must not
    # make every later batch a batch of one.
    most = 0
    while waiting:
        part = waiting.pop()
        reply = post(part)
        meaning = meaning_of(reply.status)
        if meaning in (ReplyMeaning.TAKEN, ReplyMeaning.PARTLY):
            delivery.taken += len(part)
            if delivery.largest is not None:
                delivery.largest = most = max(most, len(part))
            if meaning is ReplyMeaning.PARTLY:
                delivery.refused.append(RefusedLine(part[0], reply.status, reply.text))
        elif meaning in (ReplyMeaning.SEARCH, ReplyMeaning.HALVE) and len(part) > 1:
            middle = len(part) // 2
            waiting += [part[middle:], part[:middle]]
            if meaning is ReplyMeaning.HALVE:
                delivery.largest = most or max(1, middle)
        elif meaning in (ReplyMeaning.SEARCH, ReplyMeaning.HALVE):
            delivery.refused.append(RefusedLine(part[0], reply.status, reply.text))
            blamed = reply
            if len(delivery.refused) > MOST_BAD:
                delivery.stopped = reply
                return delivery
        else:
            delivery.stopped = reply
            return delivery
    if blamed is not None and delivery.taken == 0 and not trusted:
        delivery.stopped = blamed
    return delivery


def open_client(settings: MirrorSettings, base: Path) -> Influx:
    """Return the client of a ``[mirror]`` table; ``base`` is the cellar file's folder.

    Only here the client library is imported, since a leeside without a mirror need not have it. Raises IngestError if
    it is missing.
    """
    try:
        from ingest.mirror.influx import Influx
    except ModuleNotFoundError as error:
        raise IngestError(
            f"[mirror] needs the library {error.name}, which is not installed; install leeside with its extra: "
            "pip install 'leeside[mirror]'"
        ) from None
    return Influx(settings, None if settings.ca_file is None else base / settings.ca_file)
