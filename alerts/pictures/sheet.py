"""What a sheet of a review shows, as plain data: two pages of A4 with points, charts, the work and cautions. Pure."""

from __future__ import annotations

__all__ = ["ReviewSheet", "SheetPoint"]

from dataclasses import dataclass
from typing import Final, Literal

from alerts.pictures.chart import Chart

SheetVerdict = Literal["in order", "not known", "take care", "do not"]
# More would not fit on two pages, whatever the letters' size.
_MOST_POINTS: Final = 24
_MOST_CHARTS: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetPoint:
    """One point with its verdict, the reason for it, and more: one thing a line."""

    title: str
    verdict: SheetVerdict
    reason: str
    lines: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ReviewSheet:
    """A review on two pages: the points on the first, charts, work and cautions on the second.

    title: the work and its vessels; about: cellar and time; verdict: the worst of the points; no_steps: what stands in
    the place of the work where there is none. Raises ValueError for what two pages cannot hold.
    """

    page: Literal["review"] = "review"
    title: str
    about: str
    verdict: SheetVerdict
    points: tuple[SheetPoint, ...]
    charts: tuple[Chart, ...] = ()
    steps: tuple[str, ...] = ()
    no_steps: str = ""
    cautions: tuple[str, ...] = ()
    foot: str = ""
    dots_per_inch: int = 150

    def __post_init__(self) -> None:
        if len(self.points) > _MOST_POINTS:
            raise ValueError(f"a sheet can show {_MOST_POINTS} points, not {len(self.points)}")
        if len(self.charts) > _MOST_CHARTS:
            raise ValueError(f"a sheet can show {_MOST_CHARTS} charts, not {len(self.charts)}")
        if not 50 <= self.dots_per_inch <= 400:
            raise ValueError(f"a sheet needs 50 to 400 dots per inch, not {self.dots_per_inch}")
