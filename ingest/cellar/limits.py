"""Limits: the table ``[[limit]]``, and a limit as it is watched, with every gap filled."""

from __future__ import annotations

__all__ = [
    "USUAL",
    "EffectiveLimit",
    "Hours",
    "LimitKind",
    "LimitQuantity",
    "LimitSettings",
    "Priority",
    "RateSetting",
    "Role",
    "Usual",
]

from dataclasses import dataclass
from typing import Annotated, Any, Final, Literal, NamedTuple, Self

from pydantic import Field, ModelWrapValidatorHandler, PrivateAttr, ValidationInfo, field_validator, model_validator

from ingest.cellar.amounts import DAY_S, PressureKind, Span, amount, parse_amount, split_amount
from ingest.cellar.due_work import LEAST_AFTER_DAYS, LONGEST_AFTER_DAYS, DueName, filled_in
from ingest.cellar.form import Identifier, Table, Text
from ingest.cellar.quantities import LIMIT_QUANTITIES, JudgedName, QuantityName
from ingest.cellar.units import Dimension

Priority = Literal["low", "medium", "high"]
# When a message may go out: at any hour, in waking hours, or with the digest.
Hours = Literal["any", "waking", "digest"]
LimitKind = Literal["low", "high", "rate", "no data", "due"]
LimitQuantity = Literal[QuantityName, JudgedName]
Role = Literal["care", "air", "soon", "working", "over", "frost", "heat", "change", "bad measurement", "room", ""]


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
    # Judged numbers are few and calm: no delay. The deadband is about what the number is uncertain by.
    "molecular_so2": Usual(0.05, 0.0, 0.0),
    "free_so2": Usual(2.0, 0.0, 0.0),
    "total_so2": Usual(5.0, 0.0, 0.0),
    "compensated_pressure": Usual(3.0, 0.0, 0.0),
    "leak_rate": Usual(0.1, 0.0, 0.0),
    "gas_gain_rate": Usual(0.1, 0.0, 0.0),
    "hours_to_air_floor": Usual(2.0, 0.0, 0.0),
    "hours_to_air_floor_by_cold": Usual(2.0, 0.0, 0.0),
    "cylinder_days_left": Usual(1.0, 0.0, 0.0),
}

_RATE_EXAMPLES: Final = {"temperature": "5 K in 1 h", "pH": "0.2 pH in 12 h"}
_RATE_EXAMPLE: Final = "10 kPa in 1 h"
_RATE_WITHIN: Final = Span(60.0, 7 * DAY_S)


class RateSetting(NamedTuple):
    """How much a quantity may change, up or down, within how much time. change: in the quantity's unit, more than 0;
    within_s: seconds; unit_text: of the change, as written.
    """

    change: float
    within_s: float
    unit_text: str


class LimitSettings(Table):
    """``[[limit]]``: what must stay in range. Numbers are in the unit of the quantity; delays in seconds.

    Exactly one of low, high, rate, no_data_s and due is given, and after_days with due. It belongs to a place (at,
    probe) or to wine (lot: its id, or "any"). deadband is a difference. What is None is filled from the usual values of
    the quantity, see ``EffectiveLimit``.
    """

    id: Identifier | None = None
    at: Identifier | None = None
    lot: Text | None = None
    quantity: LimitQuantity | None = None
    probe: Identifier | None = None
    low: float | None = None
    high: float | None = None
    rate: RateSetting | None = None
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
    hours: Hours | None = None
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
        row = LIMIT_QUANTITIES.get(info.data.get("quantity") or "")
        if row is None:
            return None  # a quantity that is missing or wrong is reported with its own key
        return parse_amount(
            value, dimension=row.dimension, unit=row.unit, example=row.example, pressure=row.pressure
        ).number

    @field_validator("rate", mode="before")
    @classmethod
    def _change(cls, value: object, info: ValidationInfo) -> object:
        row = LIMIT_QUANTITIES.get(info.data.get("quantity") or "")
        if row is None:
            return None
        example = _RATE_EXAMPLES.get(row.name, _RATE_EXAMPLE)
        change_text, word, within_text = value.partition(" in ") if isinstance(value, str) else ("", "", "")
        if not word:
            raise ValueError(f'must be a change and a time, such as "{example}"')
        pressure: PressureKind | None = "difference" if row.pressure else None
        change = parse_amount(change_text, dimension=row.difference, unit=row.unit, example=example, pressure=pressure)
        if change.number <= 0:
            raise ValueError("the change must be more than 0; rising and falling count alike")
        within_s = parse_amount(within_text, dimension=Dimension.TIME, unit="s", example=example).number
        if not _RATE_WITHIN.holds(within_s):
            raise ValueError("the time must be from 1 min to 7 d")
        return RateSetting(change.number, within_s, change.unit_text)

    @field_validator("deadband", mode="before")
    @classmethod
    def _difference(cls, value: object, info: ValidationInfo) -> object:
        row = LIMIT_QUANTITIES.get(info.data.get("quantity") or "")
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
            if limit.rate is not None:
                limit._unit_text = limit.rate.unit_text
            elif isinstance(written, str) and written:
                limit._unit_text = split_amount(written)[1]
        return limit


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectiveLimit:
    """A limit as it is watched: the file's limits and the default ones, with every gap filled.

    key: the limit's id, else place/quantity/kind; setpoint and deadband: in the quantity's unit, for no data seconds,
    for due work days, for a rate a change; within_s: of a rate, the time in which the change counts; probe: the id of
    the probe that is judged, or of a judged quantity ``judged_id``; role: which default limit it is; lot: of a limit on
    wine the lot's id or "any", else ""; suppressed_by: the keys of the limits that make this one pointless while any of
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
    within_s: float = 0.0
    lot: str = ""
    every_s: float = 0.0
