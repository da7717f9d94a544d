"""What ``/api/cellar`` and ``/api/vessels/{id}`` give of a place: contents, readings, SO2, gas, a cylinder.

``cellar_answers`` says what the answers have in common.
"""

from __future__ import annotations

__all__ = [
    "AnswerModel",
    "BegunRacking",
    "BlanketAnswer",
    "ContentsAnswer",
    "CylinderAnswer",
    "ReadingAnswer",
    "So2Answer",
    "SupplyAnswer",
    "TotalSo2Answer",
]

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class AnswerModel(BaseModel):
    """An answer with no other keys than those that it names."""

    model_config = ConfigDict(extra="forbid")


class LotPart(AnswerModel):
    """A lot and its part of the wine, of 1; lot null: wine of no lot of this cellar."""

    lot: str | None
    share: float | None


class So2Found(AnswerModel):
    """SO2 that was titrated, or worked out from what was."""

    mg_l: float
    u_mg_l: float | None = Field(description="standard uncertainty")
    at: str
    worked_out: bool


class ContentsAnswer(AnswerModel):
    """What a vessel holds by the journal."""

    known: bool = Field(description="false while the journal has never said so")
    empty: bool
    out_of_use: bool
    lots: list[LotPart]
    volume_l: float | None
    u_volume_l: float | None
    headspace_l: float | None
    since: str | None
    last_racking: str | None
    last_topping: str | None
    style: str | None
    alcohol_percent_vol: float | None
    sugar_g_l: float | None
    free_so2: So2Found | None
    total_so2: So2Found | None
    past_free_so2: So2Found | None = Field(description="before a dose or blend whose effect is not known")
    past_total_so2: So2Found | None


class BegunRacking(AnswerModel):
    """A racking that was begun and not finished."""

    entry: int
    at: str
    who: str
    from_: list[str] = Field(alias="from")
    vessels: list[str]
    low_pressure_quiet_until: str


class ReadingAnswer(AnswerModel):
    """A probe's newest reading; value, at and quality are null while there is none."""

    probe: str
    quantity: str
    value: float | None = Field(description="in the unit beside it")
    unit: str
    at: str | None
    quality: Literal["good", "uncertain", "bad"] | None
    reason: str = Field(description="why it is not good")
    silent: bool = Field(description="nothing came for longer than the probe's no-data time")


class FreeTitration(AnswerModel):
    """The last titration of free SO2; upper_bound: the wine holds at most so much."""

    at: str
    mg_l: float
    upper_bound: bool


class LowSo2Limit(AnswerModel):
    """A low limit on the SO2 of the wine; limit: its key."""

    quantity: str
    low_mg_l: float
    limit: str | None


class CrossingDays(AnswerModel):
    """On which day the limit is reached: the median, and the ends of the 80 % interval."""

    median: str | None
    low_80: str | None
    high_80: str | None


class LearnedOfWine(AnswerModel):
    """What this wine's own titrations have shown."""

    loss_mg_l_per_30_days: float | None
    u_loss_mg_l_per_30_days: float | None
    yield_: float | None = Field(alias="yield", description="the part of an addition that stays free")
    u_yield: float | None


class So2Answer(AnswerModel):
    """The estimate of free and molecular SO2, with its 80 % intervals."""

    at: str
    free_mg_l: float | None
    u_free_mg_l: float | None
    free_low_80_mg_l: float | None
    free_high_80_mg_l: float | None
    molecular_mg_l: float | None
    molecular_low_80_mg_l: float | None
    molecular_high_80_mg_l: float | None
    model: str
    pk: float
    ph: float | None
    u_ph: float | None
    ph_at: str | None
    ph_probe: str | None = Field(description="null for a pH that a person measured")
    temperature_c: float | None
    last_titration: FreeTitration | None
    since_then: list[str]
    limits: list[LowSo2Limit]
    below_limit_on: CrossingDays
    titrate_by: str | None
    learned: LearnedOfWine
    remarks: list[str]


class TotalTitration(AnswerModel):
    """The last titration of total SO2."""

    at: str
    mg_l: float
    u_mg_l: float | None


class LegalAnswer(AnswerModel):
    """The legal limit on total SO2 by the site's rule set; no legal advice."""

    rules: str
    as_of: str
    limit_mg_l: float
    wine: str
    assumed: list[str]
    above: bool | None
    told_apart: bool | None
    must_declare: bool | None


class TotalSo2Answer(AnswerModel):
    """Total SO2, titrated or worked out."""

    mg_l: float | None
    u_mg_l: float | None
    at_least_mg_l: float
    worked_out: bool
    last_titration: TotalTitration | None
    since_then: list[str]
    legal: LegalAnswer | None
    remarks: list[str]


class BlanketAnswer(AnswerModel):
    """The gas over the wine as it was judged last; rates at 0 °C and 101.325 kPa, pressures gauge."""

    at: str
    finding: str
    leak_certain: bool
    gas: str | None
    raw_kpa: float | None
    compensated_kpa: float | None
    u_compensated_kpa: float | None
    reference_c: float | None
    floor_kpa: float | None
    rate_ml_min: float | None = Field(description="gas lost; negative: gained")
    u_rate_ml_min: float | None
    rate_kpa_day: float | None
    hours_to_floor_low: float | None
    hours_to_floor_high: float | None
    hours_to_floor_cold: float | None
    headspace_l: float | None
    u_headspace_l: float | None
    since: str | None
    last_sound: str | None
    supply_open: bool
    without_blanket: bool
    warnings: list[str]


class SupplyAnswer(AnswerModel):
    """Whether gas can come into the vessel from a cylinder."""

    open: bool
    since: str | None
    known: str
    gas_line: str | None
    cylinder: str | None


class CylinderAnswer(AnswerModel):
    """What a gas cylinder holds and how long that lasts; litres at 15 °C and 101.325 kPa."""

    gas: str
    known_by: str | None
    read_by_hand: bool
    read_at: str | None
    pressure_kpa: float | None
    temperature_c: float | None
    temperature_of: str | None
    content_l: float | None
    u_content_l: float | None
    content_kg: float | None
    use_seen: bool
    use_l_day: float | None
    use_low_l_day: float | None
    use_high_l_day: float | None
    use_over_days: float | None
    even_loss_l_day: float | None
    even_loss_hours: float | None
    days_left_low: float | None
    days_left_high: float | None
    refilled: str | None
    supply_open_at: list[str]
    remarks: list[str]
