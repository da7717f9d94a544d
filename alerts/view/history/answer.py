"""What a history holds, as columns: what the chart draws, and what ``/api/history`` gives.

Times are UTC milliseconds. Values are in the pane's unit, which is leeside's own; None is JSON's null.
"""

from __future__ import annotations

__all__ = [
    "AlarmMark",
    "BandColumns",
    "EntryMark",
    "EstimateAnswer",
    "FoundColumns",
    "HistoryAnswer",
    "HistoryPane",
    "LimitPiece",
    "LotStay",
    "PaneQuantity",
    "ReadColumns",
    "ShownUnit",
    "SubjectKind",
]

from dataclasses import dataclass, field
from typing import Annotated, Literal, NamedTuple

from pydantic import Field

SubjectKind = Literal["vessel", "lot", "cylinder", "room"]
PaneQuantity = Literal["pressure", "temperature", "barometric_pressure", "pH", "free_so2", "molecular_so2"]

Times = Annotated[list[int], Field(description="UTC milliseconds, rising")]
Values = Annotated[list[float | None], Field(description="in the pane's unit, one for each time; null: not known")]


class LotStay(NamedTuple):
    """A lot was in a vessel from from_ms to to_ms (UTC ms; None: it still is); share: its part of the wine there at the
    end, of 1, None if not known.
    """

    lot: str
    vessel: str
    from_ms: int
    to_ms: int | None
    share: float | None


@dataclass(frozen=True, slots=True)
class ReadColumns:
    """What one probe read at one place, a row for each span of time that has readings.

    at_ms: where the span begins; low, mean, high: of its readings that are not bad; worst: the worst quality in it, 0
    good, 1 uncertain, 2 bad. No lowest or highest reading is lost, whatever the span is.
    """

    place: str
    probe: str
    at_ms: Times
    low: Values
    mean: Values
    high: Values
    worst: Annotated[list[int], Field(description="0 good, 1 uncertain, 2 bad; one for each time")]


@dataclass(frozen=True, slots=True)
class BandColumns:
    """A number that is worked out, with its range. what: "compensated" (a pressure as it would be at the reference
    temperature; the range is that of two standard uncertainties, over a longer span all that it was in it) or
    "estimate" (the median and the ends of the 80 % interval, by what was known at each time). span_ms: how long each
    row holds; 0: it changes along a straight line to the next.
    """

    what: Literal["compensated", "estimate"]
    place: str
    span_ms: int
    at_ms: Times
    low: Values
    middle: Values
    high: Values


@dataclass(frozen=True, slots=True)
class FoundColumns:
    """What people found: titrations and measurements, each from a journal entry. u: its standard uncertainty, null
    where nobody gave it.
    """

    at_ms: Times
    value: Values
    u: Values
    entry: Annotated[list[int], Field(description="the number of the journal entry")]
    place: Annotated[list[str], Field(description="the vessel, empty where the entry names a lot alone")]


@dataclass(frozen=True, slots=True)
class LimitPiece:
    """A limit's setpoint as it was from from_ms to to_ms (UTC ms), by the cellar file of that time where ``dated``."""

    limit: str
    place: str
    kind: Literal["low", "high"]
    setpoint: float
    text: Annotated[str, Field(description="the setpoint as people read it")]
    priority: Literal["low", "medium", "high"]
    from_ms: int
    to_ms: int
    dated: bool


@dataclass(frozen=True, slots=True)
class ShownUnit:
    """The unit that the page shows: shown = (value - offset) / gain, with so many decimals."""

    unit: str
    gain: float
    offset: float
    decimals: int


@dataclass(frozen=True, slots=True)
class HistoryPane:
    """One quantity: what probes read, what is worked out as a band, what people found, and its limits."""

    quantity: PaneQuantity
    title: str
    model: Annotated[str, Field(description="of molecular SO2 the model that it is worked out by, else empty")]
    unit: Annotated[str, Field(description="the unit of every value of the pane")]
    shown: ShownUnit
    readings: list[ReadColumns] = field(default_factory=list)
    bands: list[BandColumns] = field(default_factory=list)
    found: FoundColumns | None = None
    limits: list[LimitPiece] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class EntryMark:
    """An entry of the journal. kind: its name as people read it; words: what it says, in one line."""

    entry: int
    at_ms: int
    kind: str
    place: str
    words: str
    who: str


@dataclass(frozen=True, slots=True)
class AlarmMark:
    """An alarm, from when its condition began (at_ms) to when that ended (null: it has not). value: as people read it,
    where there is one.
    """

    alarm: str
    limit: str
    at_ms: int
    ended_ms: int | None
    quantity: str
    priority: Literal["low", "medium", "high"]
    words: str


@dataclass(frozen=True, slots=True)
class HistoryAnswer:
    """The history of a vessel, another place or a lot from from_ms to to_ms (UTC ms)."""

    kind: SubjectKind
    id: str
    name: str
    from_ms: int
    to_ms: int
    now_ms: int
    first_ms: Annotated[int | None, Field(description="when its first reading or entry was, null if there is none")]
    span_ms: Annotated[int, Field(description="the span of time that a row of readings stands for, in ms")]
    timezone: str
    stays: list[LotStay]
    panes: list[HistoryPane]
    entries: list[EntryMark]
    more_entries: Annotated[bool, Field(description="whether earlier entries of the span are left out")]
    alarms: list[AlarmMark]
    never: Annotated[list[str], Field(description="quantities of which nothing was ever read or found")]


@dataclass(frozen=True, slots=True)
class EstimateAnswer:
    """What is estimated of the wine's SO2 in mg/L, a band for each time in a vessel. model: of molecular SO2."""

    free_so2: list[BandColumns]
    molecular_so2: list[BandColumns]
    model: str
