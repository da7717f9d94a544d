"""How a vessel's walls answer: expansion with temperature, and which vessels may be put under pressure at all.

    V(t) = V20 (1 + beta (t - 20 °C))

Steel takes back about a quarter of what wine expands by at 15 °C, so it must not be left out.
"""

from __future__ import annotations

__all__ = [
    "STAMP_RANGE",
    "VESSEL_KINDS",
    "WALL_EXPANSION",
    "check_pressure",
    "check_vessel_kind",
    "wall_expansion",
    "walls_of",
    "why_no_pressure",
]

from typing import Final

from alerts.allowed_range import AllowedRange
from alerts.errors import OutOfRange

# Volumetric, 1/K. Steel: stainless 304 and 316 by EN 10088-1 (linear 16.0e-6, mean of 20 to 100 °C). Glass: soda-lime
# (linear 9e-6; glass handbooks, from memory). Rigid: walls that do not move, for comparison.
WALL_EXPANSION: Final = {"steel": 48e-6, "glass": 27e-6, "rigid": 0.0}
# Whether a kind may be put under gas pressure: only what carries a stamp. The cellar file's kinds, and two materials.
VESSEL_KINDS: Final = {
    "keg": True,
    "tank": True,
    "carboy": False,
    "bottle": False,
    "barrel": False,
    "glass": False,
    "plastic": False,
}
# What kegs and tanks for wine are stamped with; the cellar file allows the same.
STAMP_RANGE: Final = AllowedRange("stamped pressure", 0.1, 1000.0, "kPa", "vessels are stamped with")
_WHY_NOT: Final = {
    "carboy": "a carboy is glass or plastic and bursts without warning",
    "bottle": "a bottle is glass and bursts without warning",
    "glass": "glass bursts without warning",
    "barrel": "a barrel is not a pressure vessel: its bung or a head comes out",
    "plastic": "plastic is not a pressure vessel: it swells and bursts",
}


def walls_of(material: str) -> str:
    """Name the walls that a vessel of a material has: what the cellar file names besides steel and glass is rigid."""
    return material if material in WALL_EXPANSION else "rigid"


def wall_expansion(material: str) -> float:
    """Give the volumetric expansion of a material [1/K]. Raises OutOfRange for one that there is not."""
    try:
        return WALL_EXPANSION[material]
    except KeyError:
        allowed = ", ".join(WALL_EXPANSION)
        raise OutOfRange("material", f"there is no material '{material}'; allowed: {allowed}") from None


def check_vessel_kind(kind: str) -> None:
    """Raise OutOfRange for a kind of vessel that there is not."""
    if kind not in VESSEL_KINDS:
        raise OutOfRange("kind", f"there is no kind '{kind}'; allowed: {', '.join(VESSEL_KINDS)}")


def check_pressure(kind: str, pressure_kpa: float, stamp_kpa: float | None) -> None:
    """Raise OutOfRange if a vessel must not be put under this gauge pressure [kPa]: by its kind, or its stamp."""
    check_vessel_kind(kind)
    if not VESSEL_KINDS[kind]:
        allowed = " or ".join(name for name, stamped in VESSEL_KINDS.items() if stamped)
        raise OutOfRange(
            "kind", f"{_WHY_NOT[kind]}: never put it under gas pressure; only a {allowed} within its stamp may be"
        )
    if stamp_kpa is not None and pressure_kpa > STAMP_RANGE.checked(stamp_kpa):
        raise OutOfRange(
            "pressure", f"{pressure_kpa:g} kPa is more than the {stamp_kpa:g} kPa stamped on the vessel; stay below it"
        )


def why_no_pressure(kind: str, stamp_kpa: float | None) -> str:
    """Say why a vessel must not be put under gas pressure at all; "" if it may be."""
    try:
        check_pressure(kind, 0.0, stamp_kpa)
    except OutOfRange as error:
        return str(error)
    return ""
