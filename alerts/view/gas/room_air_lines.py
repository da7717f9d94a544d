"""What gas that escapes can do to the air of a room: the worst case in a sentence, an object for programs."""

from __future__ import annotations

__all__ = [
    "AIR_BEGINNINGS",
    "NOT_A_GAS_ALARM",
    "meter_for",
    "percent_text",
    "room_air_json",
    "room_air_text",
    "rounded_l",
    "stock_text",
]

from typing import Final

from alerts.gas.room import RoomAir, co2_effect, o2_effect
from alerts.gas.stock import GasStock, RoomGas
from ingest.times import iso_utc

NOT_A_GAS_ALARM: Final = "leeside is not a gas alarm."
# How a line of ``room_air_text`` begins.
AIR_BEGINNINGS: Final = ("Worst case: ", "Room air: ")
_WORST, _UNKNOWN = AIR_BEGINNINGS


def room_air_text(gas: RoomGas, place: str) -> str:
    """Say what happens to the room's air at worst, or why leeside cannot say. place: whose room it is."""
    if not gas.room:
        return (
            f"{_UNKNOWN}the cellar file does not say in which room {place} stands (`room`), so leeside cannot say what "
            f"escaping gas does to its air; {NOT_A_GAS_ALARM}"
        )
    if gas.volume_m3 is None:
        return (
            f"{_UNKNOWN}leeside does not know the air of the room {gas.room}: its `volume` is not in the cellar file; "
            f"{NOT_A_GAS_ALARM}"
        )
    worst = gas.worst()
    if worst is None:
        return (
            f"{_UNKNOWN}leeside does not know how much gas can escape into the room {gas.room} ({gas.volume_m3:g} m³); "
            f"{NOT_A_GAS_ALARM}"
        )
    stock, air = worst
    what = "cylinder" if stock.is_cylinder else "vessel"
    text = (
        f"{_WORST}if the {what} {stock.place} ({stock_text(stock)}) empties into the room {gas.room} "
        f"({gas.volume_m3:g} m³), {_air_text(air)}"
    )
    meter = meter_for(air)
    if not meter:
        return f"{text}; {NOT_A_GAS_ALARM}"
    return (
        f"{text}. Air the room from outside, and do not go in before a meter for {meter} shows that it is safe; follow "
        f"the local codes; {NOT_A_GAS_ALARM}"
    )


def stock_text(stock: GasStock) -> str:
    """Give the amount with the gas, and say so where nobody measured it."""
    amount = f"{rounded_l(stock.litres):,} L of {stock.gas.name}"
    if stock.basis == "full":
        return f"not measured; {amount} if full" if stock.is_cylinder else f"not measured; at most {amount}"
    return f"{amount}, by weight" if stock.basis == "weight" else amount


def room_air_json(gas: RoomGas) -> dict[str, object]:
    """Give the same as an object; null for what is not known."""
    worst = gas.worst()
    stock, air = worst if worst is not None else (None, None)
    return {
        "room": gas.room or None,
        "volume_m3": gas.volume_m3,
        "worst_from": None if stock is None else stock.place,
        "worst_gas": None if stock is None else stock.gas.name,
        "worst_released_l": None if stock is None else stock.litres,
        "worst_known_by": None if stock is None else stock.basis,
        "worst_read_at": None if stock is None or stock.at_ms is None else iso_utc(stock.at_ms),
        "worst_o2_percent": None if air is None else air.o2_percent,
        "worst_co2_percent": None if air is None else air.co2_percent,
    }


def rounded_l(litres: float) -> int:
    """Round an amount of gas [L] to digits that mean something: 1,426 L are known as 1,430."""
    return 10 * round(litres / 10.0) if litres >= 1000.0 else round(litres)


def _air_text(air: RoomAir) -> str:
    parts = []
    if air.co2_percent > 0.0:
        effect = co2_effect(air.co2_percent)
        parts.append(f"carbon dioxide rises by {air.co2_percent:.2g} %" + (f", {effect}" if effect else ""))
    effect = o2_effect(air.o2_percent)
    parts.append(f"oxygen falls to {percent_text(air)}" + (f": {effect}" if effect else ""))
    return ", and ".join(parts)


def percent_text(air: RoomAir) -> str:
    """Give the oxygen in it: 19.47 % is not to look like 19.5 %, where nothing is wrong yet."""
    return f"{air.o2_percent:.{2 if 19.4 < air.o2_percent < 19.6 else 1}f} %"


def meter_for(air: RoomAir) -> str:
    """Say for what a meter is needed before anybody goes in, "" if the worst case needs none."""
    gases = (("carbon dioxide", co2_effect(air.co2_percent)), ("oxygen", o2_effect(air.o2_percent)))
    return " and ".join(name for name, effect in gases if effect)
