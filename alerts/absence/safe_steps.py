"""What somebody who does not know the cellar may do about an alarm. Pure.

A helper looks, reads, writes down and keeps away. Whatever opens a vessel, a valve or a bottle, and whatever goes into
wine, waits for the owner: for such an alarm there is no step (common practice, no source).
"""

from __future__ import annotations

__all__ = ["AIRLOCK_STEP", "CALL_STEP", "GAUGE_STEP", "KEEP_OUT_STEP", "safe_step"]

from collections.abc import Mapping
from typing import Final

from alerts.watch.own_limits import BROKER, INGEST, channel_key, line_key, room_key
from ingest.cellar import EffectiveLimit

_AIR_FIRST: Final = (
    "Open door and windows and wait outside until the room is aired; do not go in alone. Gas that takes away the "
    "oxygen cannot be seen, smelt or felt. If it hisses or you feel unwell, get out and stay out."
)
GAUGE_STEP: Final = (
    f"{_AIR_FIRST} Then read the gauges on the vessel and on the regulator, take a photograph of both, and send it to "
    "the owner. Open and close nothing."
)
KEEP_OUT_STEP: Final = (
    "Stay out of the room and keep others out: a vessel may burst. Open, close and touch nothing. Call the owner at "
    "once; if nobody can be reached, call the fire service and say that there is gas under pressure."
)
AIRLOCK_STEP: Final = (
    f"{_AIR_FIRST} Then look whether the liquid in the airlock reaches its mark. If not, fill it up to the mark with "
    "clean water, without taking it off. Do not lift or move the vessel. Send the owner a photograph."
)
_TEMPERATURE_STEP: Final = (
    f"{_AIR_FIRST} Then read the thermometer and send the owner the temperature. When you leave, shut windows and door "
    "again if they let in too much warmth or cold. Move no vessel."
)
_PROBE_STEP: Final = (
    f"{_AIR_FIRST} Then look whether the measuring box has power: its lamp, its plug, its cable. Put back a plug that "
    "came out. Open nothing. Send the owner a photograph."
)
_MACHINE_STEP: Final = (
    "Look whether the small computer and the network box have power: lamps, plugs, cables. If they are where the wine "
    "is, air that room first and do not go in alone. Put back a plug that came out, and pull none. Send the owner a "
    "photograph."
)
CALL_STEP: Final = (
    "There is nothing to do in the cellar, and nobody need go there. Call the owner and say that messages do not get "
    "out by this way, so that some of them may not have arrived."
)
# More gas than there should be is a danger; less is a loss.
_GAS_LOST: Final = frozenset({"compensated_pressure", "leak_rate", "hours_to_air_floor", "hours_to_air_floor_by_cold"})
_MACHINE: Final = (INGEST, BROKER, line_key(""), room_key(""))
_CHANNEL: Final = channel_key("")


def safe_step(limit: EffectiveLimit, place_kinds: Mapping[str, str]) -> str:
    """Give what a helper may do about an alarm of a limit; "" where only the owner can do something.

    place_kinds: by the id of a place what it is, such as "keg" or "cylinder".
    """
    if limit.key.startswith("leeside/"):
        if limit.key.startswith(_CHANNEL):
            return CALL_STEP
        return _MACHINE_STEP if limit.key.startswith(_MACHINE) else ""
    if limit.kind == "due":
        return AIRLOCK_STEP if limit.quantity == "airlock" else ""
    if place_kinds.get(limit.at) == "cylinder" or limit.kind == "rate":
        return ""
    return _PROBE_STEP if limit.kind == "no data" else _step_by_quantity(limit)


def _step_by_quantity(limit: EffectiveLimit) -> str:
    if limit.quantity == "temperature":
        return _TEMPERATURE_STEP
    if limit.quantity == "gas_gain_rate" or (limit.quantity == "pressure" and limit.kind == "high"):
        return KEEP_OUT_STEP
    return GAUGE_STEP if limit.quantity == "pressure" or limit.quantity in _GAS_LOST else ""
