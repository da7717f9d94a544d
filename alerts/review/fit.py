"""Whether the wine fits into the receiving vessel, and the headspace that is left."""

from __future__ import annotations

__all__ = ["Fit", "fit", "fit_section", "moved_volume"]

from dataclasses import dataclass, replace
from math import ceil, hypot
from typing import Final

from alerts.errors import OutOfRange
from alerts.gas.blanket import Filling
from alerts.gas.vessel_walls import walls_of
from alerts.gas.wine_density import ALCOHOL_RANGE, TEMPERATURE_RANGE
from alerts.review.racking_facts import RackingFacts, RackingVessel, RackingWish
from alerts.review.section import ReviewSection, ReviewVerdict
from alerts.view.format import counted
from ingest.journal.vessel_state import ROUNDING_L, liters

# A cellar warms by this much in a year, and then the wine must still have room [K] (common practice, no source).
_WARMER_K: Final = 10.0
# A larger share of the vessel as headspace is much to keep air out of (a working default, no source).
_LARGE_SHARE: Final = 0.25
# What topping is done with, and what stays free in the neck [L] (common practice, no source).
_BOTTLE_L: Final = 0.75
_NECK_L: Final = 0.1
# Candidates that are listed.
_MOST_LISTED: Final = 12


@dataclass(frozen=True, slots=True)
class Fit:
    """Wine that goes into a vessel, in L: moved_l onto held_l; purged_l, headspace_l: the gas before and after.

    Of what does not fit the headspace is below 0.
    """

    moved_l: float
    held_l: float
    purged_l: float
    headspace_l: float

    @property
    def wine_l(self) -> float:
        """The wine in the receiving vessel afterwards."""
        return self.held_l + self.moved_l


def moved_volume(source: RackingVessel, wish: RackingWish) -> float | None:
    """Give how much wine is moved [L], None where nobody knows how much there is.

    Raises OutOfRange for more than there is.
    """
    if wish.volume_l is None:
        return source.wine_l
    if wish.volume_l <= 0.0:
        raise OutOfRange("volume", f"a volume of {wish.volume_l:g} L cannot be moved; it must be above 0")
    limit_l = source.capacity_l if source.wine_l is None else source.wine_l
    if wish.volume_l > limit_l + ROUNDING_L:
        holds = f"holds {liters(limit_l)}" if source.wine_l is not None else f"takes {liters(limit_l)} when brimful"
        raise OutOfRange("volume", f"{liters(wish.volume_l)} are more than there is: {source.id} {holds}")
    return wish.volume_l


def fit(receiver: RackingVessel, moved_l: float) -> Fit:
    """Work out the room that moved_l of wine leave in a vessel; contents that nobody knows count as none."""
    held_l = receiver.wine_l or 0.0
    purged_l = max(0.0, receiver.capacity_l - held_l)
    return Fit(moved_l, held_l, purged_l, receiver.capacity_l - held_l - moved_l)


def fit_section(facts: RackingFacts, wish: RackingWish) -> ReviewSection:
    """Judge whether the wine fits; without a receiving vessel, list the empty ones. Raises OutOfRange."""
    moved_l = moved_volume(facts.source, wish)
    if facts.receiver is None:
        return _candidates(facts, moved_l)
    receiver = facts.receiver
    title = f"Space in {receiver.id}"
    numbers: dict[str, object] = {"receiver": receiver.id, "capacity_l": receiver.capacity_l, "moved_l": moved_l}
    numbers |= {"held_l": receiver.wine_l if receiver.known else None, "headspace_after_l": None}
    if moved_l is None:
        reason = f"The journal does not say how much wine {facts.source.id} holds. Weigh or dip it, or give --volume-l."
        return ReviewSection("receiver", title, ReviewVerdict.NOT_KNOWN, reason, numbers=numbers)
    into = fit(receiver, moved_l)
    numbers["headspace_after_l"] = into.headspace_l
    if into.headspace_l < -ROUNDING_L:
        holds = f", and holds {liters(into.held_l)} already" if into.held_l else ""
        reason = (
            f"{liters(moved_l)} do not fit into {receiver.id}: it takes {liters(receiver.capacity_l)} when "
            f"brimful{holds}; {liters(-into.headspace_l)} are too much."
        )
        rest = replace(facts, receiver=None, empty=tuple(each for each in facts.empty if each.id != receiver.id))
        return ReviewSection("receiver", title, ReviewVerdict.DO_NOT, reason, _candidates(rest, moved_l).lines, numbers)
    verdict, lines = _remarks(facts, into)
    bottles = _topping_bottles(facts, into)
    numbers["topping_bottles"] = bottles
    if bottles:
        lines.append(
            f"To top it up have {counted(bottles, 'bottle')} of {_BOTTLE_L:g} L of the same or a like wine ready: "
            "without a blanket it is to be full."
        )
    left = liters(max(0.0, into.headspace_l))
    reason = f"{liters(moved_l)} fit into {receiver.id} ({liters(receiver.capacity_l)}); headspace after: {left}."
    return ReviewSection("receiver", title, verdict, reason, tuple(lines), numbers)


