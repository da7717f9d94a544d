"""One thing that will fall short while the owner is away."""

from __future__ import annotations

__all__ = ["Shortfall", "ShortfallKind"]

from dataclasses import dataclass
from enum import StrEnum


class ShortfallKind(StrEnum):
    """What falls short."""

    GAS = "gas"
    SO2 = "SO2"
    WORK = "work"
    CYLINDER = "cylinder"
    ALARM = "alarm"
    UNKNOWN = "not known"


@dataclass(frozen=True, slots=True, kw_only=True)
class Shortfall:
    """One thing. place: vessel, cylinder, or what the work is done to; lot: the wine's id, "" where it has none; words:
    what happens, for a person; earliest_ms, latest_ms: when [UTC ms], None where no such end can be given; before: what
    the owner can do before leaving; helper: what a helper can safely do when it happens, "" for nothing.
    """

    kind: ShortfallKind
    place: str
    lot: str = ""
    words: str
    earliest_ms: int | None
    latest_ms: int | None
    before: str
    helper: str = ""
