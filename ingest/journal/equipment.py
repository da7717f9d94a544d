"""The vessels of a time: what each cellar file that ever ran says of their capacity, and what they were called."""

from __future__ import annotations

__all__ = ["CellarOfTime", "Equipment", "PlaceKinds", "Rename", "VesselOfTime", "cellar_of_time"]

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from ingest.cellar import Cellar, Vessel


class VesselOfTime(NamedTuple):
    """A vessel as a cellar file had it. capacity_l: brimful; kind: keg, carboy, barrel, tank or bottle; was: its id
    before this file renamed it.
    """

    capacity_l: float
    kind: str
    was: str | None = None


class CellarOfTime(NamedTuple):
    """The vessels of one cellar file, by id; it ran from from_ms (UTC ms) until the next one did."""

    from_ms: int
    vessels: Mapping[str, VesselOfTime]


class Rename(NamedTuple):
    """From from_ms on the vessel ``old`` was called ``new``."""

    from_ms: int
    old: str
    new: str


def cellar_of_time(cellar: Cellar | Sequence[Vessel], from_ms: int) -> CellarOfTime:
    """List the vessels of a cellar file that ran from from_ms on."""
    vessels = cellar.vessel if isinstance(cellar, Cellar) else cellar
    return CellarOfTime(
        from_ms, {vessel.id: VesselOfTime(vessel.capacity_l, vessel.kind, vessel.was) for vessel in vessels}
    )


@dataclass(frozen=True)
class Equipment:
    """Cellar files in the order in which they ran. Before the first one, the first one holds."""

    cellars: tuple[CellarOfTime, ...] = ()
    renames: tuple[Rename, ...] = field(init=False)
    _known: Mapping[str, tuple[tuple[int, VesselOfTime], ...]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        known: dict[str, list[tuple[int, VesselOfTime]]] = {}
        renames: list[Rename] = []
        renamed: set[tuple[str, str]] = set()
        for number, (from_ms, vessels) in enumerate(self.cellars):
            for id, vessel in vessels.items():
                known.setdefault(id, []).append((from_ms, vessel))
                if vessel.was is not None and (vessel.was, id) not in renamed:
                    renamed.add((vessel.was, id))
                    if number:  # what the first file says was renamed before anyone wrote a journal
                        renames.append(Rename(from_ms, vessel.was, id))
        object.__setattr__(self, "renames", tuple(renames))
        object.__setattr__(self, "_known", {id: tuple(rows) for id, rows in known.items()})

    def vessel(self, id: str, at_ms: int) -> VesselOfTime | None:
        """Find the vessel in the newest file that has it and ran by then, else in the first one that has it; None if
        none ever did.
        """
        newest: VesselOfTime | None = None
        for from_ms, vessel in self._known.get(id, ()):
            if newest is not None and from_ms > at_ms:
                break
            newest = vessel
        return newest

    def capacity_l(self, id: str, at_ms: int) -> float | None:
        """Its capacity [L], None where no cellar file ever had it."""
        vessel = self.vessel(id, at_ms)
        return None if vessel is None else vessel.capacity_l

    def vessels_at(self, at_ms: int) -> tuple[str, ...]:
        """List the vessels of the file that ran at a time."""
        running = [cellar for cellar in self.cellars if cellar.from_ms <= at_ms] or list(self.cellars[:1])
        return tuple(running[-1].vessels) if running else ()

    def name_now(self, id: str, written_ms: int) -> str:
        """Give the name that a vessel has in the newest file, by its name in an entry written at written_ms."""
        for rename in self.renames:
            if rename.from_ms > written_ms and rename.old == id:
                id = rename.new
        return id

    def names_ever(self, id: str) -> frozenset[str]:
        """List every name that entries may have for what is called id now."""
        names = {id}
        for rename in reversed(self.renames):
            if rename.new in names:
                names.add(rename.old)
        return frozenset(names)


class PlaceKinds:
    """Which kind of place an id is, by the cellar file as it is now, or else by the vessels of a time."""

    def __init__(self, cellar: Cellar, equipment: Equipment) -> None:
        self._now = {place.id: cellar.place_kind(place.id) for place in cellar.places}
        self._equipment = equipment

    @property
    def names(self) -> tuple[str, ...]:
        """The ids of the cellar file as it is now."""
        return tuple(self._now)

    def at(self, at_ms: int) -> Callable[[str], str | None]:
        """Make what finds the kind at a time (UTC ms): keg, ..., cylinder or room; None for an id that no file has."""

        def place_kind(id: str) -> str | None:
            vessel = self._equipment.vessel(id, at_ms)
            return self._now.get(id) or (None if vessel is None else vessel.kind)

        return place_kind
