"""The hidden truth of one keg in a trial: what it holds, what happens to it, and what is measured on it."""

from __future__ import annotations

__all__ = ["Charge", "Happening", "KegAir", "KegProbes", "Leak", "Moved", "TrialKeg", "Vent", "WineDrawn"]

from dataclasses import dataclass, field
from typing import Literal


@dataclass(frozen=True, slots=True)
class WineDrawn:
    """Wine drawn by hand; recharge_below_kpa: if the gauge is below that a quarter of an hour later, the keg is charged
    again."""

    at_s: float
    litres: float
    within_s: float = 30.0
    recharge_below_kpa: float | None = None


@dataclass(frozen=True, slots=True)
class Vent:
    """Gas let out by hand: the gauge falls by so much within a step, but not below 0 [kPa]."""

    at_s: float
    kpa: float


@dataclass(frozen=True, slots=True)
class Charge:
    """Gas put in by hand up to a gauge pressure, if the gauge is below ``if_below_kpa`` [kPa]."""

    at_s: float
    to_kpa: float
    if_below_kpa: float = 1000.0


@dataclass(frozen=True, slots=True)
class Moved:
    """The keg carried: for so long its surface is stirred to this mass-transfer coefficient, and its wine mixed."""

    at_s: float
    within_s: float = 240.0
    surface_m_per_s: float = 5e-5


Happening = WineDrawn | Vent | Charge | Moved


@dataclass(frozen=True, slots=True)
class Leak:
    """A leak from ``onset_s`` on, by the law of its path, its size given in one of two ways.

    law: ``viscous`` (a long narrow path: n' = -k (P² - P_air²)), ``orifice`` (a hole: choked or subsonic flow) or
    ``linear`` (n' = -k (P - P_air)). floor_in_h: hours after which it would reach ``floor_kpa`` gauge at a steady
    temperature and with nothing dissolving. loss_kpa_h: its first loss, kPa an hour.
    """

    onset_s: float
    law: Literal["viscous", "orifice", "linear"] = "viscous"
    floor_in_h: float | None = None
    loss_kpa_h: float | None = None
    floor_kpa: float = 5.0


@dataclass(frozen=True, slots=True)
class KegAir:
    """The air around a keg.

    swing_k: from night to day, peak to peak, K; drift_k: sd of the slow drift of temperature, K, time constant 3 days;
    weather_kpa, weather_s: sd and time constant of air pressure, kPa and s; weather_lag_s: smooths it (0: none);
    compressor_k, compressor_s: saw-tooth of a cooler, peak to peak K, period s; doors: (when s, how much K, time
    constant s) of the air that a door lets in, which then fades; seed: of drift, weather and compressor, None for the
    keg's own: kegs with the same air and seed stand in one room.
    """

    mean_c: float = 13.0
    swing_k: float = 0.0
    warmest_h: float = 15.0
    drift_k: float = 0.0
    station_kpa: float = 101.325
    weather_kpa: float = 0.0
    weather_s: float = 2 * 86_400.0
    weather_lag_s: float = 0.0
    compressor_k: float = 0.0
    compressor_s: float = 1500.0
    doors: tuple[tuple[float, float, float], ...] = ()
    seed: int | None = None


@dataclass(frozen=True, slots=True)
class KegProbes:
    """What is measured, and how well.

    mounted: ``wine``, or ``wall``, which is ``wall_share`` of the way from the wine's temperature to the room's. The
    gauge is vented: it reads against the air's pressure. pressure_zero_kpa: its error at 20 °C; thermal_zero_kpa_k: how
    that moves with the sensor's temperature, which is halfway between gas and room; drift_kpa_day. Each noise is an sd;
    each step a resolution (0: none). gaps: (begin, end) in s, in which nothing is read.
    """

    mounted: Literal["wine", "wall"] = "wine"
    wall_share: float = 0.2
    pressure_noise_kpa: float = 0.0
    pressure_step_kpa: float = 0.0
    pressure_zero_kpa: float = 0.0
    thermal_zero_kpa_k: float = 0.0
    drift_kpa_day: float = 0.0
    temperature_noise_k: float = 0.0
    temperature_step_k: float = 0.0
    temperature_zero_k: float = 0.0
    barometer: bool = True
    barometer_noise_kpa: float = 0.0
    barometer_step_kpa: float = 0.0
    barometer_zero_kpa: float = 0.0
    room: bool = True
    room_noise_k: float = 0.0
    room_step_k: float = 0.0
    room_zero_k: float = 0.0
    gaps: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class TrialKeg:
    """One steel keg of 12 % vol wine and everything that is true of it.

    seed: of its noise and weather; capacity_l, wine_l: L at 20 °C, true; believed_wine_l: what its owner entered; gas:
    ``n2``, ``ar`` or ``co2``; start_kpa: gauge at the charge. wine_holds_kpa: partial pressures of nitrogen, argon,
    oxygen and carbon dioxide (0 for those not given) with which the wine was at equilibrium before the charge.
    charged_before_s: how long before the first reading it was charged. surface_m_per_s: mass-transfer coefficient at
    the wine's surface; None: the wine stands still and gas
    diffuses into it. solubility_factor: of wine over water. oxygen_eaten_s: time constant at which the wine uses up
    oxygen (None: it does not). wine_lag_s: time constant of the wine towards the room; gas_lag_s: of the gas towards
    the place between wine and room that ``gas_share`` names. made_mol_per_s: gas that a wine which works again gives
    off into the headspace, taken as the blanket's own.
    """

    seed: int
    capacity_l: float = 19.0
    wine_l: float = 17.0
    believed_wine_l: float = 17.0
    gas: Literal["n2", "ar", "co2"] = "n2"
    start_kpa: float = 55.0
    wine_holds_kpa: tuple[float, ...] = (0.0, 0.0, 0.0)
    charged_before_s: float = 0.0
    surface_m_per_s: float | None = 1e-6
    solubility_factor: float = 0.90
    diffusion_factor: float = 1.0
    oxygen_eaten_s: float | None = None
    wine_lag_s: float = 6 * 3600.0
    gas_lag_s: float = 300.0
    gas_share: float = 0.3
    air: KegAir = field(default_factory=KegAir)
    probes: KegProbes = field(default_factory=KegProbes)
    made_mol_per_s: float = 0.0
    happenings: tuple[Happening, ...] = ()
    leak: Leak | None = None

    @property
    def headspace_l(self) -> float:
        """The true headspace at 20 °C [L]."""
        return self.capacity_l - self.wine_l
