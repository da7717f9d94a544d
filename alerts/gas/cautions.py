"""What to be careful of with gas: general cautions, and what a blanket's numbers give reason to warn of."""

from __future__ import annotations

__all__ = [
    "CYLINDER_CAUTIONS",
    "PRESSURE_CAUTIONS",
    "ROOM_CAUTIONS",
    "SIPHON_CAUTIONS",
    "TRANSFER_CAUTIONS",
    "blanket_warnings",
    "purge_warnings",
    "push_warnings",
]

from typing import Final

from alerts.gas.blanket import Blanket, BlanketState, BlanketUncertainty, Filling
from alerts.gas.purge import Purge
from alerts.gas.vessel_walls import VESSEL_KINDS

_SUFFOCATION: Final = (
    "nitrogen, argon and carbon dioxide suffocate without warning: air the room before going in, and never lean into a "
    "vessel that held gas"
)
_NO_ALARM: Final = (
    "leeside is no gas alarm: where gas is used, have a meter for oxygen, and one for carbon dioxide if that is used"
)
_STAMP: Final = (
    "the stamp on the vessel rules; a relief valve set at or below it must be able to pass what the regulator lets "
    "through. Glass, plastic and barrels are not pressure vessels"
)
_CYLINDER: Final = "keep cylinders upright and chained, with the cap on while they are moved, and use a regulator"
_CODES: Final = "follow the local codes for pressure vessels and for gas in rooms"

PRESSURE_CAUTIONS: Final = (_STAMP, _SUFFOCATION, _NO_ALARM)
TRANSFER_CAUTIONS: Final = (_STAMP, _CYLINDER, _SUFFOCATION, _NO_ALARM, _CODES)
CYLINDER_CAUTIONS: Final = (_CYLINDER, _SUFFOCATION, _NO_ALARM, _CODES)
SIPHON_CAUTIONS: Final = (
    "let gas flow in freely at no pressure while a carboy is siphoned: glass must be neither under pressure nor under "
    "vacuum",
    _SUFFOCATION,
    _NO_ALARM,
)
ROOM_CAUTIONS: Final = (_SUFFOCATION, _NO_ALARM, _CODES)

# Above this gauge pressure glass is in danger (a working default, no source): its allowed pressure is 0.
_GLASS_KPA: Final = 2.0
# The wine factors were measured at 10 to 14 % vol; a little more on both sides is near enough (a choice).
_KNOWN_ALCOHOL: Final = (8.0, 16.0)
# Where solubility was fitted.
_KNOWN_C: Final = (0.0, 30.0)
# With a headspace known to less than this, the band says little (a choice).
_POOR_HEADSPACE: Final = 0.25

# More oxygen per litre of wine than this is worth purging further for (a working default, no source).
_MUCH_O2_MG_L: Final = 1.0

# 20 to 35 kPa is plenty to push wine (common practice, no source).
_PLENTY_KPA: Final = 35.0


def blanket_warnings(
    filling: Filling, state: BlanketState, reference_c: float, worked: Blanket, u: BlanketUncertainty
) -> list[str]:
    """List what the numbers of a blanket give reason to warn of, most urgent first."""
    warnings = []
    highest = max(state.pressure_kpa, worked.frozen_kpa, worked.equilibrium_kpa)
    if filling.material == "glass" and highest > _GLASS_KPA:
        warnings.append(
            f"glass is not a pressure vessel: its allowed pressure is 0, and this is up to {highest:.3g} kPa; let the "
            "gas out and look for what blocks the airlock"
        )
    lowest = min(worked.frozen_kpa, worked.equilibrium_kpa)
    if lowest < 0.0:
        warnings.append(
            f"at {reference_c:g} °C the gauge can be as low as {lowest:.3g} kPa without a leak: below 0 air is drawn "
            "in through any leak, and a lid held by pressure can lift; charge before it cools"
        )
    if u.headspace_l > _POOR_HEADSPACE * worked.headspace_l:
        warnings.append(
            f"the headspace of {worked.headspace_l:.3g} L is known to {u.headspace_l:.2g} L only, and the pressure at "
            f"{reference_c:g} °C to {u.frozen_kpa:.2g} kPa; measure the contents, or weigh the vessel"
        )
    if state.gas.name == "carbon dioxide":
        warnings.append(
            "wine is the store of carbon dioxide: after charging the pressure falls far below both edges until the "
            "wine is saturated, and young wine gives off its own"
        )
    low, high = _KNOWN_ALCOHOL
    if not low <= filling.alcohol_percent_vol <= high:
        warnings.append(
            f"solubility is known for wine of 10 to 14 % vol; at {filling.alcohol_percent_vol:g} % vol the dissolved "
            "gas is less certain than given"
        )
    low, high = _KNOWN_C
    if not all(low <= celsius <= high for celsius in (state.temperature_c, reference_c)):
        warnings.append("solubility was fitted from 0 to 30 °C; outside it is off by up to 7 % more")
    return warnings


def purge_warnings(kind: str, method: str, worked: Purge, headspace_l: float, *, given_high: bool) -> list[str]:
    """List what a purge gives reason to warn of. given_high: whether a pressure to press gas in to was given."""
    warnings = []
    if not VESSEL_KINDS[kind]:
        warnings.append(
            f"keep the outlet wide open while gas flows into a {kind}: its allowed pressure is 0"
            if kind not in ("glass", "plastic")
            else f"keep the outlet wide open while gas flows in: the allowed pressure of {kind} is 0"
        )
    if method == "sweep" and given_high:
        warnings.append("a sweep does not press gas in: the high pressure was not used")
    if worked.o2_mg_l is not None and worked.o2_mg_l > _MUCH_O2_MG_L:
        warnings.append(
            f"{worked.o2_percent:.2g} % sounds little, but in {headspace_l:g} L of headspace it is "
            f"{worked.o2_mg_l:.2g} mg of oxygen per litre of wine: purge further, or leave less headspace"
        )
    return warnings


def push_warnings(pressure_kpa: float, stamp_kpa: float | None) -> list[str]:
    """List what a push at a gauge pressure gives reason to warn of; stamp_kpa: None where it was not given."""
    warnings = []
    if stamp_kpa is None:
        warnings.append("read the pressure stamped on the vessel, and stay below it; it was not given")
    if pressure_kpa > _PLENTY_KPA:
        warnings.append(f"20 to {_PLENTY_KPA:g} kPa is plenty to push wine; more dissolves more gas in it")
    return warnings
