"""What ``/api/cellar``, ``/api/vessels/{id}`` and ``/api/events`` give, as the OpenAPI document describes it.

The answers themselves are made by ``alerts.view.places.cellar_json``, as those of ``leeside now --json``; a test holds
the two together. Times are RFC 3339 text in UTC. A key that ends in a unit is in that unit; null: not known, or not
there.
"""

from __future__ import annotations

__all__ = ["AlarmAnswer", "CardAnswer", "CellarAnswer", "CellarEvent", "MutedAnswer"]

from typing import Literal

from pydantic import Field

from alerts.page.cellar.place_answers import (
    AnswerModel,
    BegunRacking,
    BlanketAnswer,
    ContentsAnswer,
    CylinderAnswer,
    ReadingAnswer,
    So2Answer,
    SupplyAnswer,
    TotalSo2Answer,
)


class PlaceAnswer(AnswerModel):
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


class Chattering(AnswerModel):
    """How often an alarm was raised, and since when."""

    raised: int
    since: str


class AlarmAnswer(AnswerModel):
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


class Shelved(AnswerModel):
    """A limit that a person has muted for a time."""

    since: str
    until: str
    who: str
    why: str


class TakenOut(AnswerModel):
    """A limit that a person has taken out of service."""

    since: str
    who: str
    why: str


class MutedAnswer(AnswerModel):
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


class RejectAnswer(AnswerModel):
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


class DaemonAnswer(AnswerModel):
    """Whether a daemon responds, and its newest pulse with what it counts."""

    role: str
    lives: bool
    last_sign: str | None
    counters: dict[str, object] | None


class MailAnswer(AnswerModel):
    """Messages that do not get out."""

    not_sent: int
    since: str
    tries: int
    last_error: str
    channel: str


class RingAnswer(AnswerModel):
    """A test message that nobody has confirmed."""

    recipient: str
    written: str
    sent: bool
    last_error: str | None


class CellarAnswer(AnswerModel):
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


class CardAnswer(AnswerModel):
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


class CellarEvent(AnswerModel):
    """The data of an event ``cellar``: which places have changed since the event before, all in the first one; the
    open alarms; trouble: why the store cannot be read, null where it can. Of an event ``beat`` there is only ``at``.
    """

    at: str
    changed: list[str]
    alarms: list[str] = Field(description="ids of the open alarms, those that stand first")
    all_well: bool
    trouble: str | None
