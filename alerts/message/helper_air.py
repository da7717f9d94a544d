"""What a message to a helper says of the room's air, for somebody who does not know the cellar and may stand before it.

All gas that stands in the room counts, since the helper goes into the room, whatever the alarm is about. Where nobody
can say how much that is, it counts as dangerous. That those who go in to help often die too: CSB Safety Bulletin
2003-10-B, EIGA SAG NL 77 (from memory).
"""

from __future__ import annotations

__all__ = ["HelperAir", "helper_air", "meter_needed"]

from typing import Final, NamedTuple

from alerts.absence.safe_steps import KEEP_OUT_STEP
from alerts.gas.stock import RoomGas
from alerts.message.cautions import GOING_IN
from alerts.view.gas.room_air_lines import AIR_BEGINNINGS, NOT_A_GAS_ALARM, meter_for, percent_text, stock_text

_WORST, _UNKNOWN = AIR_BEGINNINGS
_EITHER: Final = "oxygen and carbon dioxide"


class HelperAir(NamedTuple):
    """text: lines about the air, "" where no gas stands in the room; step: what the helper can do, with the condition
    under which they may go in.
    """

    text: str
    step: str


def helper_air(gas: RoomGas | None, step: str, place_kind: str) -> HelperAir:
    """Write it. gas: all that stands in the room, None for none; step: the safe one; place_kind: where the alarm is."""
    if gas is None:
        return HelperAir("", step)
    keeps_out = step == KEEP_OUT_STEP
    fact, meter = _worst(gas)
    if keeps_out:
        rule = "Stay out in any case."
    elif meter:
        rule = (
            f"Without a meter for {meter} that shows that the air is safe, do not go in, not even for a moment: open "
            "door and windows from outside, stay out and call the owner."
        )
        step = f"Only if a meter for {meter} shows that the air in the room is safe: {step}"
    else:
        rule = "Close to a leak, and near the floor, it can be far less: air the room before you go in."
    text = f"{fact} {rule} Local rules come first; {NOT_A_GAS_ALARM}"
    # A person can get into a tank, and those who went in died of it.
    return HelperAir(f"{text}\n{GOING_IN}" if place_kind == "tank" else text, step)


def meter_needed(gas: RoomGas) -> str:
    """Say for what a meter is needed before anybody goes in, "" for none."""
    return _worst(gas)[1]


def _worst(gas: RoomGas) -> tuple[str, str]:
    """The worst case in a sentence, and for what a meter is needed before anybody goes in, "" for none."""
    worst = gas.worst()
    if worst is None:
        return (
            f"{_UNKNOWN}gas that suffocates is kept here, and nobody has worked out how far it would fill the room.",
            _EITHER,
        )
    stock, air = worst
    what = "gas cylinder" if stock.is_cylinder else "vessel"
    meter = meter_for(air)
    held = f"the {what} {stock.place} ({stock_text(stock)})"
    shares = f"{percent_text(air)} oxygen instead of 20.9 %"
    if air.co2_percent > 0.0:
        shares += f", and {air.co2_percent:.2g} % carbon dioxide, which is poisonous"
    verdict = ". People faint in such air without a warning, and die." if meter else ", which is enough to breathe."
    return f"{_WORST}if {held} has emptied into the room {gas.room}, the air there has {shares}{verdict}", meter
