"""What the numbers of a blanket give reason to warn of."""

from __future__ import annotations

__all__ = ["blanket_warnings"]

from typing import Final

from alerts.gas.blanket import Blanket, BlanketState, BlanketUncertainty, Filling
from alerts.number_text import number_text

# Above this gauge pressure glass is in danger (a working default, no source): its allowed pressure is 0.
_GLASS_KPA: Final = 2.0
# The wine factors were measured at 10 to 14 % vol; a little more on both sides is near enough (a choice).
_KNOWN_ALCOHOL: Final = (8.0, 16.0)
# Where solubility was fitted.
_KNOWN_C: Final = (0.0, 30.0)
# With a headspace known to less than this, the band says little (a choice).
_POOR_HEADSPACE: Final = 0.25


def blanket_warnings(
    filling: Filling, state: BlanketState, reference_c: float, worked: Blanket, u: BlanketUncertainty
) -> list[str]:
    """List what the numbers of a blanket give reason to warn of, most urgent first."""
    warnings = []
    highest = max(state.pressure_kpa, worked.frozen_kpa, worked.equilibrium_kpa)
    if filling.material == "glass" and highest > _GLASS_KPA:
        warnings.append(
            "glass is not a pressure vessel: its allowed pressure is 0, and this is up to "
            f"{number_text(highest, 3)} kPa; let the gas out and look for what blocks the airlock"
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
