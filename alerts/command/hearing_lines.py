"""Who would hear of an alarm, when and by which channel, in sentences."""

from __future__ import annotations

__all__ = ["NOBODY", "hearing_lines"]

from typing import Final

from alerts.message.digest_times import HELD_FOR_DIGEST_MS
from alerts.message.hearing import Hearing, hearings
from alerts.view.format import duration_text, local_time
from ingest.cellar import MAIL_CHANNEL, Cellar, EffectiveLimit
from ingest.store.alarms.absences import Absence

NOBODY: Final = "the cellar file has no [[person]] and no [mail] to"
_WAITS: Final = {"digest": "for the digest", "waking": "for the waking hours", "away": "for the end of the absence"}


def hearing_lines(
    cellar: Cellar, limit: EffectiveLimit, absence: Absence | None, step: str, raised_ms: int, now_ms: int
) -> list[str]:
    """Say it for an alarm that is raised at a time, those who hear of it in the same way in one sentence.

    absence: that is under way then; step: what a helper can do about it; raised_ms, now_ms: UTC ms.
    """
    listed = hearings(cellar, limit, absence, step, raised_ms)
    if all(each.at_ms is None for each in listed):
        nobody = "nobody gets alarms of its priority" if cellar.recipients else NOBODY
        return [f"No message would be sent: {nobody}."]
    what = "mail" if {each.recipient.channel for each in listed if each.at_ms} == {MAIL_CHANNEL} else "message"
    alike: dict[Hearing, list[str]] = {}
    for each in listed:
        alike.setdefault(each._replace(recipient=listed[0].recipient), []).append(each.recipient.name)
    ordered = sorted(alike.items(), key=lambda pair: (pair[0].at_ms is None, pair[0].at_ms or 0, pair[0].after_s))
    return [_line(cellar, each, names, what, now_ms) for each, names in ordered]


def _line(cellar: Cellar, hearing: Hearing, names: list[str], what: str, now_ms: int) -> str:
    people = ", ".join(names)
    if hearing.at_ms is None:
        return f"No {what} to {people}: {hearing.why}."
    at_ms = hearing.at_ms
    if hearing.hold == "digest" and cellar.digest is not None:
        at_ms -= HELD_FOR_DIGEST_MS  # so much longer it waits where no digest comes
    until = f", until {local_time(at_ms, cellar.site.zone, now_ms)}"
    helped = ", with what a helper can safely do" if hearing.helped else ""
    waits = f"wait {_WAITS[hearing.hold]}{until}" if hearing.hold else ""
    if hearing.after_s:
        head = f"If nobody has acknowledged it after {duration_text(hearing.after_s)}, a {what} to {people} would"
        return f"{head} go out too, and {waits}." if waits else f"{head} go out too."
    return f"The {what} to {people} would {waits or 'go out then'}{helped}."
