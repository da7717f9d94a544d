"""A vessel of the simulated cellar: wine below, gas above, a wall around both."""

from __future__ import annotations

__all__ = ["Airlock", "SimulatedVessel"]

from dataclasses import dataclass, field
from math import exp

from ingest.simulation.physics import (
    BORE_M2,
    GAS_CONSTANT,
    STEEL_EXPANSION,
    ZERO_C,
    nitrogen_in_wine,
    vapour_pressure_kpa,
    wine_volume_ratio,
)


@dataclass(frozen=True, slots=True)
class Airlock:
    """A water seal that lets bubbles through, outwards or inwards.

    opens_kpa: gauge pressure at which a bubble starts, by the depth of the water: 25 mm are 0.25 kPa; reseats_kpa:
    gauge pressure at which it stops. Depth: common practice, no source.
    """

    opens_kpa: float = 0.25
    reseats_kpa: float = 0.15


@dataclass(slots=True)
class SimulatedVessel:
    """One vessel and what is in it; ``step`` moves it through time.

    capacity_l: volume of the vessel at 20 °C, L; wine_20c_l: volume of its wine at 20 °C, L; wall_expansion: 1/K by
    volume; lag_s: time constant of the wine towards the room (6 h for a full 19 L keg in still air: 18.6 kg x 4.2
    kJ/(kg K) over 8 W/(m² K) x 0.45 m², the coefficient being common practice); surface_m_per_s: mass transfer of
    nitrogen at the wine's surface (with 1e-6, 2 L of headspace settle in 5 days; 0 turns it off); release_mol_per_s:
    gas that young wine gives off; leak: conductance, mol/(s kPa); gas_share_of_room: how far the headspace gas is
    from the wine's temperature towards the room's (the gas follows the room in minutes; a third is an assumption of the
    simulation).

    Amounts in mol: head_mol in the headspace, dissolved_mol in the wine, charged_mol put in by hand, released_mol
    given off by the wine, escaped_mol lost to the room (less what came in from it). head + dissolved + escaped -
    charged - released stays as it was at the start.
    """

    name: str
    capacity_l: float
    wine_20c_l: float
    wine_c: float
    wall_expansion: float = STEEL_EXPANSION
    lag_s: float = 6 * 3600.0
    surface_m_per_s: float = 3e-7
    release_mol_per_s: float = 0.0
    leak: float = 0.0
    airlock: Airlock | None = None
    gas_share_of_room: float = 0.3
    gas_c: float = field(init=False)
    station_kpa: float = field(init=False, default=101.325)
    head_mol: float = field(init=False, default=0.0)
    dissolved_mol: float = field(init=False, default=0.0)
    charged_mol: float = field(init=False, default=0.0)
    released_mol: float = field(init=False, default=0.0)
    escaped_mol: float = field(init=False, default=0.0)

    def __post_init__(self) -> None:
        self.gas_c = self.wine_c

    @property
    def wine_l(self) -> float:
        """Volume of the wine now, L: its volume at 20 °C times rho(20)/rho(t)."""
        return self.wine_20c_l * wine_volume_ratio(self.wine_c)

    @property
    def headspace_l(self) -> float:
        """Volume of the gas now, L: the vessel's less the wine's. ValueError if the wine fills the vessel."""
        space = self.capacity_l * (1.0 + self.wall_expansion * (self.wine_c - 20.0)) - self.wine_l
        if space <= 0.0:
            raise ValueError(
                f"{self.name}: {self.wine_l:.3f} L of wine fill it at {self.wine_c:.1f} °C; leave it a headspace"
            )
        return space

    @property
    def pressure_kpa(self) -> float:
        """Gauge pressure, kPa: dry gas by n R T/V (nitrogen is ideal within 0.1 % here), vapour, less the air's."""
        dry = self.head_mol * GAS_CONSTANT * (self.gas_c + ZERO_C) / self.headspace_l
        return dry + vapour_pressure_kpa(self.wine_c) - self.station_kpa

    def fill(self, gauge_kpa: float, station_kpa: float, *, saturation: float) -> None:
        """Begin at a gauge pressure [kPa]. saturation: share (0 to 1) of the nitrogen that the wine can hold then."""
        self.station_kpa = station_kpa
        self.head_mol = self._moles_at(gauge_kpa)
        dry = gauge_kpa + station_kpa - vapour_pressure_kpa(self.wine_c)
        self.dissolved_mol = saturation * nitrogen_in_wine(self.wine_c) * dry * self.wine_l

    def moles_to_reach(self, gauge_kpa: float) -> float:
        """Compute the gas [mol] that brings the headspace to a gauge pressure [kPa]; negative if it is higher."""
        return self._moles_at(gauge_kpa) - self.head_mol

    def charge(self, moles: float) -> None:
        """Put gas in by hand, in mol."""
        self.head_mol += moles
        self.charged_mol += moles

    def draw(self, litres: float) -> None:
        """Take out wine [L at its temperature] with the gas dissolved in it. ValueError if there is less."""
        wine_l = self.wine_l
        if not 0.0 <= litres < wine_l:
            raise ValueError(f"{self.name}: {litres:g} L to draw from {wine_l:.2f} L of wine; draw less")
        share = litres / wine_l
        self.wine_20c_l *= 1.0 - share
        gone = self.dissolved_mol * share
        self.dissolved_mol -= gone
        self.escaped_mol += gone

    def step(self, elapsed_s: float, room_c: float, station_kpa: float) -> None:
        """Move by a time, with the room steady.

        elapsed_s: s, any length; room_c: °C; station_kpa: kPa absolute. Temperature, dissolving and leaking each
        follow their own exponential for the step (first-order lag; dn/dt = k A (H p - c); dn/dt = -G p), one after the
        other. So the amount of gas is kept apart from rounding, and a large leak is numerically stable.
        """
        self.station_kpa = station_kpa
        self.wine_c = wine_c = room_c + (self.wine_c - room_c) * exp(-elapsed_s / self.lag_s)
        self.gas_c = gas_c = wine_c + self.gas_share_of_room * (room_c - wine_c)
        wine_l = self.wine_20c_l * wine_volume_ratio(wine_c)
        space = self.capacity_l * (1.0 + self.wall_expansion * (wine_c - 20.0)) - wine_l
        if space <= 0.0:
            raise ValueError(f"{self.name}: {wine_l:.3f} L of wine fill it at {wine_c:.1f} °C; leave it a headspace")
        kpa_per_mol = GAS_CONSTANT * (gas_c + ZERO_C) / space
        if self.release_mol_per_s:
            self.head_mol += self.release_mol_per_s * elapsed_s
            self.released_mol += self.release_mol_per_s * elapsed_s
        if self.surface_m_per_s:
            self._dissolve(elapsed_s, nitrogen_in_wine(wine_c) * kpa_per_mol, wine_l)
        if self.leak or self.airlock:
            rest_mol = (station_kpa - vapour_pressure_kpa(wine_c)) / kpa_per_mol
            self._escape(elapsed_s, rest_mol, kpa_per_mol)

    def _dissolve(self, elapsed_s: float, l_to_mol: float, wine_l: float) -> None:
        """Exchange gas at the surface. l_to_mol: mol/L that the wine would hold per mol of gas above it."""
        both = self.head_mol + self.dissolved_mol
        exchange_l_per_s = self.surface_m_per_s * BORE_M2 * 1000.0
        pull = l_to_mol + 1.0 / wine_l
        end = both * l_to_mol / pull
        self.dissolved_mol = end + (self.dissolved_mol - end) * exp(-exchange_l_per_s * pull * elapsed_s)
        self.head_mol = both - self.dissolved_mol

    def _escape(self, elapsed_s: float, rest_mol: float, kpa_per_mol: float) -> None:
        """Let gas out, or air in. rest_mol: gas at which the headspace has the pressure of the room."""
        before = self.head_mol
        if self.leak:
            self.head_mol = rest_mol + (self.head_mol - rest_mol) * exp(-self.leak * kpa_per_mol * elapsed_s)
        if self.airlock:
            gauge = (self.head_mol - rest_mol) * kpa_per_mol
            if gauge > self.airlock.opens_kpa:
                self.head_mol = rest_mol + self.airlock.reseats_kpa / kpa_per_mol
            elif gauge < -self.airlock.opens_kpa:
                self.head_mol = rest_mol - self.airlock.reseats_kpa / kpa_per_mol
        self.escaped_mol += before - self.head_mol

    def _moles_at(self, gauge_kpa: float) -> float:
        dry = gauge_kpa + self.station_kpa - vapour_pressure_kpa(self.wine_c)
        return dry * self.headspace_l / (GAS_CONSTANT * (self.gas_c + ZERO_C))
