"""The shape of a review: sections, each a plain verdict with its reason."""

from __future__ import annotations

__all__ = ["Review", "ReviewSection", "ReviewVerdict", "worse_of"]

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal


class ReviewVerdict(StrEnum):
    """What a section comes to, from the best to the worst."""

    IN_ORDER = "in order"
    NOT_KNOWN = "not known"
    TAKE_CARE = "take care"
    DO_NOT = "do not"


_ORDER = list(ReviewVerdict)


def worse_of(*verdicts: ReviewVerdict) -> ReviewVerdict:
    """Give the worst of verdicts, "in order" of none."""
    return max(verdicts, key=_ORDER.index, default=ReviewVerdict.IN_ORDER)


@dataclass(frozen=True, slots=True)
class ReviewSection:
    """One point of a review.

    name: for programs; title: for people; reason: a sentence or two that say why; lines: more, one thing each; numbers:
    what programs read, keys with units.
    """

    name: str
    title: str
    verdict: ReviewVerdict
    reason: str
    lines: tuple[str, ...] = ()
    numbers: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Review:
    """A review of a vessel as of a time [UTC ms]. to: the receiving vessel, "" where none is named, and of a bottling;
    checklist: the work in order, empty where a section says "do not".
    """

    vessel: str
    to: str
    at_ms: int
    sections: tuple[ReviewSection, ...]
    checklist: tuple[str, ...]
    cautions: tuple[str, ...]
    purpose: Literal["racking", "bottling"] = "racking"

    @property
    def verdict(self) -> ReviewVerdict:
        """The worst verdict of the sections."""
        return worse_of(*(section.verdict for section in self.sections))
