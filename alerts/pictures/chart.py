"""What a chart shows, as plain data: panes above each other on one time axis. Pure.

Times are UTC milliseconds, shown in the chart's time zone. Values are in the unit that the pane's title names; they are
converted before. Text may hold anything: what is not printable is written out when it is drawn.
"""

from __future__ import annotations

__all__ = ["Chart", "ChartBand", "ChartLimit", "ChartLine", "ChartMark", "ChartPane", "ChartPoints"]

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal
from zoneinfo import ZoneInfo

# More would take the child too long, and no eye could tell them apart.
MOST_POINTS: Final = 200_000
_LEAST_MM: Final = 30.0
_MOST_MM: Final = 420.0  # the long side of A3


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartLine:
    """A curve. style: ``raw`` is drawn solid, ``compensated`` dashed, ``estimate`` dash-dotted.

    values: None leaves a gap; gap_ms: no line across a longer time without values; 0 joins all.
    """

    at_ms: tuple[int, ...]
    values: tuple[float | None, ...]
    name: str = ""
    style: Literal["raw", "compensated", "estimate"] = "raw"
    gap_ms: int = 0

    def __post_init__(self) -> None:
        _check_lengths("a line", self.at_ms, self.values)
        _check_numbers("a line", self.values)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartPoints:
    """Single values, such as titrations. errors: half the length of each error bar, None for a point without one."""

    at_ms: tuple[int, ...]
    values: tuple[float, ...]
    errors: tuple[float | None, ...] = ()
    name: str = ""

    def __post_init__(self) -> None:
        _check_lengths("points", self.at_ms, self.values)
        if self.errors:
            _check_lengths("error bars", self.at_ms, self.errors)
        _check_numbers("points", (*self.values, *self.errors))


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartBand:
    """A band between two curves, such as the interval of an estimate; it is hatched."""

    at_ms: tuple[int, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    name: str = ""

    def __post_init__(self) -> None:
        _check_lengths("a band", self.at_ms, self.low)
        _check_lengths("a band", self.at_ms, self.high)
        _check_numbers("a band", (*self.low, *self.high))


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartLimit:
    """A limit's setpoint, drawn across the pane with its label. side: values beyond it lie below or above."""

    value: float
    label: str
    side: Literal["low", "high"]

    def __post_init__(self) -> None:
        _check_numbers("a limit", (self.value,))


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartMark:
    """What happened on the time axis: an entry of the journal, or an alarm with the time for which it stood.

    until_ms: None for a moment, and for an alarm that still stands.
    """

    at_ms: int
    label: str
    kind: Literal["entry", "alarm"]
    until_ms: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartPane:
    """One quantity. title: its name and unit; least_span: the value axis shows at least so much, against noise."""

    title: str
    lines: tuple[ChartLine, ...] = ()
    points: tuple[ChartPoints, ...] = ()
    bands: tuple[ChartBand, ...] = ()
    limits: tuple[ChartLimit, ...] = ()
    least_span: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A chart of its own, or a part of a sheet.

    from_ms, until_ms: what the time axis shows; zone: an IANA name; marks: on the time axis of every pane;
    note: a line below the time axis. Raises ValueError for what cannot be drawn, with the reason.
    """

    page: Literal["chart"] = "chart"
    title: str
    from_ms: int
    until_ms: int
    zone: str
    panes: tuple[ChartPane, ...]
    marks: tuple[ChartMark, ...] = ()
    note: str = ""
    width_mm: float = 150.0
    height_mm: float = 70.0
    dots_per_inch: int = 144

    def __post_init__(self) -> None:
        if self.from_ms >= self.until_ms:
            raise ValueError(f"a chart must end after it begins; {self.until_ms} is not after {self.from_ms}")
        if not self.panes:
            raise ValueError("a chart needs at least one pane")
        for name, size_mm in (("wide", self.width_mm), ("high", self.height_mm)):
            if not _LEAST_MM <= size_mm <= _MOST_MM:
                raise ValueError(f"a chart must be {_LEAST_MM:g} to {_MOST_MM:g} mm {name}, not {size_mm:g}")
        if not 50 <= self.dots_per_inch <= 400:
            raise ValueError(f"a chart needs 50 to 400 dots per inch, not {self.dots_per_inch}")
        count = sum(map(_value_count, self.panes))
        if count > MOST_POINTS:
            raise ValueError(f"a chart can show {MOST_POINTS:,} values, not {count:,}; give fewer, such as hourly ones")
        try:
            ZoneInfo(self.zone)
        except (KeyError, ValueError, OSError):
            raise ValueError(f"'{self.zone}' is not the name of a time zone, such as Europe/Ljubljana") from None


def _value_count(pane: ChartPane) -> int:
    drawn: tuple[ChartLine | ChartPoints | ChartBand, ...] = (*pane.lines, *pane.points, *pane.bands)
    return sum(len(each.at_ms) for each in drawn)


def _check_lengths(what: str, at_ms: Sequence[int], values: Sequence[float | None]) -> None:
    if len(at_ms) != len(values):
        raise ValueError(f"{what} needs a value for each time; there are {len(at_ms)} times and {len(values)} values")


def _check_numbers(what: str, values: Sequence[float | None]) -> None:
    odd = next((value for value in values if value is not None and not math.isfinite(value)), None)
    if odd is not None:
        raise ValueError(f"{what} holds {odd}, which cannot be drawn; leave it out, or give None in a line")
