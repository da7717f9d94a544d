"""What stands in the cellar: the tables site, room, cylinder, vessel and probe."""

from __future__ import annotations

__all__ = ["Cylinder", "Gas", "Place", "Probe", "Room", "Site", "Vessel", "read_waking"]

import re
from datetime import time
from typing import Annotated, Any, ClassVar, Final, Literal, Self
from zoneinfo import ZoneInfo, available_timezones

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    InstanceOf,
    ModelWrapValidatorHandler,
    PrivateAttr,
    model_validator,
)

from ingest.cellar.amounts import DAY_S, Span, amount
from ingest.cellar.form import Identifier, Table, Text
from ingest.cellar.quantities import QUANTITIES, QUANTITY_NAMES, PlaceKind, QuantityName
from ingest.cellar.shown_units import read_units
from ingest.cellar.signal import Counts, Signal
from ingest.cellar.table_entry import nearest
from ingest.cellar.units import Dimension

Gas = Literal["nitrogen", "argon", "carbon dioxide"]
LegalRules = Literal["eu", "eu-organic", "oiv", "us", "none"]
Material = Literal["steel", "glass", "wood", "plastic"]

_MATERIAL: Final[dict[object, Material]] = {
    "keg": "steel",
    "tank": "steel",
    "carboy": "glass",
    "bottle": "glass",
    "barrel": "wood",
}
_WAKING: Final = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])\s*-\s*([01][0-9]|2[0-3]):([0-5][0-9])")
_CHIP: Final = re.compile(r"[0-9a-f]{2}-[0-9a-f]{12}")


def _time_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):  # unknown, malformed, or a folder of the time zone data
        meant = _zone_meant(name)
        hint = f'; did you mean "{meant}"?' if meant else ""
        raise ValueError(f'the name of an IANA time zone, such as "Europe/Ljubljana"{hint}') from None
    return name


def _zone_meant(name: str) -> str:
    """Find the time zone whose name, or whose city, looks most like a name; "" if none does."""
    zones = sorted(available_timezones())
    whole = nearest(name, zones)
    if whole or "/" in name:
        return whole
    cities = {zone.rpartition("/")[2]: zone for zone in zones}
    return cities.get(nearest(name.strip().replace(" ", "_"), cities), "")


def read_waking(value: object) -> object:
    """Read waking hours, for pydantic: two local times with a dash between."""
    if isinstance(value, tuple):
        return value
    match = _WAKING.fullmatch(value.strip()) if isinstance(value, str) else None
    if match is None:
        raise ValueError('two local times, such as "07:00-21:30"')
    hour, minute, end_hour, end_minute = map(int, match.groups())
    if (hour, minute) == (end_hour, end_minute):
        raise ValueError('the two times must differ, such as "07:00-21:30"')
    return time(hour, minute), time(end_hour, end_minute)


class Site(Table):
    """``[site]``: the cellar as a whole.

    units: as ``read_units`` gives them; waking: from and to, local time; to may lie past midnight. altitude_m: above
    sea level. legal: whose limits on total SO2 the wine is held against, by default those of the European Union, and of
    the United States where ``units`` are theirs. so2_pk: of the simple model, by which molecular SO2 is estimated and
    limited.
    """

    name: Text = Field(description="what the cellar is called in messages")
    timezone: Annotated[Text, AfterValidator(_time_zone)] = Field(
        description='the name of an IANA time zone, such as "Europe/Ljubljana"'
    )
    altitude_m: Annotated[float | None, amount(Dimension.LENGTH, "m", "340 m", Span(-430.0, 5000.0))] = Field(
        default=None, alias="altitude"
    )
    units: Annotated[str, BeforeValidator(read_units)] = "metric"
    waking: Annotated[tuple[time, time], BeforeValidator(read_waking)] = (time(7, 0), time(22, 0))
    legal: LegalRules | None = None
    so2_pk: Annotated[float, Field(ge=1.0, le=3.0)] = 1.81

    @property
    def legal_rules(self) -> str:
        """The id of the rule set of legal limits, "" for none."""
        rules = self.legal or ("us" if self.units == "us" else "eu")
        return "" if rules == "none" else rules

    @property
    def zone(self) -> ZoneInfo:
        """The site's time zone."""
        return ZoneInfo(self.timezone)


class Room(Table):
    """``[[room]]``: a room that vessels and cylinders stand in."""

    kind: ClassVar[PlaceKind] = "room"

    id: Identifier = Field(description="a short name of the room, such as cellar")
    volume_m3: Annotated[float | None, amount(Dimension.VOLUME, "m3", "30 m3", Span(0.0, 1e5, above=True))] = Field(
        default=None, alias="volume"
    )
    was: Identifier | None = None


class Cylinder(Table):
    """``[[cylinder]]``: a gas cylinder; water volume and tare are what its shoulder is stamped with."""

    kind: ClassVar[PlaceKind] = "cylinder"

    id: Identifier = Field(description="a short name of the cylinder, such as N2")
    gas: Gas = Field(description='"nitrogen", "argon" or "carbon dioxide"')
    water_volume_l: Annotated[float, amount(Dimension.VOLUME, "L", "10 L", Span(0.0, 1000.0, above=True))] = Field(
        alias="water_volume", description='the volume stamped on the shoulder, such as "10 L"'
    )
    tare_kg: Annotated[float | None, amount(Dimension.MASS, "kg", "9.8 kg", Span(0.0, 1e4, above=True))] = Field(
        default=None, alias="tare"
    )
    room: Identifier | None = None
    was: Identifier | None = None


