"""A judgement: a number that no probe shows, worked out aside from readings and the journal.

Compensated pressure, the rate of a leak, molecular SO2 and the hours until a floor are judgements. A limit is judged by
one as by the reading of a probe, whose id ``judged_probe`` makes.
"""

from __future__ import annotations

__all__ = ["FINDINGS", "UNDECIDED", "Judgement", "is_judged_probe", "judged_probe"]

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

# What a judgement may say beside its number, "" for nothing. The words of gas.
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
    }
)
# With these a number decides nothing: it neither begins nor ends an alarm.
UNDECIDED: Final = frozenset({"cannot tell yet", "no judgement"})

_OF: Final = " of "
_IN: Final = " in "


class Judgement(NamedTuple):
    """What was worked out of a place, or of a lot in a vessel.

    place: the vessel, cylinder or room; lot: the lot's id, "" for the place itself; name: of the judged quantity;
    at_ms: up to when it knows (UTC ms); value, low, high: the number and the ends of its interval in the quantity's
    unit, None where nothing can be said; finding: one of ``FINDINGS``; details: a little more, for cards and messages,
    that JSON can hold.
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


def judged_probe(name: str, place: str, lot: str = "") -> str:
    """Make the id under which limits are judged by a judgement. No probe has it: ids of the cellar file have no space.

    lot: "" for a judgement on the place itself.
    """
    return f"{name}{_OF}{lot}{_IN}{place}" if lot else f"{name}{_OF}{place}"


def is_judged_probe(probe: str) -> bool:
    """Whether an id is one that ``judged_probe`` makes."""
    return _OF in probe
