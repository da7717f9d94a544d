"""A judgement: a number that no probe shows, worked out aside from readings and the journal.

Compensated pressure, the rate of a leak, molecular SO2 and the hours until a floor are judgements. A limit is judged by
one as by the reading of a probe (``ingest.cellar.judged_id``).
"""

from __future__ import annotations

__all__ = ["FINDINGS", "UNDECIDED", "Judgement"]

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

# What a judgement may say beside its number, "" for nothing. The words of gas, and of a legal limit.
FINDINGS: Final = frozenset(
    {
        "",
        "sound",
        "cooling",
        "warming",
        "settling",
        "slow leak",
        "fast leak",
        "drawn",
        "gas rising",
        "supply open",
        "cannot tell yet",
        "no judgement",
        "cannot be told apart from the legal limit",
    }
)
# With these a number decides nothing: it neither begins nor ends an alarm.
UNDECIDED: Final = frozenset({"cannot tell yet", "no judgement"})


class Judgement(NamedTuple):
    """What was worked out of a place, or of the wine in a vessel.

    place: the vessel, cylinder or room; name: of the judged quantity; at_ms: up to when it knows (UTC ms); value, low,
    high: the number and the ends of its interval in the quantity's unit, None where nothing can be said; finding: one
    of ``FINDINGS``; lot: whose wine it is about, "" for the place itself; details: a little more, for cards and
    messages, that JSON can hold.
    """

    place: str
    name: str
    at_ms: int
    value: float | None
    low: float | None = None
    high: float | None = None
    finding: str = ""
    lot: str = ""
    details: Mapping[str, object] = MappingProxyType({})

    @property
    def decides(self) -> bool:
        """Whether a limit may be judged by its number."""
        return self.value is not None and self.finding not in UNDECIDED
