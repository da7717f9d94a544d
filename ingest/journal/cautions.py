"""The cautions that several kinds of entries share: glass, and a keg that may be under pressure. Pure.

General care; the label, the safety data sheet and local rules go before it.
"""

from __future__ import annotations

__all__ = ["GLASS", "opening_caution"]

from typing import Final

GLASS: Final = "glass takes no pressure and breaks when lifted wet: never push wine into it with a shut lid; gloves"
_OPENED_KEG: Final = "a keg may be under pressure: shut the gas and vent it before it is opened, with the room aired"


def opening_caution(*, of_glass: bool, under_gas: bool) -> str:
    """Caution that belongs to a vessel that is opened, or whose wine is on the way; "" where none is due."""
    return "; ".join(text for text, due in ((GLASS, of_glass), (_OPENED_KEG, under_gas)) if due)
