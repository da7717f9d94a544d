"""What a review is made from beside gas and rooms: the wine in a vessel, and what was read, seen and done to it."""

from __future__ import annotations

__all__ = ["BlanketPast", "BottlingWish", "HourMeans", "PressureSpans", "VesselFacts", "WineSeen"]

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import tzinfo
from typing import Final, Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from alerts.blanket.details import BlanketShown
from alerts.gas.blanket import Filling
from alerts.gas.gases import ATMOSPHERE_KPA
from alerts.so2.vessel_dose import StockSolution
from alerts.so2.vessel_so2 import VesselSo2
from alerts.so2.vessel_total import VesselTotal
from alerts.view.status import AlarmStatus
from alerts.watch.due import DueLimit
from ingest.journal.contents import Contents
from ingest.journal.open_rackings import OpenRacking
from ingest.judgement import Judgement

Integers = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

# Of a bottle whose size nobody gives [L].
_USUAL_BOTTLE_L: Final = 0.75


class HourMeans(NamedTuple):
    """Means of hours of one probe, in order; from_ms: where each begins [UTC ms]; mounted: wine, wall or air."""

    probe: str
    mounted: str
    from_ms: Integers
    mean: Floats


class PressureSpans(NamedTuple):
    """A gauge pressure by hours, and by minutes where it crosses a floor: begin and length of each span [UTC ms, ms],
    and what it went from and to [kPa].
    """

    from_ms: Integers
    span_ms: Integers
    low: Floats
    high: Floats
    mean: Floats


class WineSeen(NamedTuple):
    """What somebody saw of the wine at a time [UTC ms]; None or "": nothing was said of it."""

    at_ms: int
    clarity: str | None = None
    turbidity_ntu: float | None = None
    lees_mm: float | None = None
    smell: str = ""
    film: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BlanketPast:
    """The gas over a wine from from_ms to to_ms [UTC ms].

    pressure: None without a probe; by_hand: what people read at the gauge, each with its time [UTC ms] and kPa, oldest
    first; temperature: of the wine, the wall or the air; judged: the compensated pressure of
    each hour with its finding; rates: of gas lost [mL/min at 0 °C and 101.325 kPa], of the same hours; touched_ms: when
    somebody changed gas or volume; filling: as it is now; station_kpa: air pressure at the place; air_floor_kpa,
    care_floor_kpa: gauge, None where the vessel has none.
    """

    from_ms: int
    to_ms: int
    pressure: PressureSpans | None = None
    by_hand: tuple[tuple[int, float], ...] = ()
    temperature: HourMeans | None = None
    judged: tuple[Judgement, ...] = ()
    rates: tuple[Judgement, ...] = ()
    touched_ms: tuple[int, ...] = ()
    filling: Filling | None = None
    station_kpa: float = ATMOSPHERE_KPA
    air_floor_kpa: float | None = None
    care_floor_kpa: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BottlingWish:
    """What is wished of a bottling. bottle_l: sizes of the bottles [L]; o2_mg_l: oxygen that bottling brings to each
    litre of wine, None for what is usual.
    """

    bottle_l: tuple[float, ...] = (_USUAL_BOTTLE_L,)
    o2_mg_l: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class VesselFacts:
    """What is known of a vessel and its wine at a time [UTC ms].

    under_gas: whether a blanket is kept in it under pressure; due: work on its wine that is or will be due; begun:
    rackings that nobody finished; seen: inspections since the wine came, the oldest first; disturbed: what was last
    done that stirs the wine, with its time; temperature: the hours of the last weeks; gas: since the last racking;
    shown: how the gas is judged now; why_no_so2: why nothing is estimated; salt, stock: what was dosed with last;
    alarms: open at the vessel, its wine, its room and the cylinders, with alarm_lines; co2_g_l, sugar_g_l: what was
    measured last, with the time.
    """

    vessel: str
    kind: str
    at_ms: int
    zone: tzinfo
    contents: Contents
    units: str = "metric"
    material: Literal["steel", "glass", "wood", "plastic"] = "steel"
    gas_name: str = ""
    under_gas: bool = False
    lot: str = ""
    malolactic: str | None = None
    due: tuple[DueLimit, ...] = ()
    begun: tuple[OpenRacking, ...] = ()
    seen: tuple[WineSeen, ...] = ()
    disturbed: tuple[str, int] | None = None
    temperature: HourMeans | None = None
    gas: BlanketPast | None = None
    shown: BlanketShown | None = None
    so2: VesselSo2 | None = None
    total: VesselTotal | None = None
    why_no_so2: str = ""
    salt: str = "potassium"
    stock: StockSolution | None = None
    alarms: tuple[AlarmStatus, ...] = ()
    alarm_lines: Mapping[str, str] = field(default_factory=dict)
    co2_g_l: tuple[float, int] | None = None
    sugar_g_l: tuple[float, int] | None = None

    @property
    def since_ms(self) -> int | None:
        """When the wine was racked into the vessel, else when it came in [UTC ms]; None where nobody wrote that."""
        racked, since = self.contents.last_racking_ms, self.contents.since_ms
        return since if racked is None else max(racked, since or racked)
