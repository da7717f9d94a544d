"""What to be careful of with gas, whatever the numbers say."""

from __future__ import annotations

__all__ = [
    "CONFINED_SPACE",
    "CYLINDER_CAUTIONS",
    "PRESSURE_CAUTIONS",
    "ROOM_CAUTIONS",
    "SIPHON_CAUTIONS",
    "TANK_CAUTIONS",
    "TRANSFER_CAUTIONS",
]

from typing import Final

_SUFFOCATION: Final = (
    "nitrogen, argon and carbon dioxide suffocate without warning: air the room before going in, and never lean into a "
    "vessel that held gas"
)
_NO_ALARM: Final = (
    "leeside is not a gas alarm: where gas is used, have a meter for oxygen, and one for carbon dioxide if that is used"
)
# Entry only by the rules for permit-required confined spaces, such as 29 CFR 1910.146; most who die in wine tanks die
# of this, and many of them went in after somebody (HSE and CSB bulletins, from memory).
CONFINED_SPACE: Final = (
    "never climb, reach or lean into a tank or other large vessel that held gas, not even for a moment or to help "
    "somebody: one or two breaths can drop you. Whoever has to go in follows the rules for confined spaces: all "
    "supplies shut off, aired and measured before and meanwhile, somebody outside who does not go in, and a way to be "
    "pulled out"
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
# Of a tank that is purged or pushed from.
TANK_CAUTIONS: Final = (CONFINED_SPACE, *TRANSFER_CAUTIONS)
ROOM_CAUTIONS: Final = (_SUFFOCATION, _NO_ALARM, _CODES)
