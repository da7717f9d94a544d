"""The default limits on the temperature at a vessel: *frost*, *heat*, and a *change* that wine at rest does not make.

Frost: wine of 12 % vol begins to freeze at about -5 °C (from memory: the rule -(alcohol - 1) / 2 in °C, P.
Ribéreau-Gayon and others, Handbook of Enology, volume 2, gives -5.5 °C; tables of ethanol and water give -5 °C). Water
grows by 9 % when it freezes, so a full glass vessel bursts well before the wine is solid. 0 °C leaves time to act. Heat
and change: common practice, no source.
"""

from __future__ import annotations

__all__ = ["temperature_limits"]

from collections.abc import Iterator
from typing import Final

from ingest.cellar.equipment import Probe, Vessel
from ingest.cellar.file_limits import ByPlace, limit_key
from ingest.cellar.limits import USUAL, EffectiveLimit, Hours, LimitKind, Priority, Role
from ingest.cellar.shown_units import shown_unit

_FROST_LOW_C: Final = 0.0
_FROST_ON_DELAY_S: Final = 1800.0
_HEAT_HIGH_C: Final = 24.0
_HEAT_ON_DELAY_S: Final = 3600.0
_CHANGE_K: Final = 5.0
_CHANGE_WITHIN_S: Final = 3600.0
# The air beside a vessel changes in minutes, the wine in it in hours. Common practice, no source.
_AIR_ON_DELAY_S: Final = 6 * 3600.0

_FREEZES_GLASS: Final = (
    "Wine of 12 % vol begins to freeze at about -5 °C. Ice needs more room: glass bursts well before the wine is solid."
)
_FREEZES: Final = (
    "Wine of 12 % vol begins to freeze at about -5 °C. Ice needs more room: it can lift a lid or open a seam. Posts "
    "and lines freeze first, and tartar falls out."
)
_KEEP_WARM: Final = (
    "Warm the room gently or wrap the vessel, and close what lets the cold in. Never heat glass or a closed vessel "
    "directly."
)
_AGES: Final = "Wine ages fast above this, loses free SO2 sooner, and what yeast or bacteria are left in it may start."
_KEEP_COOL: Final = (
    "Shade and cool the room, or move the vessel. See whether the pressure of a closed vessel rises with the warmth."
)
_UNUSUAL: Final = (
    "Wine at rest does not change so fast: something heats, cools or empties the vessel, or the probe moved."
)
_SEE_WHY: Final = (
    "See what changed: a door, a heater, the sun, the cooling, or a probe that came loose from its vessel."
)


def temperature_limits(probe: Probe, by_place: ByPlace, vessel: Vessel, units: str) -> Iterator[EffectiveLimit]:
    """Limit the temperature at a vessel. A probe in the air beside it has longer delays, and no limit on its change."""
    in_air = probe.mounted == "air"
    glass = vessel.material == "glass"

    def limit(
        *,
        role: Role,
        kind: LimitKind,
        setpoint: float,
        on_delay_s: float,
        consequence: str,
        action: str,
        off_delay_s: float = USUAL["temperature"].off_delay_s,
        within_s: float = 0.0,
        priority: Priority = "medium",
        hours: Hours = "waking",
    ) -> EffectiveLimit:
        return EffectiveLimit(
            key=limit_key(probe, by_place, role),
            kind=kind,
            at=probe.at,
            quantity=probe.quantity,
            probe=probe.id,
            setpoint=setpoint,
            deadband=USUAL["temperature"].deadband,
            on_delay_s=_AIR_ON_DELAY_S if in_air else on_delay_s,
            off_delay_s=off_delay_s,
            priority=priority,
            hours=hours,
            consequence=consequence,
            action=action,
            unit_text=shown_unit("temperature", units),
            role=role,
            origin="default",
            within_s=within_s,
        )

    yield limit(
        role="frost",
        kind="low",
        setpoint=_FROST_LOW_C,
        on_delay_s=_FROST_ON_DELAY_S,
        consequence=_FREEZES_GLASS if glass else _FREEZES,
        action=_KEEP_WARM,
        hours="any",
    )
    yield limit(
        role="heat",
        kind="high",
        setpoint=_HEAT_HIGH_C,
        on_delay_s=_HEAT_ON_DELAY_S,
        consequence=_AGES,
        action=_KEEP_COOL,
    )
    if not in_air:
        yield limit(
            role="change",
            kind="rate",
            setpoint=_CHANGE_K,
            within_s=_CHANGE_WITHIN_S,
            on_delay_s=0.0,
            off_delay_s=600.0,
            consequence=_UNUSUAL,
            action=_SEE_WHY,
            priority="low",
            hours="digest",
        )
