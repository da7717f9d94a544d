"""Places: the room that a cylinder or a vessel stands in, and what a vessel can bear."""

from __future__ import annotations

__all__ = ["cylinder_problems", "vessel_problems"]

from collections.abc import Iterator

from ingest.cellar.checks.ids import unknown_name
from ingest.cellar.default_pressure_limits import care_setpoint_kpa, over_setpoint_kpa
from ingest.cellar.draft import CellarDraft
from ingest.cellar.equipment import Cylinder, Room, Vessel
from ingest.cellar.table_entry import TableEntry
from ingest.errors import Problem


def cylinder_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find rooms of cylinders that do not exist."""
    for entry in draft.entries(Cylinder):
        yield from _room(entry, draft)


def vessel_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find rooms of vessels that do not exist, and pressures that a vessel cannot bear or does not state."""
    for entry in draft.entries(Vessel):
        yield from _room(entry, draft)
        vessel = entry.model
        if vessel.material == "glass" and vessel.max_pressure_kpa is not None:
            yield entry.problem(
                "max_pressure", "glass bursts under pressure: never put any on it; leave max_pressure out"
            )
        elif vessel.under_gas and vessel.max_pressure_kpa is None:
            yield entry.problem(
                "max_pressure", f'is missing: a {vessel.kind} with gas needs what is stamped on it, such as "200 kPa"'
            )
        yield from _working_pressure(entry)


def _working_pressure(entry: TableEntry[Vessel]) -> Iterator[Problem]:
    """Check that a usual pressure is one that the vessel is made for, with room up to the alarm before its stamp."""
    vessel = entry.model
    working, stamped = vessel.working_pressure_kpa, vessel.max_pressure_kpa
    if working is None:
        return
    if vessel.material == "glass":
        yield entry.problem("working_pressure", "glass bursts under pressure: never put any on it; leave it out")
    elif not vessel.under_gas:
        yield entry.problem("working_pressure", "only a keg or tank with gas is kept under pressure; leave it out")
    elif stamped is not None and not working < over_setpoint_kpa(stamped):
        yield entry.problem(
            "working_pressure",
            f"must be below {over_setpoint_kpa(stamped):g} kPa, where the alarm before the stamp is raised; "
            "keep less pressure in this vessel",
        )
    elif stamped is not None and not working > care_setpoint_kpa(stamped):
        yield entry.problem(
            "working_pressure",
            f"must be above {care_setpoint_kpa(stamped):g} kPa, below which the blanket is getting thin",
        )


def _room(entry: TableEntry[Cylinder] | TableEntry[Vessel], draft: CellarDraft) -> Iterator[Problem]:
    rooms = draft.ids(Room)
    if entry.model.room is not None and entry.model.room not in rooms:
        yield entry.problem("room", unknown_name("room", entry.model.room, rooms))
