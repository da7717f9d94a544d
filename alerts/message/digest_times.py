"""When a digest goes out: the last and the next moment, by the clock on the cellar's wall. Pure."""

from __future__ import annotations

__all__ = ["HELD_FOR_DIGEST_MS", "digest_before_ms", "digest_day", "next_digest_ms"]

from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Final

from alerts.message.hours import local_moment
from ingest.cellar import DigestSettings

_DAY: Final = timedelta(days=1)
# What waits for the digest goes out by itself when no digest has come for so long after its time.
HELD_FOR_DIGEST_MS: Final = 30 * 60_000


def digest_before_ms(digest: DigestSettings, now_ms: int, zone: tzinfo) -> int:
    """The last moment of a digest up to now (UTC ms). One that is skipped by the clocks is at their change."""
    day = digest_day(now_ms, zone)
    moments = (_moment_ms(digest, day - number * _DAY, zone) for number in range(15))
    return next(moment for moment in moments if moment is not None and moment <= now_ms)


def next_digest_ms(digest: DigestSettings, now_ms: int, zone: tzinfo) -> int:
    """The first moment of a digest after now (UTC ms)."""
    day = digest_day(now_ms, zone)
    moments = (_moment_ms(digest, day + number * _DAY, zone) for number in range(-1, 15))
    return next(moment for moment in moments if moment is not None and moment > now_ms)


def digest_day(at_ms: int, zone: tzinfo) -> date:
    """The day of a moment in the cellar."""
    return datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(zone).date()


def _moment_ms(digest: DigestSettings, day: date, zone: tzinfo) -> int | None:
    if digest.weekday not in (None, day.weekday()):
        return None
    return round(local_moment(day, digest.at, zone, fold=0).timestamp() * 1000)
