"""What ``/api/cellar``, ``/api/vessels/{id}`` and ``/api/events`` give, as the OpenAPI document describes it.

The answers themselves are made by ``alerts.view.places.cellar_json``, as those of ``leeside now --json``; a test holds
the two together. Times are RFC 3339 text in UTC. A key that ends in a unit is in that unit; null: not known, or not
there.
"""

from __future__ import annotations

__all__ = ["CardAnswer", "CellarAnswer", "CellarEvent"]

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class _AnswerModel(BaseModel):
    model_config = ConfigDict(extra="forbid")


class LotPart(_AnswerModel):
    """A lot and its part of the wine, of 1; lot null: wine of no lot of this cellar."""

    lot: str | None
    share: float | None


class So2Found(_AnswerModel):
    """SO2 that was titrated, or worked out from what was."""

    mg_l: float
    u_mg_l: float | None = Field(description="standard uncertainty")
    at: str
    worked_out: bool


class ContentsAnswer(_AnswerModel):
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


class BegunRacking(_AnswerModel):
    """A racking that was begun and not finished."""

    entry: int
    at: str
    who: str
    from_: list[str] = Field(alias="from")
    vessels: list[str]
    low_pressure_quiet_until: str


class ReadingAnswer(_AnswerModel):
    """A probe's newest reading; value, at and quality are null while there is none."""

    probe: str
    quantity: str
    value: float | None = Field(description="in the unit beside it")
    unit: str
    at: str | None
    quality: Literal["good", "uncertain", "bad"] | None
    reason: str = Field(description="why it is not good")
    silent: bool = Field(description="nothing came for longer than the probe's no-data time")


class FreeTitration(_AnswerModel):
    """The last titration of free SO2; upper_bound: the wine holds at most so much."""

    at: str
    mg_l: float
    upper_bound: bool


class LowSo2Limit(_AnswerModel):
    """A low limit on the SO2 of the wine; limit: its key."""

    quantity: str
    low_mg_l: float
    limit: str | None


class CrossingDays(_AnswerModel):
    """On which day the limit is reached: the median, and the ends of the 80 % interval."""

    median: str | None
    low_80: str | None
    high_80: str | None


class LearnedOfWine(_AnswerModel):
    """What this wine's own titrations have shown."""

    loss_mg_l_per_30_days: float | None
    u_loss_mg_l_per_30_days: float | None
    yield_: float | None = Field(alias="yield", description="the part of an addition that stays free")
    u_yield: float | None


class So2Answer(_AnswerModel):
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


class TotalTitration(_AnswerModel):
    """The last titration of total SO2."""

    at: str
    mg_l: float
    u_mg_l: float | None


class LegalAnswer(_AnswerModel):
    """The legal limit on total SO2 by the site's rule set; no legal advice."""

    rules: str
    as_of: str
    limit_mg_l: float
    wine: str
    assumed: list[str]
    above: bool | None
    told_apart: bool | None
    must_declare: bool | None


class TotalSo2Answer(_AnswerModel):
    """Total SO2, titrated or worked out."""

    mg_l: float | None
    u_mg_l: float | None
    at_least_mg_l: float
    worked_out: bool
    last_titration: TotalTitration | None
    since_then: list[str]
    legal: LegalAnswer | None
    remarks: list[str]


class BlanketAnswer(_AnswerModel):
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


class SupplyAnswer(_AnswerModel):
    """Whether gas can come into the vessel from a cylinder."""

    open: bool
    since: str | None
    known: str
    gas_line: str | None
    cylinder: str | None


class CylinderAnswer(_AnswerModel):
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


class PlaceAnswer(_AnswerModel):
    """A vessel, a gas cylinder or a room."""

    id: str
    kind: str
    name: str
    holds: ContentsAnswer | None
    rackings_not_finished: list[BegunRacking]
    readings: list[ReadingAnswer]
    so2: So2Answer | None
    total_so2: TotalSo2Answer | None
    blanket: BlanketAnswer | None
    gas_supply: SupplyAnswer | None
    cylinder: CylinderAnswer | None


