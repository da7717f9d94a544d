"""Limits: the table ``[[limit]]``, and a limit as it is watched, with every gap filled."""

from __future__ import annotations

__all__ = [
    "USUAL",
    "EffectiveLimit",
    "Hours",
    "LimitKind",
    "LimitSettings",
    "Priority",
    "Role",
    "Usual",
    "file_limit",
    "judged_probes",
    "limit_key",
]

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Final, Literal, Self

from pydantic import Field, ModelWrapValidatorHandler, PrivateAttr, ValidationInfo, field_validator, model_validator

from ingest.cellar.amounts import DAY_S, Span, amount, parse_amount, split_amount
from ingest.cellar.due_work import LEAST_AFTER_DAYS, LONGEST_AFTER_DAYS, DueName, filled_in
from ingest.cellar.equipment import Probe
from ingest.cellar.form import Identifier, Table, Text
from ingest.cellar.quantities import QUANTITIES, QuantityName
from ingest.cellar.units import Dimension

Priority = Literal["low", "medium", "high"]
Hours = Literal["any", "waking"]
LimitKind = Literal["low", "high", "no data", "due"]
Role = Literal["care", "air", "over", "bad measurement", "room", ""]


@dataclass(frozen=True, slots=True)
class Usual:
    """What a limit of the file gets where it says nothing: deadband in the quantity's unit, delays in s."""

    deadband: float
    on_delay_s: float
    off_delay_s: float


# Pressure: 2 % of a usual range of 100 kPa; temperature and pH: a little above the noise of common probes; delays
# follow how fast the thing can change. Project choice, informed by common practice.
USUAL: Final[dict[str, Usual]] = {
    "pressure": Usual(2.0, 15.0, 15.0),
    "barometric_pressure": Usual(0.2, 300.0, 300.0),
    "temperature": Usual(0.4, 300.0, 300.0),
    "pH": Usual(0.03, 300.0, 300.0),
}
_NO_DATA: Final = Usual(0.0, 0.0, 0.0)


class LimitSettings(Table):
    """``[[limit]]``: what must stay in range. Numbers are in the unit of the quantity; delays in seconds.

    Exactly one of low, high, no_data_s and due is given, and after_days with due. deadband is a difference. What is
    None is filled from the usual values of the quantity, see ``EffectiveLimit``.
    """

    id: Identifier | None = None
    at: Identifier | None = None
    lot: Text | None = None
    quantity: QuantityName | None = None
    probe: Identifier | None = None
    low: float | None = None
    high: float | None = None
    no_data_s: Annotated[float | None, amount(Dimension.TIME, "s", "10 min", Span(1.0, 30 * DAY_S))] = Field(
        default=None, alias="no_data"
    )
    due: DueName | None = None
    after_days: Annotated[
        float | None, amount(Dimension.TIME, "d", "35 d", Span(LEAST_AFTER_DAYS, LONGEST_AFTER_DAYS))
    ] = Field(default=None, alias="after")
    deadband: float | None = None
    on_delay_s: Annotated[float | None, amount(Dimension.TIME, "s", "60 s", Span(0.0, DAY_S))] = Field(
        default=None, alias="on_delay"
    )
    off_delay_s: Annotated[float | None, amount(Dimension.TIME, "s", "60 s", Span(0.0, DAY_S))] = Field(
        default=None, alias="off_delay"
    )
    priority: Priority = "medium"
    hours: Hours = "any"
    consequence: Text = Field(description="what happens if nobody does anything; every alarm needs one")
    action: Text = Field(description="what to do about it; every alarm needs a response")

    _unit_text: str = PrivateAttr(default="")

    @property
    def unit_text(self) -> str:
        """The unit as written in the file, for messages."""
        return self._unit_text

    @field_validator("low", "high", mode="before")
    @classmethod
    def _setpoint(cls, value: object, info: ValidationInfo) -> object:
        row = QUANTITIES.get(info.data.get("quantity") or "")
        if row is None:
            return None  # a quantity that is missing or wrong is reported with its own key
        return parse_amount(
            value, dimension=row.dimension, unit=row.unit, example=row.example, pressure=row.pressure
        ).number

    @field_validator("deadband", mode="before")
    @classmethod
    def _difference(cls, value: object, info: ValidationInfo) -> object:
        row = QUANTITIES.get(info.data.get("quantity") or "")
        if row is None:
            return None
        number = parse_amount(
            value,
            dimension=row.difference,
            unit=row.unit,
            example=row.deadband_example,
            pressure="difference" if row.pressure else None,
        ).number
        if number < 0:
            raise ValueError("a deadband cannot be negative")
        return number

    @model_validator(mode="wrap")
    @classmethod
    def _keep_unit(cls, data: Any, handler: ModelWrapValidatorHandler[Self]) -> Self:
        limit = handler(filled_in(data))
        if isinstance(data, dict):
            written = next((data[key] for key in ("low", "high", "no_data", "after") if key in data), "")
            if isinstance(written, str) and written:
                limit._unit_text = split_amount(written)[1]
        return limit


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectiveLimit:
    """A limit as it is watched: the file's limits and the default ones, with every gap filled.

    key: the limit's id, else place/quantity/kind; setpoint and deadband: in the quantity's unit, for no data seconds,
    for due work days; lot: whose wine it is on, "" for a limit on a place; probe: the id of the probe that is judged;
    role: which default limit it is; suppressed_by: the keys of the limits that make this one pointless while any of
    them is active; unit_text: the unit that messages use; every_s: of a limit on silence, the interval of its probe.
    """

    key: str
    kind: LimitKind
    at: str
    quantity: str
    probe: str
    setpoint: float
    deadband: float
    on_delay_s: float
    off_delay_s: float
    priority: Priority
    hours: Hours
    consequence: str
    action: str
    unit_text: str
    role: Role = ""
    origin: Literal["file", "default"] = "file"
    suppressed_by: tuple[str, ...] = ()
    lot: str = ""
    every_s: float = 0.0


