"""How large the letters of a printed review can be, so that it takes exactly two pages.

A browser cannot make letters smaller until they fit, so the length of the text decides: how many lines it takes in two
columns, by a letter's usual width in a serif face. A tenth of the page is left over, since faces differ.
"""

from __future__ import annotations

__all__ = ["PrintSizes", "print_sizes"]

from collections.abc import Iterable
from math import ceil
from typing import Final, NamedTuple

from alerts.review import Review

# Classes of the style sheet review.css, with their letters [pt]; the last one leaves details out.
_SIZES: Final = (("print-8", 8.0), ("print-7", 7.2), ("print-6", 6.5))
BRIEF: Final = "print-brief"
_LEADING: Final = 1.25
_MM_PER_PT: Final = 25.4 / 72.0
# A letter's usual width in its own size: of Georgia, the widest of the faces; Liberation Serif takes 0.43.
_LETTER_EM: Final = 0.5
_RESERVE: Final = 0.9
# Inside the margins, without the head [mm].
_POINTS_MM: Final = 250.0
_COLUMN_MM: Final = 89.0
_WORK_MM: Final = 64.0
_WORK_HIGH_MM: Final = 140.0
_CAUTIONS_MM: Final = 80.0


class PrintSizes(NamedTuple):
    """Classes for the points, the work and the cautions of a printed review."""

    points: str
    work: str
    cautions: str


def print_sizes(review: Review) -> PrintSizes:
    """Choose the letters' sizes for a review."""
    points = [
        text
        for section in review.sections
        for text in (f"{section.title}: {section.verdict}", section.reason, *section.lines, "")
    ]
    return PrintSizes(
        points=_fitting(points, _COLUMN_MM, 2.0 * _POINTS_MM),
        work=_fitting(review.checklist, _WORK_MM, _WORK_HIGH_MM),
        cautions=_fitting(review.cautions, _COLUMN_MM, 2.0 * _CAUTIONS_MM),
    )


def _fitting(texts: Iterable[str], width_mm: float, height_mm: float) -> str:
    """The largest size in which texts fit into a column of that width and height."""
    texts = list(texts)
    for name, size_pt in _SIZES:
        size_mm = size_pt * _MM_PER_PT
        letters = width_mm / (_LETTER_EM * size_mm)
        lines = sum(max(1, ceil(len(text) / letters)) for text in texts)
        if lines * _LEADING * size_mm <= _RESERVE * height_mm:
            return name
    return BRIEF
