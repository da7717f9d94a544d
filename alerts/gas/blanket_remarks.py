"""Why a judgement of a blanket says no more than it does, in sentences for people."""

from __future__ import annotations

__all__ = ["blanket_remarks"]

from collections.abc import Iterator
from typing import Final

from alerts.gas.blanket_facts import BlanketFacts
from alerts.gas.common_air import CommonAir
from alerts.gas.stuck_sensor import StuckRun

_BETS: Final = {
    "unknown": "The wine is taken to have held, at the start, anything between what air and what this blanket leaves "
    "in it.",
    "from air": "The wine is taken to have been full of air at the start, and so to dissolve gas for days.",
    "under gas": "The wine is taken to have held most of this blanket's gas at the start.",
    "resting": "The wine is taken to be nearly saturated with this blanket's gas.",
}


def blanket_remarks(
    finding: str,
    facts: BlanketFacts,
    *,
    days: float | None,
    u_kappa: float | None,
    has_air: bool,
    common: CommonAir | None,
    stuck: StuckRun | None,
    is_held: bool,
    is_young: bool = False,
) -> Iterator[str]:
    """List the remarks on a finding.

    days: since the first reading of the episode, None without a fit; u_kappa: standard uncertainty of the loss, kPa a
    day; has_air: whether a barometer is read; common: the air's pressure by other
    gauges, where it is used; is_held: whether a supply holds the pressure, by the readings; is_young:
    whether a leak is certain that began in the last hours.
    """
    if stuck is not None:
        yield (
            f"The pressure has read exactly {stuck.kpa:g} kPa for hours; temperature alone would have moved it by "
            f"{stuck.expected_kpa:.1f} kPa: look at the instrument and its wiring."
        )
    if finding == "supply open":
        why = " The gauge stays where it is although the temperature moves." if is_held else ""
        yield f"While the supply is open the vessel's pressure says nothing about a leak; the cylinder's does.{why}"
    if finding == "cannot tell yet" and (days is None or days < 0.5):
        yield "Less than half a day has been read since the gas or the wine last changed: only a fast leak would show."
    elif finding == "cannot tell yet":
        yield "Gas seems to be lost, but gas that dissolves, or something drawn, could still explain it."
    if is_young:
        yield (
            "The wine is taken to dissolve gas as evenly as before: if the vessel was moved or stirred in the last "
            "hours, that may be where the gas went."
        )
    if finding in ("settling", "cannot tell yet") and days is not None:
        yield _BETS[facts.wine_before]
    if u_kappa is not None and finding not in ("supply open", "no judgement", "gas rising") and 4.0 * u_kappa > 0.5:
        yield f"Leaks slower than about {4.0 * u_kappa:.1f} kPa a day would not show yet."
    if facts.weather_moves and not has_air and common is not None:
        yield (
            f"Without a barometer the weather is taken from what {common.witnesses} other vessels' gauges do alike: "
            f"its change over a day is known to {2.0 * common.u_day_kpa:.1f} kPa."
        )
    elif facts.weather_moves and not has_air:
        yield "Without a barometer the weather moves this gauge by 1 to 3 kPa: a slow leak is found later."
