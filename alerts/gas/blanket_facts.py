"""What a judgement of the gas over a wine is made from, and what it says."""

from __future__ import annotations

__all__ = ["BlanketFacts", "BlanketJudgement", "BlanketPoint", "EpisodeCause", "WineBefore"]

from dataclasses import dataclass
from typing import Literal, NamedTuple

from alerts.gas.blanket import Filling
from alerts.gas.gases import ATMOSPHERE_KPA, BlanketGas

WineBefore = Literal["unknown", "from air", "under gas", "resting"]
"""How much of the blanket's gas the wine held when the episode began.

``from air``: racked or opened in air, so it holds the nitrogen of air; ``under gas``: pushed or racked under the
blanket's gas; ``resting``: it has rested under this blanket for weeks; ``unknown``: anything between.
"""

EpisodeCause = Literal["filled", "charged", "topped", "drawn", "vented", "opened", "probe changed"]
"""What begins a new episode: the amount of gas or of wine changed, or what measures it."""


class BlanketPoint(NamedTuple):
    """The readings of one moment, or their mean over a minute.

    at_ms: UTC ms; pressure_kpa: kPa gauge; temperature_c: °C of the wine or of the wall; barometer_kpa: measured air
    pressure at the place, kPa absolute, None without a barometer; room_c: °C of the room's air, None if it is not
    measured.
    """

    at_ms: int
    pressure_kpa: float
    temperature_c: float
    barometer_kpa: float | None = None
    room_c: float | None = None


@dataclass(frozen=True, slots=True)
class BlanketFacts:
    """What is known of a vessel, its wine and its instruments in one episode.

    filling: capacity and wine [L at 20 °C] as the owner believes them; u_wine_l: standard uncertainty of the headspace
    that follows, L; mounted: where the temperature is taken, in the wine or at the wall; floor_kpa: the air floor, kPa
    gauge; station_kpa: mean air pressure at the place, kPa absolute, where no barometer says it; weather_moves: whether
    weather moves the pressure reading unseen (a vented gauge without a barometer; an absolute sensor is not moved, and
    neither is a sealed one).
    """

    filling: Filling
    gas: BlanketGas
    u_wine_l: float = 0.2
    mounted: Literal["wine", "wall"] = "wine"
    floor_kpa: float = 5.0
    station_kpa: float = ATMOSPHERE_KPA
    weather_moves: bool = True
    reference_c: float = 15.0
    wine_before: WineBefore = "unknown"
    supply_open: bool = False


@dataclass(frozen=True, slots=True)
class BlanketJudgement:
    """What can be said of the gas over a wine at one moment.

    finding: a word of ``ingest.judgement.FINDINGS``; leak_certain: nothing but a leak explains what was read; raw_kpa:
    gauge pressure as read; compensated_kpa: gauge pressure that the gas would have at the reference temperature and
    at the mean air pressure, with its standard uncertainty; rate_ml_min: gas lost, mL/min at 0 °C and 101.325 kPa
    (negative: gained), with its standard uncertainty; rate_kpa_day: the same as kPa a day; hours_low, hours_high: hours
    until the gauge falls below the air floor, None where no fall to it is foreseen; hours_cold: the same from the next
    cold alone, without a leak; headspace_l: L at 20 °C, with its standard uncertainty; since_ms: since when the finding
    holds, None where that is not known; last_sound_ms: when it was last sound, None if never; warnings: sentences for
    people. A number is None where nothing can be said.
    """

    at_ms: int
    finding: str
    leak_certain: bool = False
    raw_kpa: float | None = None
    compensated_kpa: float | None = None
    u_compensated_kpa: float | None = None
    rate_ml_min: float | None = None
    u_rate_ml_min: float | None = None
    rate_kpa_day: float | None = None
    hours_low: float | None = None
    hours_high: float | None = None
    hours_cold: float | None = None
    headspace_l: float | None = None
    u_headspace_l: float | None = None
    since_ms: int | None = None
    last_sound_ms: int | None = None
    warnings: tuple[str, ...] = ()
