"""Gas lines: the cylinder and the vessels exist, hold the same gas, and bear what regulator and relief valve let by."""

from __future__ import annotations

__all__ = ["gas_line_problems"]

from collections import Counter
from collections.abc import Iterator

from ingest.cellar.checks.ids import unknown_name
from ingest.cellar.default_pressure_limits import over_setpoint_kpa
from ingest.cellar.draft import CellarDraft
from ingest.cellar.equipment import Cylinder, Vessel
from ingest.cellar.gas_line import GasLine
from ingest.cellar.table_entry import TableEntry
from ingest.errors import Problem


def gas_line_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find everything that is wrong with gas lines."""
    cylinders = {cylinder.id: cylinder for cylinder in draft.models(Cylinder)}
    vessels = {vessel.id: vessel for vessel in draft.models(Vessel)}
    joined: dict[str, str] = {}
    for entry in draft.entries(GasLine):
        yield from _names(entry, draft)
        yield from _joined_twice(entry, joined)
        behind = [vessels[id] for id in dict.fromkeys(entry.model.vessels) if id in vessels]
        for vessel in behind:
            yield from _takes_pressure(entry, vessel)
        yield from _gases(entry, cylinders.get(entry.model.cylinder), behind)
        yield from _pressures(entry, behind)


def _names(entry: TableEntry[GasLine], draft: CellarDraft) -> Iterator[Problem]:
    line = entry.model
    cylinders, vessels = draft.ids(Cylinder), draft.ids(Vessel)
    if line.cylinder not in cylinders:
        yield entry.problem("cylinder", unknown_name("cylinder", line.cylinder, cylinders))
    for id in dict.fromkeys(line.vessels):
        if id not in vessels:
            yield entry.problem("vessels", f"{id}: {unknown_name('vessel', id, vessels)}")


def _joined_twice(entry: TableEntry[GasLine], joined: dict[str, str]) -> Iterator[Problem]:
    """Check that a vessel is on one line only; joined: the line of each vessel so far, which this one is added to."""
    for id, times in Counter(entry.model.vessels).items():
        if times > 1:
            yield entry.problem("vessels", f"{id} is listed {times} times; list it once")
        if id in joined:
            yield entry.problem("vessels", f"{id} is on {joined[id]} already; a vessel hangs on one line at a time")
        joined.setdefault(id, entry.label)


def _takes_pressure(entry: TableEntry[GasLine], vessel: Vessel) -> Iterator[Problem]:
    if vessel.material == "glass":
        yield entry.problem("vessels", f"{vessel.id} is of glass, which bursts under pressure: never join it to gas")
    elif vessel.kind not in ("keg", "tank") or vessel.material == "wood":
        what = "a wooden tank" if vessel.kind == "tank" else f"a {vessel.kind}"
        yield entry.problem(
            "vessels", f"{vessel.id} is {what}, which is not made for pressure; only kegs and tanks hang on a gas line"
        )
    elif vessel.max_pressure_kpa is None and vessel.gas is None:
        # One with gas and without a stamp is a problem of its own table.
        yield entry.problem(
            "vessels", f'{vessel.id} has no max_pressure: write in its table what is stamped on it, such as "200 kPa"'
        )


def _gases(entry: TableEntry[GasLine], cylinder: Cylinder | None, vessels: list[Vessel]) -> Iterator[Problem]:
    """Check that the cylinder holds the gas of the vessels, or that somebody says why not."""
    if cylinder is None:
        return
    others = [vessel for vessel in vessels if vessel.gas is not None and vessel.gas != cylinder.gas]
    reason = entry.model.other_gas
    if others and reason is None:
        which = ", ".join(f"{vessel.id} has {vessel.gas}" for vessel in others)
        yield entry.problem(
            "cylinder",
            f"holds {cylinder.gas}, but {which}; write the gas that it is, or say by other_gas why they differ",
        )
    elif reason is not None and not others and vessels:
        yield entry.problem("other_gas", f"no vessel on this line has another gas than {cylinder.gas}; leave it out")


def _pressures(entry: TableEntry[GasLine], vessels: list[Vessel]) -> Iterator[Problem]:
    """Check regulator, relief valve and stamps against each other: each lies below the next."""
    line = entry.model
    stamped = {vessel.id: vessel.max_pressure_kpa for vessel in vessels if vessel.max_pressure_kpa is not None}
    weakest = min(stamped, key=stamped.__getitem__) if stamped else None
    if line.relief_kpa is not None and line.regulator_kpa >= line.relief_kpa:
        yield entry.problem(
            "regulator",
            f"must be below {line.relief_kpa:g} kPa, at which the relief valve opens; otherwise it never shuts",
        )
    if weakest is None:
        return
    if line.relief_kpa is not None and line.relief_kpa > stamped[weakest]:
        yield entry.problem("relief", f"must be at most {stamped[weakest]:g} kPa, the max_pressure of {weakest}")
    if line.regulator_kpa >= over_setpoint_kpa(stamped[weakest]):
        yield entry.problem(
            "regulator",
            f"must be below {over_setpoint_kpa(stamped[weakest]):g} kPa, where the alarm before the stamp of "
            f"{weakest} is raised",
        )
