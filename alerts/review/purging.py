"""Purging the receiving vessel before the wine comes: several choices compared.

The oxygen is given twice, in mg per litre of the wine that will lie there. ``o2_mg_l`` is what is left in the headspace
once the vessel is filled, as the wine drives the rest out through the open outlet. ``o2_at_most_mg_l`` adds what the
wine can take up while it flows in: no more than it holds when it is saturated with that gas, and no more than is there.
Filling from the bottom, slowly, keeps it near the first.
"""

from __future__ import annotations

__all__ = ["PurgeChoice", "purge_choices", "purge_section"]

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from alerts.errors import OutOfRange
from alerts.gas.over_wine import oxygen_saturation_mg_l
from alerts.gas.purge import (
    MUCH_O2_MG_L,
    SO2_PER_O2,
    Purge,
    PurgeTarget,
    purge_by_sweep,
    purge_by_vent,
)
from alerts.gas.vessel_walls import why_no_pressure
from alerts.gas.wine_density import TEMPERATURE_RANGE
from alerts.number_text import number_text
from alerts.review.amounts import gas_text, milligrams
from alerts.review.fit import Fit
from alerts.review.racking_facts import SEA_LEVEL, RackingFacts, RackingVessel, RackingWish
from alerts.review.section import ReviewSection, ReviewVerdict

# Gauge pressures to press gas in to, where the stamp allows them [kPa].
_HIGHS_KPA: Final = (20.0, 55.0, 100.0)
# Up to this share of the stamp: there the default limit *over* raises its alarm.
_OF_STAMP: Final = 0.9
# Less gas than this has to be purged of nothing [L].
_NO_ROOM_L: Final = 0.005


@dataclass(frozen=True, slots=True)
class PurgeChoice:
    """A way to purge. method: none, sweep or vent; high_kpa: gauge, of a vent; o2_mg_l, o2_at_most_mg_l: per litre of
    wine, see above.
    """

    method: str
    high_kpa: float | None
    cycles: float
    gas_l: float
    o2_percent: float
    o2_mg_l: float
    o2_at_most_mg_l: float

    @property
    def so2_at_most_mg_l(self) -> float:
        """The most SO2 that all of the oxygen can cost [mg/L]."""
        return SO2_PER_O2 * self.o2_at_most_mg_l

    @property
    def words(self) -> str:
        """The way in words."""
        if self.method == "none":
            return "not purging"
        if self.method == "sweep":
            return f"sweeping {self.cycles:.3g} volumes through"
        return f"{self.cycles:.0f} times pressing in to {self.high_kpa:g} kPa and venting"


def purge_choices(facts: RackingFacts, wish: RackingWish, into: Fit) -> tuple[list[PurgeChoice], str]:
    """Work out the ways to purge the receiving vessel, first that of doing nothing; and why no gas may be pressed in.

    Raises OutOfRange for a target that cannot be.
    """
    receiver = facts.receiver
    assert receiver is not None
    target = PurgeTarget(o2_percent=wish.target_o2_percent)
    kind, celsius = receiver.wall_kind, TEMPERATURE_RANGE.nearest(facts.temperature_c)

    def sweep(asked: PurgeTarget) -> Purge:
        return purge_by_sweep(
            kind,
            into.purged_l,
            asked,
            wine_l=into.wine_l,
            temperature_c=celsius,
            barometer_kpa=facts.barometer_kpa,
        )

    choices = [
        _choice("none", None, sweep(PurgeTarget(cycles=0.0)), into, celsius, facts.barometer_kpa),
        _choice("sweep", None, sweep(target), into, celsius, facts.barometer_kpa),
    ]
    refused = _why_not_pressed(receiver)
    for high_kpa in _highs(receiver) if not refused else ():
        try:
            worked = purge_by_vent(
                kind,
                into.purged_l,
                target,
                high_kpa=high_kpa,
                stamp_kpa=receiver.stamp_kpa,
                wine_l=into.wine_l,
                temperature_c=celsius,
                barometer_kpa=facts.barometer_kpa,
            )
        except OutOfRange:  # more cycles than anybody would do
            refused = f"within the {receiver.stamp_kpa:g} kPa stamped on {receiver.id} it takes too many cycles"
            continue
        choices.append(_choice("vent", high_kpa, worked, into, celsius, facts.barometer_kpa))
    return choices, refused