def _topping_bottles(facts: RackingFacts, into: Fit) -> int | None:
    """How many bottles fill a receiving vessel in which no blanket is kept, but for room to warm; None under gas."""
    receiver = facts.receiver
    assert receiver is not None
    if receiver.takes_pressure and receiver.gas:
        return None
    return ceil(max(0.0, into.headspace_l - _growth_l(facts, into) - _NECK_L) / _BOTTLE_L)


def _remarks(facts: RackingFacts, into: Fit) -> tuple[ReviewVerdict, list[str]]:
    receiver, source = facts.receiver, facts.source
    assert receiver is not None
    lines = []
    if receiver.out_of_use:
        lines.append(f"{receiver.id} is out of use by the journal: see why before you fill it.")
    if not receiver.known or receiver.wine_l is None:
        lines.append(f"The journal does not say what {receiver.id} holds; it is taken to be empty. Look into it.")
    elif into.held_l > 0.0:
        wine = " and ".join(receiver.lots) or "wine"
        lines.append(f"{receiver.id} holds {liters(into.held_l)} of {wine}: this makes a blend.")
    u_l = hypot(source.u_wine_l or 0.0, receiver.u_wine_l or 0.0)
    if into.headspace_l < 2.0 * u_l:
        lines.append(
            f"The volumes are known to {liters(2.0 * u_l)} only (two standard uncertainties): it may overflow."
        )
    if _fills_when_warm(facts, into):
        lines.append(
            f"So little headspace is filled by the wine when it warms by {_WARMER_K:g} °C, and a vessel full of liquid "
            "bursts or leaks: leave more."
        )
    elif into.headspace_l > _LARGE_SHARE * receiver.capacity_l:
        lines.append("That is much headspace to keep air out of: a smaller vessel, or wine to top it up, is better.")
    return (ReviewVerdict.TAKE_CARE if lines else ReviewVerdict.IN_ORDER), lines


def _fills_when_warm(facts: RackingFacts, into: Fit) -> bool:
    return into.headspace_l <= _growth_l(facts, into)


def _growth_l(facts: RackingFacts, into: Fit) -> float:
    """By how much the wine grows when it warms [L]."""
    receiver = facts.receiver
    assert receiver is not None
    alcohol = ALCOHOL_RANGE.nearest(facts.alcohol_percent_vol)
    # Volumes in the journal are of the wine as it is; at 20 °C they differ by less than a part in 500.
    filling = Filling(receiver.capacity_l, into.wine_l, alcohol, walls_of(receiver.material))
    now_c = TEMPERATURE_RANGE.nearest(facts.temperature_c)
    warm_c = TEMPERATURE_RANGE.nearest(now_c + _WARMER_K)
    return filling.wine_at(warm_c) - filling.wine_at(now_c)


def _candidates(facts: RackingFacts, moved_l: float | None) -> ReviewSection:
    numbers: dict[str, object] = {"receiver": None, "capacity_l": None, "moved_l": moved_l}
    numbers |= {"held_l": None, "headspace_after_l": None}
    listed, fitting = [], []
    for each in sorted(facts.empty, key=lambda vessel: vessel.capacity_l):
        after_l = None if moved_l is None else each.capacity_l - moved_l
        if after_l is not None and after_l >= -ROUNDING_L:
            fitting.append(each.id)
        ends = (
            "" if after_l is None else f": {'too small' if after_l < -ROUNDING_L else f'{liters(after_l)} headspace'}"
        )
        out = ", out of use" if each.out_of_use else ""
        listed.append(f"{each.id}, {each.kind}, {liters(each.capacity_l)}, empty{out}{ends}")
    more = len(listed) - _MOST_LISTED
    lines = [*listed[:_MOST_LISTED], *([f"and {more} more"] if more > 0 else [])]
    numbers["empty_vessels"] = [each.id for each in facts.empty]
    numbers["fitting_vessels"] = fitting
    if not listed:
        reason = (
            "No receiving vessel is named, and none is known to be empty. Name one with --to; that one was emptied is "
            "written down by leeside enter vessel-status."
        )
    else:
        reason = "No receiving vessel is named: choose one and give it with --to."
    return ReviewSection("receiver", "Receiving vessel", ReviewVerdict.NOT_KNOWN, reason, tuple(lines), numbers)
