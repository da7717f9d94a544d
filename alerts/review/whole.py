"""A whole review of a vessel, from the cellar file and the store on."""

from __future__ import annotations

__all__ = ["ReviewAsked", "WholeReview", "whole_review"]

from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from alerts.review.racking_facts import RackingWish
from alerts.review.racking_read import racking_facts
from alerts.review.section import Review
from alerts.review.vessel_facts import BottlingWish, VesselFacts
from alerts.review.vessel_read import vessel_facts
from alerts.review.vessel_review import bottling_review, racking_review
from ingest.cellar import Cellar
from ingest.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class ReviewAsked:
    """What is to be reviewed. vessel, to: ids of the cellar file; to: of a racking, None where no vessel is named."""

    vessel: str
    purpose: Literal["racking", "bottling"] = "racking"
    to: str | None = None
    racking: RackingWish = field(default_factory=RackingWish)
    bottling: BottlingWish = field(default_factory=BottlingWish)


class WholeReview(NamedTuple):
    """A review, and what it was made from."""

    review: Review
    facts: VesselFacts


def whole_review(cellar: Cellar, store: Store, asked: ReviewAsked, file: str, now_ms: int) -> WholeReview:
    """Review a vessel at now_ms [UTC ms]; call inside ``store.read()``. file: the cellar file as a command names it.

    Raises ReviewRefused where there is no wine, and OutOfRange for what is wished.
    """
    gas = racking_facts(cellar, store, asked.vessel, asked.to, now_ms)
    facts = vessel_facts(cellar, store, asked.vessel, asked.to, now_ms)
    if asked.purpose == "bottling":
        return WholeReview(bottling_review(facts, gas, asked.racking, asked.bottling, file), facts)
    return WholeReview(racking_review(facts, gas, asked.racking, file), facts)
