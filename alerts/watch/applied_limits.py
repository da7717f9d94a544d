"""Which limits apply now: those of places, those on wine where it lies, those on SO2 and on work that falls due.

A limit on wine has a key for each vessel in which the wine lies. When the wine is racked, its limit there is gone and
another one begins where it lies now. If its alarm was open, one message says that the wine has left.
"""

from __future__ import annotations

__all__ = ["LEFT_NOTE", "REPLACED_NOTE", "AppliedLimits", "applied_limits"]

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

from alerts.watch.own_limits import watched_limits
from ingest.cellar import Cellar, EffectiveLimit, WinePlaces

LEFT_NOTE: Final = "the wine has left this vessel"
REPLACED_NOTE: Final = "a limit on the wine in this vessel has taken its place"


class AppliedLimits(NamedTuple):
    """watched: every limit that is judged now; absent: those that the file has for other places of the wine; notes: why
    a limit of those is not judged. All by key.
    """

    watched: dict[str, EffectiveLimit]
    absent: Mapping[str, EffectiveLimit] = MappingProxyType({})
    notes: Mapping[str, str] = MappingProxyType({})


def applied_limits(
    cellar: Cellar,
    wine: WinePlaces,
    of_journal: Mapping[str, EffectiveLimit] = MappingProxyType({}),
    possible: Mapping[str, EffectiveLimit] = MappingProxyType({}),
) -> AppliedLimits:
    """Find the limits that apply while wine lies there.

    of_journal: those that nobody wrote and that follow from the journal, by key; possible: those of them that may come
    and go with wine.
    """
    watched = {**watched_limits(cellar, wine), **of_journal}
    absent = {key: limit for key, limit in possible.items() if key not in watched}
    if cellar.has_limits_on_wine:
        absent |= {limit.key: limit for limit in cellar.possible_limits if limit.key not in watched}
    # A default limit on the wine of a vessel that still holds some gave way to one of the file.
    gave_way = {key for key in possible if key in absent and absent[key].at in wine.lots}
    notes = {key: LEFT_NOTE if limit.lot and key not in gave_way else REPLACED_NOTE for key, limit in absent.items()}
    return AppliedLimits(watched, absent, notes)
