"""The carbon dioxide that the wine holds before it is bottled.

Usual in bottled still wine: white and rosé 0.6 to 1.1 g/L, red up to 0.6 g/L (La Vigne 234, September 2011). A wine is
near 1.0 g/L after its first months (Zoecklein, Enology Notes, 2006). Under a blanket of carbon dioxide it goes to

    c = H(t) p M                              p: of the gas, absolute; M = 44.0095 g/mol

Worked example: 55 kPa gauge at 12 °C: 2.8 g/L.
"""

from __future__ import annotations

__all__ = ["dissolved_gas_section", "saturated_g_l"]

from typing import Final

from alerts.gas.gases import ATMOSPHERE_KPA, GASES
from alerts.gas.over_wine import gas_solubility
from alerts.gas.wine_density import TEMPERATURE_RANGE
from alerts.review.refermentation import bottle_pressure_kpa
from alerts.review.section import ReviewSection, ReviewVerdict
from alerts.review.vessel_facts import VesselFacts
from alerts.view.due_lines import day_text
from ingest.times import iso_utc_known

_USUAL_G_L: Final = {"white": (0.6, 1.1), "rosé": (0.6, 1.1), "sweet": (0.6, 1.1), "red": (0.0, 0.6)}
_SOURCE: Final = "La Vigne 234, 2011"
_DAY_MS: Final = 86_400_000
# Gas leaves the wine at each move: an older measurement says little (a working default, no source).
_OLD_MS: Final = 31 * _DAY_MS


def saturated_g_l(gauge_kpa: float, celsius: float) -> float:
    """Work out the carbon dioxide in wine that has taken up all it can under a blanket of it [g/L]."""
    gas = GASES["carbon dioxide"]
    solubility = gas_solubility(gas, TEMPERATURE_RANGE.nearest(celsius))
    return solubility * (gauge_kpa + ATMOSPHERE_KPA) * gas.molar_mass_g_mol


def dissolved_gas_section(facts: VesselFacts, gauge_kpa: float | None, celsius: float) -> ReviewSection:
    """Judge the carbon dioxide; gauge_kpa, celsius: of the blanket and the wine, where they are known."""
    low, high = _USUAL_G_L.get(facts.contents.style or "white", _USUAL_G_L["white"])
    usual = f"{low:g} to {high:g} g/L" if low else f"up to {high:g} g/L"
    found = facts.co2_g_l
    at_most = None
    if facts.gas_name == "carbon dioxide":
        at_most = saturated_g_l(max(gauge_kpa or 0.0, 0.0), celsius)
    numbers: dict[str, object] = {
        "co2_g_l": None if found is None else found[0],
        "measured_at": iso_utc_known(None if found is None else found[1]),
        "usual_low_g_l": low,
        "usual_high_g_l": high,
        "saturated_under_blanket_g_l": None if at_most is None else round(at_most, 2),
        "bottle_pressure_kpa": None if found is None else round(bottle_pressure_kpa(found[0]), 1),
    }
    lines = []
    if at_most is not None:
        lines.append(
            f"{facts.vessel} is kept under carbon dioxide: the wine takes up to {at_most:.1f} g/L of it; bubble "
            "nitrogen through before you bottle, gently, since it takes aroma along, with the vessel open and the room "
            "aired"
        )
    if found is None or facts.at_ms - found[1] > _OLD_MS:
        old = "is not known" if found is None else f"was measured on {day_text(found[1], facts.zone, facts.at_ms)}"
        verdict = ReviewVerdict.NOT_KNOWN if at_most is None or at_most <= high else ReviewVerdict.TAKE_CARE
        reason = (
            f"The carbon dioxide {old}; bottled wine usually has {usual} ({_SOURCE}). Shake a half full bottle under "
            "your thumb, away from your face, or measure it (leeside enter measurement FILE --vessel "
            f"{facts.vessel} --quantity 'carbon dioxide' --value '0.8 g/L')."
        )
        return ReviewSection("carbon_dioxide", "Carbon dioxide", verdict, reason, tuple(lines), numbers)
    known = f"{found[0]:g} g/L of carbon dioxide on {day_text(found[1], facts.zone, facts.at_ms)}"
    if found[0] > high:
        reason = (
            f"{known} is more than the usual {usual} ({_SOURCE}): it makes {bottle_pressure_kpa(found[0]):.0f} kPa in "
            "a bottle at 20 °C, and pushes corks. Bubble nitrogen through, gently, with the vessel open and the room "
            "aired, and find out whether it ferments."
        )
        return ReviewSection("carbon_dioxide", "Carbon dioxide", ReviewVerdict.TAKE_CARE, reason, tuple(lines), numbers)
    if found[0] < low:
        lines.append(f"that is less than usual ({usual}): the wine can taste flat")
    reason = f"{known}; usual is {usual} ({_SOURCE})."
    return ReviewSection("carbon_dioxide", "Carbon dioxide", ReviewVerdict.IN_ORDER, reason, tuple(lines), numbers)