class Chattering(_AnswerModel):
    """How often an alarm was raised, and since when."""

    raised: int
    since: str


class AlarmAnswer(_AnswerModel):
    """An open alarm; value, last_value and setpoint are in the unit beside them."""

    alarm: str
    limit: str
    state: str
    at: str
    quantity: str | None
    kind: str | None
    priority: Literal["low", "medium", "high"] | None
    value: float | None
    last_value: float | None
    setpoint: float | None
    unit: str
    since: str | None
    age_s: int | None
    finding: str | None
    finding_since: str | None
    acknowledged_by: str | None
    chattering: Chattering | None
    consequence: str | None
    action: str | None


class Shelved(_AnswerModel):
    """A limit that a person has muted for a time."""

    since: str
    until: str
    who: str
    why: str


class TakenOut(_AnswerModel):
    """A limit that a person has taken out of service."""

    since: str
    who: str
    why: str


class MutedAnswer(_AnswerModel):
    """A limit that a person has muted; active: its condition is true."""

    limit: str
    state: str
    at: str
    quantity: str | None
    kind: str | None
    priority: Literal["low", "medium", "high"] | None
    alarm: str | None
    active: bool
    since: str | None
    shelved: Shelved | None
    out_of_service: TakenOut | None
    suppressed_because: str | None


class RejectAnswer(_AnswerModel):
    """Samples that could not be read, counted by source, address, probe and reason."""

    source: str
    address: str
    probe: str
    reason: str
    times: int
    first_ms: int
    last_ms: int
    example: str
    first: str
    last: str


class DaemonAnswer(_AnswerModel):
    """Whether a daemon responds, and its newest pulse with what it counts."""

    role: str
    lives: bool
    last_sign: str | None
    counters: dict[str, object] | None


class MailAnswer(_AnswerModel):
    """Messages that do not get out."""

    not_sent: int
    since: str
    tries: int
    last_error: str
    channel: str


class RingAnswer(_AnswerModel):
    """A test message that nobody has confirmed."""

    recipient: str
    written: str
    sent: bool
    last_error: str | None


class CellarAnswer(_AnswerModel):
    """The whole cellar, as ``leeside now --json`` gives it."""

    site: str
    at: str
    all_well: bool = Field(description="no alarm, nothing silent, the store takes writes and messages get out")
    store_trouble: str | None
    places: list[PlaceAnswer]
    alarms: list[AlarmAnswer]
    muted: list[MutedAnswer]
    rejects: list[RejectAnswer]
    daemons: list[DaemonAnswer]
    mail: MailAnswer | None
    unconfirmed_rings: list[RingAnswer] = Field(description="test messages that nobody has confirmed")
    away: dict[str, object] | None = Field(description="when the owner is away, and who gets the messages")
    cellar_file_is_newer: bool


class CardAnswer(_AnswerModel):
    """A vessel's card, as ``leeside now VESSEL --json`` gives it."""

    site: str
    at: str
    id: str
    kind: str
    name: str
    in_the_future: bool
    holds: ContentsAnswer
    rackings_not_finished: list[BegunRacking]
    readings: list[ReadingAnswer]
    so2: So2Answer | None
    total_so2: TotalSo2Answer | None
    blanket: BlanketAnswer | None
    gas_supply: SupplyAnswer | None
    why_no_so2: str | None


class CellarEvent(_AnswerModel):
    """The data of an event ``cellar``: which places have changed since the event before, all in the first one; the
    open alarms; trouble: why the store cannot be read, null where it can. Of an event ``beat`` there is only ``at``.
    """

    at: str
    changed: list[str]
    alarms: list[str] = Field(description="ids of the open alarms, those that stand first")
    all_well: bool
    trouble: str | None