class Vessel(Table):
    """``[[vessel]]``: what wine rests in. Capacity is brimful; max_pressure (gauge) is what is stamped on it,
    working_pressure (gauge) the most that is usual in it.
    """

    id: Identifier = Field(description="a short name of the vessel, such as K1")
    name: Text | None = None
    kind: Literal["keg", "carboy", "barrel", "tank", "bottle"] = Field(
        description='"keg", "carboy", "barrel", "tank" or "bottle"'
    )
    capacity_l: Annotated[float, amount(Dimension.VOLUME, "L", "19.5 L", Span(0.0, 1e6, above=True))] = Field(
        alias="capacity", description='the volume when brimful, such as "19.5 L"'
    )
    gas: Gas | None = None
    max_pressure_kpa: Annotated[
        float | None,
        amount(Dimension.PRESSURE, "kPa", "200 kPa", Span(0.0, 1000.0, above=True), pressure="gauge"),
    ] = Field(default=None, alias="max_pressure")
    working_pressure_kpa: Annotated[
        float | None,
        amount(Dimension.PRESSURE, "kPa", "150 kPa", Span(0.0, 1000.0, above=True), pressure="gauge"),
    ] = Field(default=None, alias="working_pressure")
    tare_kg: Annotated[float | None, amount(Dimension.MASS, "kg", "4.2 kg", Span(0.0, 1e5, above=True))] = Field(
        default=None, alias="tare"
    )
    room: Identifier | None = None
    material: Material = Field(default="steel")
    was: Identifier | None = None

    @model_validator(mode="before")
    @classmethod
    def _usual_material(cls, data: Any) -> Any:
        if isinstance(data, dict) and "material" not in data and isinstance(data.get("kind"), str):
            return {**data, "material": _MATERIAL.get(data["kind"], "steel")}
        return data

    @property
    def under_gas(self) -> bool:
        """Whether a gas blanket is kept under pressure in it: a keg or tank with gas, not of glass."""
        return self.kind in ("keg", "tank") and self.gas is not None and self.material != "glass"


Place = Room | Cylinder | Vessel


def _signal(value: object) -> Signal:
    if not isinstance(value, str):
        raise ValueError('must be text in quotes, such as "4-20 mA = 0-30 psi"')
    return Signal.parse(value)


def _counts(value: object) -> Counts:
    if not isinstance(value, str):
        raise ValueError('must be text in quotes, such as "0-4095 = 0-5 V"')
    return Counts.parse(value)


def _chip(text: str) -> str:
    if not _CHIP.fullmatch(text):
        raise ValueError('a chip id as the kernel writes it, two and twelve digits, such as "28-3c01f0964f2b"')
    return text


class Probe(Table):
    """``[[probe]]``: one instrument that measures one quantity at one place.

    unit: of the numbers that are stored: the wire's, or with a signal those that its label means.
    """

    id: Identifier = Field(description="a short name of the probe, such as k1-pressure")
    at: Identifier = Field(description="the id of a vessel, cylinder or room")
    quantity: QuantityName = Field(description='"temperature", "pressure", "barometric_pressure" or "pH"')
    reference: Literal["gauge", "absolute", "sealed"] = "gauge"
    topic: Annotated[str, Field(strict=True)] | None = None
    serial: Identifier | None = None
    w1: Annotated[str, Field(strict=True), AfterValidator(_chip)] | None = None
    pattern: Annotated[str, Field(strict=True)] | None = None
    payload: Literal["plain", "json", "senml"] = "plain"
    pointer: Annotated[str, Field(strict=True)] | None = None
    time_pointer: Annotated[str, Field(strict=True)] | None = None
    name: Text | None = None
    unit: Annotated[str, Field(strict=True)] = Field(
        description='the unit of the numbers that arrive, such as "kPa", "psi" or "degC"'
    )
    signal: Annotated[InstanceOf[Signal] | None, BeforeValidator(_signal)] = None
    counts: Annotated[InstanceOf[Counts] | None, BeforeValidator(_counts)] = None
    supply_pointer: Annotated[str, Field(strict=True)] | None = None
    every_s: Annotated[float, amount(Dimension.TIME, "s", "60 s", Span(0.1, 7 * DAY_S))] = Field(
        default=60.0, alias="every"
    )
    mounted: Literal["wine", "wall", "air"] | None = None
    decimal: Literal[".", ","] = "."
    was: Identifier | None = None

    _unit_declared: bool = PrivateAttr(default=True)

    @property
    def unit_declared(self) -> bool:
        """Whether somebody wrote a unit, or there is only one; False where each SenML record has to say its own."""
        return self._unit_declared

    @model_validator(mode="wrap")
    @classmethod
    def _keep_whether_declared(cls, data: Any, handler: ModelWrapValidatorHandler[Self]) -> Self:
        probe = handler(data)
        if isinstance(data, dict) and probe.payload == "senml" and probe.quantity != "pH":
            probe._unit_declared = "unit" in data
        return probe

    @model_validator(mode="before")
    @classmethod
    def _unit_not_written(cls, data: Any) -> Any:
        if not isinstance(data, dict) or "unit" in data:
            return data
        if "signal" in data:
            try:
                return {**data, "unit": _signal(data["signal"]).unit}
            except ValueError:
                return {**data, "unit": ""}  # the signal is reported as wrong, not the unit as missing
        if "w1" in data:
            return {**data, "unit": "degC"}
        quantity = data.get("quantity")
        if quantity == "pH" or (data.get("payload") == "senml" and quantity in QUANTITY_NAMES):
            return {**data, "unit": QUANTITIES[quantity].unit}
        return data