def limit_key(probe: Probe, probes: Iterable[Probe], word: str) -> str:
    """Make a limit's key: place/quantity/word, and the probe's id after it where two probes measure the same there."""
    same = [other for other in probes if (other.at, other.quantity) == (probe.at, probe.quantity)]
    key = f"{probe.at}/{probe.quantity}/{word}"
    return f"{key}/{probe.id}" if len(same) > 1 else key


def judged_probes(setting: LimitSettings, probes: Iterable[Probe]) -> list[Probe]:
    """List the probes that a limit of the file can mean; exactly one in a consistent file."""
    return [
        probe
        for probe in probes
        if setting.probe in (None, probe.id)
        and setting.at in (None, probe.at)
        and setting.quantity in (None, probe.quantity)
    ]


def file_limit(setting: LimitSettings, probes: Sequence[Probe]) -> EffectiveLimit:
    """Make the limit of the file as it is watched; it must mean exactly one probe."""
    probe = judged_probes(setting, probes)[0]
    kind, setpoint = _kind_and_setpoint(setting)
    usual = _NO_DATA if kind == "no data" else USUAL[probe.quantity]
    return EffectiveLimit(
        key=setting.id or limit_key(probe, probes, kind.replace(" ", "-")),
        kind=kind,
        at=probe.at,
        quantity=probe.quantity,
        probe=probe.id,
        setpoint=setpoint,
        deadband=usual.deadband if setting.deadband is None else setting.deadband,
        on_delay_s=usual.on_delay_s if setting.on_delay_s is None else setting.on_delay_s,
        off_delay_s=usual.off_delay_s if setting.off_delay_s is None else setting.off_delay_s,
        priority=setting.priority,
        hours=setting.hours,
        consequence=setting.consequence,
        action=setting.action,
        unit_text=setting.unit_text,
        origin="file",
    )


def _kind_and_setpoint(setting: LimitSettings) -> tuple[LimitKind, float]:
    if setting.no_data_s is not None:
        return "no data", setting.no_data_s
    if setting.low is not None:
        return "low", setting.low
    assert setting.high is not None
    return "high", setting.high
