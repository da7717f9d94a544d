"""What a pH probe shows while its calibration is written down: live, and taken with one press once it stands still."""

from __future__ import annotations

__all__ = ["BufferReading", "buffer_reading", "with_reading"]

from collections.abc import Sequence
from dataclasses import replace
from typing import Final, NamedTuple

from alerts.page.context import PageContext
from alerts.page.entering.entry_post import EntryPost
from alerts.view.format import age, value_text
from ingest.calibrating import series_now
from ingest.cellar import Probe
from ingest.entering import moment
from ingest.errors import IngestError
from ingest.journal.answers import AnswersWrong, Wrong
from ingest.ph_in_buffer import PhInBuffer, ph_in_buffer
from ingest.store import Store

# A calibration as of now may have been looked at some minutes ago, as with the command.
_OF_NOW_MS: Final = 15 * 60_000
_MOST_BUFFERS: Final = 5
_STATES: Final = {
    "no reading": "no reading yet",
    "moves": "still moves",
    "too short": "not still for long enough",
    "still": "stands still",
}


class BufferReading(NamedTuple):
    """What the form shows of the probe.

    value: as people read it, "" for none; age: of that reading; state: in a word or two; says: the same in a sentence;
    take: what the button says; path: where a script asks for it again.
    """

    value: str
    age: str
    state: str
    says: str
    is_still: bool
    take: str
    path: str


def buffer_reading(
    context: PageContext,
    probe: Probe,
    store: Store,
    buffers: Sequence[str],
    reads: Sequence[str],
    after_ms: int | None,
) -> BufferReading | None:
    """Say what the probe shows now, None where the store does not know it yet.

    buffers, reads: the answers so far; after_ms: when the last reading that was taken came (UTC ms).
    """
    try:
        series = series_now(store, probe).id
    except IngestError:
        return None
    now_ms = context.clock()
    now = ph_in_buffer(store, probe, series, now_ms, after_ms=after_ms)
    units = context.cellar.site.units
    value = "" if now.ph is None else value_text("pH", now.ph, units)
    return BufferReading(
        value=value,
        age="" if now.at_ms is None else f"{age(max(now_ms - now.at_ms, 0))} old",
        state=_STATES[now.state],
        says=_sentence(now, waits_for_next=after_ms is not None),
        is_still=now.is_still,
        take=_button(buffers, len(reads)),
        path=f"/enter/calibration/{probe.id}/now",
    )


def with_reading(context: PageContext, probe: Probe, store: Store, post: EntryPost) -> EntryPost:
    """Give the form with what the probe shows now behind the readings that it has.

    Raises AnswersWrong while the probe moves, and for a calibration of an earlier time; IngestError for a new probe.
    """
    now_ms = context.clock()
    reads = list(post.texts.get("reads", ()))
    if post.at is not None and now_ms - moment(post.at, context.cellar, now_ms) > _OF_NOW_MS:
        why = "what the probe shows now says nothing of an earlier time; type what it showed then"
        raise AnswersWrong([Wrong("reads", why)])
    if len(reads) >= _MOST_BUFFERS:
        raise AnswersWrong([Wrong("reads", f"{_MOST_BUFFERS} buffers at most have a reading already")])
    now = ph_in_buffer(store, probe, series_now(store, probe).id, now_ms, after_ms=post.taken_ms)
    if now.ph is None or not now.is_still:
        raise AnswersWrong([Wrong("reads", now.wait)])
    texts = {**post.texts, "reads": [*reads, f"{now.ph:.3f} pH"]}
    return replace(post, texts=texts, taken_ms=now.at_ms)


def _button(buffers: Sequence[str], taken: int) -> str:
    """What the button takes the reading for: the first buffer without one."""
    which = buffers[taken] if taken < len(buffers) else f"no. {taken + 1}"
    return f"Take it for buffer {which}"


def _sentence(now: PhInBuffer, *, waits_for_next: bool) -> str:
    """What the state rests on."""
    if now.state == "no reading":
        if waits_for_next:
            return "Taken. Rinse the probe, put it into the next buffer, and wait."
        return f"No good reading came {now.span}."
    if now.state == "too short":
        return "It must stand still for half a minute."
    return f"{now.low:.2f} to {now.high:.2f} {now.span}."
