"""A review as a sheet of two pages to print."""

from __future__ import annotations

__all__ = ["review_sheet"]

from datetime import tzinfo
from typing import Final

from alerts.pictures import Chart, ReviewSheet, SheetPoint
from alerts.review.review_lines import NO_WORK, review_title
from alerts.review.section import Review
from alerts.view.format import long_time

_FOOT: Final = "Leeside is not a gas alarm; no number here replaces the stamp on a vessel, a relief valve or a meter."


def review_sheet(
    review: Review, charts: tuple[Chart, ...], site: str, zone: tzinfo, *, dots_per_inch: int = 150
) -> ReviewSheet:
    """Make the sheet of a review. site: the cellar's name."""
    return ReviewSheet(
        title=review_title(review),
        about=f"{site}, as of {long_time(review.at_ms, zone)}",
        verdict=review.verdict.value,
        points=tuple(
            SheetPoint(title=section.title, verdict=section.verdict.value, reason=section.reason, lines=section.lines)
            for section in review.sections
        ),
        charts=charts,
        steps=review.checklist,
        no_steps=NO_WORK,
        cautions=review.cautions,
        foot=_FOOT,
        dots_per_inch=dots_per_inch,
    )