def purge_section(
    facts: RackingFacts, wish: RackingWish, into: Fit, choices: Sequence[PurgeChoice], refused: str
) -> ReviewSection:
    """Compare the ways to purge. choices, refused: as ``purge_choices`` gives them."""
    receiver = facts.receiver
    assert receiver is not None
    title = f"Purging {receiver.id}"
    if into.purged_l <= _NO_ROOM_L:
        return ReviewSection("purge", title, ReviewVerdict.IN_ORDER, f"There is no air in {receiver.id} to purge.")
    untouched, swept = choices[0], choices[1]
    lines = [_line(choice) for choice in choices]
    if refused:
        lines.append(f"Pressing gas in is refused: {refused}.")
    if facts.barometer_from == SEA_LEVEL:
        lines.append("The air pressure is taken as at sea level: write the altitude of the site into the cellar file.")
    if not receiver.takes_pressure:
        lines.append("Keep the outlet wide open while gas flows in.")
    elif not receiver.holds_wine:
        lines.append(
            "Or fill it brimful with water or sanitising solution and push that out with gas, within the stamp: that "
            f"takes about {gas_text(into.purged_l)} and leaves no air but under the lid (common practice, no source)."
        )
    verdict, ends = ReviewVerdict.IN_ORDER, ""
    if swept.o2_at_most_mg_l > MUCH_O2_MG_L:
        verdict = ReviewVerdict.TAKE_CARE
        ends = " That is much: purge further (--target-o2-percent), or leave less headspace."
    elif receiver.takes_pressure and receiver.stamp_kpa is None:
        verdict = ReviewVerdict.TAKE_CARE
    reason = (
        f"{_air_in(receiver)} brings up to {milligrams(untouched.o2_at_most_mg_l)} mg of oxygen to each "
        f"litre, which can cost up to {milligrams(untouched.so2_at_most_mg_l)} mg/L of SO2; purged to "
        f"{wish.target_o2_percent:g} %, up to {milligrams(swept.o2_at_most_mg_l)} mg, and "
        f"{milligrams(swept.so2_at_most_mg_l)} mg/L of SO2.{ends}"
    )
    numbers: dict[str, object] = {
        "purged_l": into.purged_l,
        "target_o2_percent": wish.target_o2_percent,
        "barometer_kpa": facts.barometer_kpa,
        "pressing_in_refused": refused or None,
        "choices": [_choice_json(choice) for choice in choices],
    }
    return ReviewSection("purge", title, verdict, reason, tuple(lines), numbers)


def _highs(receiver: RackingVessel) -> list[float]:
    """The pressures to press in to: the usual ones that the stamp allows, else what it does allow."""
    stamp_kpa = receiver.stamp_kpa
    assert stamp_kpa is not None
    allowed = [high for high in _HIGHS_KPA if high <= _OF_STAMP * stamp_kpa]
    return allowed or [_OF_STAMP * stamp_kpa]


def _why_not_pressed(receiver: RackingVessel) -> str:
    reason = why_no_pressure(receiver.wall_kind, receiver.stamp_kpa)
    if not reason and receiver.stamp_kpa is None:
        return f"the cellar file does not say what is stamped on {receiver.id} (max_pressure)"
    return reason


def _choice(
    method: str, high_kpa: float | None, worked: Purge, into: Fit, celsius: float, barometer_kpa: float
) -> PurgeChoice:
    all_of_it = worked.o2_mg_l or 0.0
    left = all_of_it * max(0.0, into.headspace_l) / into.purged_l
    # Only what flows in meets the gas; what lies there already is not stirred.
    saturated = oxygen_saturation_mg_l(worked.o2_percent, celsius, barometer_kpa) * into.moved_l / into.wine_l
    at_most = left + min(saturated, all_of_it - left)
    return PurgeChoice(method, high_kpa, worked.cycles, worked.gas_l, worked.o2_percent, left, at_most)


def _air_in(receiver: RackingVessel) -> str:
    """Where the oxygen would be from, as a sentence begins."""
    if not receiver.holds_wine:
        return f"Unpurged, the air in {receiver.id}"
    over = f"the air over the wine in {receiver.id}"
    return f"If it has lost its blanket, {over}" if receiver.gas else f"Unpurged, {over}"


def _line(choice: PurgeChoice) -> str:
    gas = "" if choice.method == "none" else f"{gas_text(choice.gas_l)} of gas, "
    return (
        f"{choice.words}: {gas}{number_text(choice.o2_percent, 4 if choice.method == 'none' else 2)} % oxygen left, "
        f"{milligrams(choice.o2_mg_l)} mg per litre of wine in the headspace; at most "
        f"{milligrams(choice.o2_at_most_mg_l)} mg/L, SO2 up to {milligrams(choice.so2_at_most_mg_l)} mg/L"
    )


def _choice_json(choice: PurgeChoice) -> dict[str, object]:
    return {
        "method": choice.method,
        "high_kpa": choice.high_kpa,
        "cycles": int(choice.cycles) if choice.method == "vent" else choice.cycles,
        "gas_l": choice.gas_l,
        "o2_percent": choice.o2_percent,
        "o2_mg_l": choice.o2_mg_l,
        "o2_at_most_mg_l": choice.o2_at_most_mg_l,
        "so2_at_most_mg_l": choice.so2_at_most_mg_l,
    }
