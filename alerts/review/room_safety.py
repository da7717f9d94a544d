"""What the gas of a racking can do to the air of the rooms, at worst."""

from __future__ import annotations

__all__ = ["room_section"]

from collections.abc import Sequence

from alerts.gas.gases import GASES
from alerts.gas.room import ROOM_RANGE, co2_effect, o2_effect, room_air
from alerts.gas.stock import RoomGas
from alerts.review.amounts import gas_text
from alerts.review.racking_facts import RackingFacts
from alerts.review.section import ReviewSection, ReviewVerdict, worse_of
from alerts.review.supply import GasNeed
from alerts.view.gas.room_air_lines import room_air_json, room_air_text


def room_section(facts: RackingFacts, needs: Sequence[GasNeed]) -> ReviewSection:
    """Judge the rooms of the vessels: if what stands in them empties, and by the gas of the work alone."""
    vessels = [each for each in (facts.source, facts.receiver) if each is not None]
    lines, found, verdict = [], [], ReviewVerdict.IN_ORDER
    for room in facts.rooms:
        inside = [vessel.id for vessel in vessels if vessel.room == room.room]
        lines.append(room_air_text(room, " and ".join(inside) or facts.source.id))
        worst = room.worst()
        if worst is None:
            verdict = worse_of(verdict, ReviewVerdict.NOT_KNOWN)
        elif worst[1].severity >= 1.0:
            verdict = worse_of(verdict, ReviewVerdict.TAKE_CARE)
        by_work, is_much, numbers = _work(room, needs)
        if by_work:
            lines.append(by_work)
        if is_much:
            verdict = ReviewVerdict.TAKE_CARE
        found.append({**room_air_json(room), **numbers})
    reason = {
        ReviewVerdict.IN_ORDER: "Even at worst the air stays above 19.5 % oxygen and below 0.5 % carbon dioxide.",
        ReviewVerdict.NOT_KNOWN: "What escaping gas does to the air is not known: air the room and use a meter.",
    }.get(verdict, "Escaping gas can make the air dangerous: air the room from outside and use a meter.")
    return ReviewSection("room", "Room air", verdict, reason, tuple(dict.fromkeys(lines)), {"rooms": found})


def _work(room: RoomGas, needs: Sequence[GasNeed]) -> tuple[str, bool, dict[str, object]]:
    """What all gas of the work does if it ends in this room: in a sentence, whether it is much, and in numbers."""
    numbers: dict[str, object] = {"work_gas_l": None, "work_o2_percent": None, "work_co2_percent": None}
    total_l = sum(need.high_l for need in needs)
    if room.volume_m3 is None or not total_l:
        return "", False, numbers
    volume_m3 = ROOM_RANGE.nearest(room.volume_m3)
    co2_l = sum(need.high_l for need in needs if need.gas == "carbon dioxide")
    oxygen = room_air(volume_m3, GASES["nitrogen"], total_l).o2_percent
    co2 = room_air(volume_m3, GASES["carbon dioxide"], co2_l).co2_percent
    numbers |= {"work_gas_l": total_l, "work_o2_percent": oxygen, "work_co2_percent": co2}
    effects = [words for words in (co2_effect(co2), o2_effect(oxygen)) if words]
    carbon = f", and carbon dioxide rises by {co2:.2g} %" if co2 else ""
    text = f"The gas of this work, up to {gas_text(total_l)}, brings oxygen in {room.room} to {oxygen:.2f} %{carbon}"
    return f"{text}: {'; '.join(effects)}." if effects else f"{text}.", bool(effects), numbers
