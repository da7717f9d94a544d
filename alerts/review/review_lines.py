"""A review as lines for people, and as an object for programs."""

from __future__ import annotations

__all__ = ["NO_WORK", "review_json", "review_lines", "review_title"]

from collections.abc import Iterator
from datetime import tzinfo
from typing import Final

from alerts.review.section import Review, ReviewVerdict
from alerts.view.format import long_time
from ingest.times import iso_utc

NO_WORK: Final = 'First mend what says "do not"; the work is listed then.'
_MARKS: Final = {
    ReviewVerdict.IN_ORDER: "ok",
    ReviewVerdict.NOT_KNOWN: "?",
    ReviewVerdict.TAKE_CARE: "!",
    ReviewVerdict.DO_NOT: "NO",
}


def review_title(review: Review) -> str:
    """Name the work and the vessels: "Racking K1 into K2", "Bottling K1"."""
    if review.purpose == "bottling":
        return f"Bottling {review.vessel}"
    return f"Racking {review.vessel}" + (f" into {review.to}" if review.to else "")


def review_lines(review: Review, zone: tzinfo) -> Iterator[str]:
    """Give the review in lines: sections, each with mark, verdict and reason; the work; what to be careful of."""
    yield f"{review_title(review)}, as of {long_time(review.at_ms, zone)}: {review.verdict}"
    for section in review.sections:
        yield ""
        yield f"{_MARKS[section.verdict]:>2}  {section.title}: {section.verdict}. {section.reason}"
        yield from (f"      {line}" for line in section.lines)
    yield ""
    yield "The work, in order" if review.checklist else NO_WORK
    yield from (f"  {number:>2}. {step}" for number, step in enumerate(review.checklist, 1))
    yield ""
    yield "Be careful"
    yield from (f"  - {caution}" for caution in review.cautions)


def review_json(review: Review) -> dict[str, object]:
    """Give the same as an object; null for what is not known."""
    return {
        "for": review.purpose,
        "vessel": review.vessel,
        "to": review.to or None,
        "at": iso_utc(review.at_ms),
        "verdict": str(review.verdict),
        "sections": {
            section.name: {
                "title": section.title,
                "verdict": str(section.verdict),
                "reason": section.reason,
                "lines": list(section.lines),
                **section.numbers,
            }
            for section in review.sections
        },
        "checklist": list(review.checklist),
        "cautions": list(review.cautions),
    }
