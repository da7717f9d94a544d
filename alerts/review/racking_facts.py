"""What a review of a racking is made from: the vessels, the gas, the rooms, and what is wished."""

from __future__ import annotations

__all__ = ["SEA_LEVEL", "RackingFacts", "RackingVessel", "RackingWish"]

from dataclasses import dataclass
from typing import Final, Literal

from alerts.gas.gases import ASSUMED_C, ATMOSPHERE_KPA
from alerts.gas.stock import GasStock, NewestNumber, RoomGas
from alerts.gas.vessel_walls import VESSEL_KINDS

# Where the air pressure is from, if neither a barometer nor the altitude says it.
SEA_LEVEL: Final = "taken as at sea level"


@dataclass(frozen=True, slots=True, kw_only=True)
class RackingVessel:
    """A vessel before a racking.

    kind, material: by the cellar file; stamp_kpa: gauge, None where it is not written; room: its id, "" if none; known:
    whether the journal says what it holds; wine_l, u_wine_l: the wine in it, 0 if empty, None if not known, with its
    standard uncertainty; lots: the wine's names; temperature_c: of the wine, else of the room.
    """

    id: str
    kind: str
    capacity_l: float
    material: Literal["steel", "glass", "wood", "plastic"] = "steel"
    stamp_kpa: float | None = None
    gas: str = ""
    room: str = ""
    known: bool = True
    wine_l: float | None = None
    u_wine_l: float | None = None
    lots: tuple[str, ...] = ()
    alcohol_percent_vol: float | None = None
    pressure_kpa: NewestNumber | None = None
    temperature_c: float | None = None
    out_of_use: bool = False

    @property
    def empty(self) -> bool:
        """Whether it is known to be empty."""
        return self.known and self.wine_l == 0.0

    @property
    def holds_wine(self) -> bool:
        """Whether it is known to hold some."""
        return self.known and bool(self.wine_l)

    @property
    def wall_kind(self) -> str:
        """The kind by which it may be put under pressure: glass, plastic and wood rule over what it is called."""
        return {"glass": "glass", "plastic": "plastic", "wood": "barrel"}.get(self.material, self.kind)

    @property
    def takes_pressure(self) -> bool:
        """Whether it is a kind of vessel that may be put under gas pressure at all, within its stamp."""
        return VESSEL_KINDS.get(self.wall_kind, False)


@dataclass(frozen=True, slots=True, kw_only=True)
class RackingFacts:
    """What is known before a racking, as of at_ms [UTC ms].

    source: where the wine lies; receiver: where it is to go, None where no vessel is named; empty: vessels that are
    known to be empty; cylinders: what is in each, by its id; lines: cylinder and vessel that a gas line joins; rooms:
    the gas in the rooms of the vessels; barometer_kpa: air pressure at the place, absolute, and where that is from.
    """

    at_ms: int
    source: RackingVessel
    receiver: RackingVessel | None = None
    empty: tuple[RackingVessel, ...] = ()
    cylinders: tuple[GasStock, ...] = ()
    lines: frozenset[tuple[str, str]] = frozenset()
    rooms: tuple[RoomGas, ...] = ()
    barometer_kpa: float = ATMOSPHERE_KPA
    barometer_from: str = SEA_LEVEL

    @property
    def temperature_c(self) -> float:
        """The wine's temperature, 15 °C where nobody measured it."""
        return ASSUMED_C if self.source.temperature_c is None else self.source.temperature_c

    @property
    def alcohol_percent_vol(self) -> float:
        """The wine's alcohol, 12 % vol where nobody measured it."""
        found = self.source.alcohol_percent_vol
        return 12.0 if found is None else found


@dataclass(frozen=True, slots=True, kw_only=True)
class RackingWish:
    """What is wished of a racking; None for what is usual.

    volume_l: how much is moved, by default all; pressure_kpa: gauge, to push with; lift_m: how far a push lifts the
    wine; head_start_m, head_end_m: between the two levels of a siphon; bore_mm, length_m: of the tube;
    target_o2_percent: how far to purge; blanket_kpa: gauge, what the wine is to lie under afterwards.
    """

    volume_l: float | None = None
    pressure_kpa: float | None = None
    lift_m: float | None = None
    head_start_m: float | None = None
    head_end_m: float | None = None
    bore_mm: float | None = None
    length_m: float | None = None
    target_o2_percent: float = 0.5
    blanket_kpa: float | None = None
