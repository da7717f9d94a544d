"""What an owner should know before an absence begins: hours in which nobody is reached, rooms that need a meter."""

from __future__ import annotations

__all__ = ["gap_json", "gap_lines", "gaps_of", "meter_lines", "rooms_with_meter", "standing", "standing_lines"]

from collections.abc import Sequence
from typing import Final

from alerts.cylinders.gas_in_rooms import GasInRooms
from alerts.limits.limits_now import limits_now
from alerts.message.helper_air import meter_needed
from alerts.message.reach import Unreached, clock, unreached
from alerts.view.format import counted, with_capital
from alerts.watch.alarm_table import State
from ingest.cellar import Cellar
from ingest.store import Store
from ingest.store.alarms.absences import Absence
from ingest.store.alarms.alarm_record import alarm_rows

# Of so many limits the keys are given, and how many more there are.
_MOST_KEYS: Final = 3


def standing(store: Store) -> list[str]:
    """List the keys of the limits whose alarms stand now."""
    active = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)
    return sorted(row.key for row in alarm_rows(store) if row.state in active)


def standing_lines(keys: Sequence[str]) -> list[str]:
    """Say them, with what to do."""
    if not keys:
        return []
    return [
        f"{with_capital(counted(len(keys), 'alarm'))} {'stands' if len(keys) == 1 else 'stand'} now: {_listed(keys)}.",
        "  before you leave: see to them; a helper hears only of those of high priority that nobody has acknowledged.",
    ]


def _listed(keys: Sequence[str]) -> str:
    more = len(keys) - _MOST_KEYS
    return ", ".join(keys[:_MOST_KEYS]) + (f" and {more} more" if more > 0 else "")


def gaps_of(cellar: Cellar, store: Store, absence: Absence, now_ms: int) -> list[Unreached]:
    """Find the hours of the day in which an urgent alarm would reach nobody at once. now_ms: UTC ms."""
    kinds = {place.id: cellar.place_kind(place.id) for place in cellar.places}
    return unreached(cellar, limits_now(cellar, store, now_ms).values(), kinds, absence)


def gap_lines(gaps: Sequence[Unreached], helper: str) -> list[str]:
    """Say them, with what to do."""
    lines = []
    for gap in gaps:
        when = (
            "At any hour" if gap.from_min == gap.until_min else f"From {clock(gap.from_min)} to {clock(gap.until_min)}"
        )
        keys = _listed(gap.keys)
        if gap.passed_on:
            lines.append(
                f"{when} an alarm of high priority does not reach {helper} at once, and somebody else only when nobody "
                f"has acknowledged it for a while: {keys}."
            )
        else:
            lines.append(f"{when} an alarm of high priority reaches nobody: {keys}.")
    if lines:
        lines.append(
            f'  before you leave: add "high" to woken_by of {helper} and of yourself, or choose another helper.'
        )
    return lines


def gap_json(gap: Unreached) -> dict[str, object]:
    """Give one as an object."""
    return {
        "limits": list(gap.keys),
        "from": clock(gap.from_min),
        "until": clock(gap.until_min),
        "passed_on": gap.passed_on,
    }


def rooms_with_meter(cellar: Cellar, store: Store, now_ms: int) -> list[str]:
    """List the rooms into which a helper may go only with a meter, "" for where gas stands nobody knows where."""
    rooms = GasInRooms(cellar, store)
    found = []
    for room in (*(each.id for each in cellar.room), None):
        gas = rooms.in_room(room, now_ms)
        if gas.stocks and meter_needed(gas):
            found.append(room or "")
    return found


def meter_lines(rooms: Sequence[str], helper: str) -> list[str]:
    """Say it, with what to do."""
    if not rooms:
        return []
    names = ", ".join(room or "where gas stands of which the cellar file does not say the room" for room in rooms)
    return [
        f"Messages ask {helper} not to go in without a meter, since the worst case for the air is dangerous or not "
        f"known: {names}.",
        "  before you leave: lend a meter for oxygen, and for carbon dioxide where you keep it; with `volume` of "
        "[[room]] and `room` of vessels and cylinders leeside works the air out.",
    ]
