"""Kind "measurement": one number read by hand; and what a weight makes of wine or of carbon dioxide.

    V = (m - m_tare) / rho        V: wine [L]; m: weight [kg]; rho: density [kg/L]
    m_CO2 = m - m_tare            of a cylinder of carbon dioxide [kg]

Worked example: a keg of 4.2 kg that weighs 20.0 kg holds 15.8 kg, at 0.992 kg/L 15.9 L.
"""

from __future__ import annotations

__all__ = ["MEASUREMENT", "MeasurementBody", "hand_quantity"]

from collections.abc import Mapping
from dataclasses import replace
from math import hypot, isclose
from typing import Annotated, Final, NamedTuple, Self

from pydantic import Field, model_validator

from ingest.cellar import Cellar, Dimension, PressureKind, parse_amount, split_amount
from ingest.journal.answers import AnswersWrong, Measure, Number, UsualWords, WrittenWords, Wrong
from ingest.journal.bench_units import bench_units
from ingest.journal.bench_words import QUANTITY_WORDS, SCALE_WORDS, in_known_units
from ingest.journal.body import Amount, Body, Positive, Result, Words
from ingest.journal.entry import Entry
from ingest.journal.entry_context import EntryContext
from ingest.journal.equipment import Equipment
from ingest.journal.kinds.kind import (
    NOTHING_CHANGES,
    VESSEL_KINDS,
    BodyData,
    EntryKind,
    LedgerStep,
    NamedVessels,
    PlaceRule,
    StateOf,
    beyond_stamp,
    large_caution,
)
from ingest.journal.must_weight import brix, kmw, oechsle
from ingest.journal.phrases import joined, phrase
from ingest.journal.question import CYLINDER, LOT, REMARK, VESSEL, Given, Question, always
from ingest.journal.vessel_state import ROUNDING_L, Objection, emptied, liters, too_full, usual_u_l
from ingest.journal.wine import STRANGE

# Dry table wine at cellar temperature [kg/L], and its spread as a standard uncertainty (common practice, no source).
_DENSITY: Final = 0.992
_U_DENSITY: Final = 0.003
# A good kitchen or bathroom scale, where nobody says how well it weighs [kg] (common practice, no source).
_U_WEIGHT_KG: Final = 0.05
# Carbon dioxide in a full cylinder [kg per litre of water volume] (ADR packing instruction P200, from memory).
_FULL_CARBON_DIOXIDE_KG_L: Final = 0.75


class _HandQuantity(NamedTuple):
    """What can be measured by hand without naming a unit.

    unit: in which it is kept; example: how a person writes it; dimension: None where the cellar file has no unit of it;
    difference: that of its uncertainty, where it is another one; pressure: of a pressure; usual: between which numbers
    it lies in wine or at its vessel (common practice, no source; wide on purpose); bare: whether its number alone will
    do, since nobody means another unit.
    """

    unit: str
    example: str
    dimension: Dimension | None
    difference: Dimension | None = None
    pressure: PressureKind | None = None
    usual: tuple[float, float] | None = None
    bare: bool = False


# A weight is what the scales show, tare included.
_QUANTITIES: Final[Mapping[str, _HandQuantity]] = {
    "pH": _HandQuantity("", "3.42", Dimension.PH, usual=(2.5, 4.5)),
    "temperature": _HandQuantity(
        "°C", "12 °C", Dimension.TEMPERATURE, Dimension.TEMPERATURE_DIFFERENCE, usual=(-10.0, 50.0)
    ),
    "alcohol": _HandQuantity("% vol", "12.5 % vol", Dimension.ALCOHOL, usual=(0.0, 25.0), bare=True),
    "pressure": _HandQuantity("kPa", "55 kPa", Dimension.PRESSURE, pressure="gauge"),
    "volume": _HandQuantity("L", "16 L", Dimension.VOLUME),
    "weight": _HandQuantity("kg", "20.4 kg", Dimension.MASS),
    "density": _HandQuantity("g/mL", "0.992 g/mL", None, usual=(0.95, 1.2)),
    "sugar": _HandQuantity("g/L", "2 g/L", Dimension.CONCENTRATION, bare=True),
    "titratable acidity": _HandQuantity("g/L", "6.1 g/L", Dimension.CONCENTRATION, bare=True),
    "volatile acidity": _HandQuantity("g/L", "0.4 g/L", Dimension.CONCENTRATION, bare=True),
    "must weight": _HandQuantity("°Oe", "85 °Oe", None, usual=(40.0, 250.0)),
}
_UNITS: Final[Mapping[str, str]] = {name: quantity.unit for name, quantity in _QUANTITIES.items()}
# Units of a density that mean the same number.
_DENSITY_UNITS: Final = ("g/mL", "kg/L")


class MeasurementBody(Body):
    """One number read by hand. quantity: one of ours, in its unit, or another one with its unit.

    u_value: standard uncertainty. volume_l: the wine in the vessel that a weight makes (tare and density taken off);
    content_kg: the carbon dioxide in a cylinder that a weight makes;
    tare_kg: what was taken off; density_kg_l: only where somebody gave it.
    """

    quantity: Words
    value: Annotated[float, Field(ge=-1e6, le=1e6)]
    u_value: Amount | None = None
    unit: Words | None = None
    instrument: Words | None = None
    volume_l: Amount | None = None
    u_volume_l: Amount | None = None
    content_kg: Amount | None = None
    tare_kg: Amount | None = None
    density_kg_l: Positive | None = None
    remark: Words | None = None

    @model_validator(mode="after")
    def _unit_is_known(self) -> Self:
        usual = _UNITS.get(self.quantity)
        if usual is None and self.unit is None:
            known = ", ".join(_UNITS)
            raise ValueError(f"'{self.quantity}' needs its unit; without one there are: {known}")
        if usual is not None and self.unit not in (None, usual):
            raise ValueError(f"{self.quantity} is written in {usual or 'its bare number'}, not in {self.unit}")
        if self.quantity in ("volume", "weight") and self.value < 0:
            raise ValueError(f"a {self.quantity} cannot be below 0")
        return self

    @property
    def found_volume_l(self) -> float | None:
        """The wine in the vessel [L] by this measurement, None where it says nothing of it."""
        return self.value if self.quantity == "volume" else self.volume_l

    @property
    def u_found_volume_l(self) -> float | None:
        """Its standard uncertainty [L], None where nobody gave it."""
        return self.u_value if self.quantity == "volume" else self.u_volume_l

    @property
    def results(self) -> tuple[Result, ...]:
        """The number that was read."""
        return (Result(self.quantity, self.value, self.u_value, self.unit or _UNITS.get(self.quantity, "")),)


# ---- questions ------------------------------------------------------------------------------------------------------


def _units(given: Given) -> tuple[str, ...]:
    """The units that what is measured can have; () for a bare number, and for a quantity of other words."""
    name = _known(str(given.get("quantity", "")))
    quantity = _QUANTITIES.get(name)
    if quantity is None:
        return ()
    if quantity.dimension is not None and not quantity.bare:
        return bench_units(quantity.dimension, quantity.unit)
    return ("°Oe", "°KMW", "°Brix") if name == "must weight" else (quantity.unit,)


_QUESTIONS: Final = (
    replace(VESSEL, needed=lambda given: not any(given.get(name) for name in ("lot", "cylinder", "room"))),
    replace(CYLINDER, help="Or the gas cylinder's id.", answer=WrittenWords("ID", "CO2")),
    Question("room", "Which room?", "Or the room's id.", WrittenWords("ID", "cellar")),
    replace(LOT, help="Or the lot's id."),
    Question(
        "quantity",
        "What was measured?",
        ", ".join(_UNITS) + ", or another one in your words.",
        UsualWords("NAME", "pH", usual=tuple(_UNITS)),
        "quantity",
        needed=always,
        remembered=True,
    ),
    Question(
        "value",
        "Which value, with its unit?",
        "The number with its unit.",
        WrittenWords("AMOUNT", "3.42"),
        needed=always,
        recall=lambda body: _typed_value(body) or _amount_text(body, body.value),
        units=_units,
    ),
    Question(
        "uncertainty",
        "Its standard uncertainty?",
        "Its standard uncertainty, in the same unit.",
        WrittenWords("AMOUNT", "0.02"),
        recall=lambda body: None if body.u_value is None else _amount_text(body, body.u_value),
        units=_units,
    ),
    Question(
        "instrument",
        "With which instrument?",
        "What it was read from.",
        WrittenWords(),
        "instrument",
        asked=always,
        remembered=True,
    ),
    Question(
        "tare",
        "The tare?",
        "Of a weight: the empty weight, if not in the cellar file.",
        Measure(Dimension.MASS, "kg", "4.2 kg"),
        "tare_kg",
    ),
    Question(
        "density",
        "The wine's density?",
        "Of a weight: the wine's density.",
        Number(_DENSITY_UNITS, "0.992 g/mL", "AMOUNT"),
        "density_kg_l",
    ),
    REMARK,
)


def _amount_text(body: MeasurementBody, number: float) -> str:
    """A number of the body with its unit, as it would be answered."""
    return f"{number!r} {body.unit or _UNITS.get(body.quantity, '')}".rstrip()


def _worked_out(body: MeasurementBody) -> frozenset[str]:
    return frozenset({"volume_l", "u_volume_l", "content_kg", "tare_kg"}) if body.quantity == "weight" else frozenset()


# ---- from the answers to the body -----------------------------------------------------------------------------------


def _complete(given: Given, data: BodyData, context: EntryContext, _: int) -> tuple[str, ...]:
    quantity = _known(str(given["quantity"]))
    data["quantity"] = quantity
    text = _with_scale(str(given["quantity"]), str(given["value"]))
    number, unit = _number(quantity, text, "value")
    data["value"] = number
    typed = _typed(quantity, text, number)
    if typed:
        data["typed"] = [{"question": "value", "text": typed}]
    if quantity not in _UNITS:
        data["unit"] = unit
    if "uncertainty" in given:
        data["u_value"] = _number(quantity, str(given["uncertainty"]), "uncertainty")[0]
    if quantity != "weight":
        stray = [Wrong(name, "belongs to a weight") for name in ("tare", "density") if name in given]
        if stray:
            raise AnswersWrong(stray)
        return ()
    if given.get("lot") or given.get("room"):
        return ()
    if given.get("vessel"):
        _weighed_wine(given, data, context.cellar)
        return ()
    return _weighed_gas(given, data, context.cellar)


def hand_quantity(name: str) -> str | None:
    """Find the quantity that a name means, also as it is called at the bench ("TA"); None for one of other words."""
    quantity = _known(name)
    return quantity if quantity in _UNITS else None


def _known(quantity: str) -> str:
    plain = " ".join(quantity.lower().split())
    return QUANTITY_WORDS.get(plain) or next((name for name in _UNITS if name.lower() == plain), quantity)


def _number(name: str, text: str, question: str) -> tuple[float, str]:
    """A number in its quantity's unit, and that unit."""
    quantity = _QUANTITIES.get(name)
    try:
        if name == "must weight":
            number, scale = split_amount(text)
            if question == "uncertainty" and scale.lower().strip("°") not in ("oe", "oechsle"):
                raise ValueError("write it in °Oe")
            return oechsle(number, scale), "°Oe"
        if quantity is None or quantity.dimension is None:
            number, unit = split_amount(text)
            if quantity is not None and unit not in ("", *_DENSITY_UNITS):
                raise ValueError(f"the unit of a density is {' or '.join(_DENSITY_UNITS)}")
            return number, unit
        dimension, pressure = quantity.dimension, quantity.pressure
        if question == "uncertainty":
            dimension = quantity.difference or dimension
            pressure = "difference" if pressure else None
        known = in_known_units(text, dimension, quantity.unit if quantity.bare else "")
        amount = parse_amount(
            known, dimension=dimension, unit=quantity.unit, example=quantity.example, pressure=pressure
        )
        return amount.number, quantity.unit
    except ValueError as error:
        raise AnswersWrong([Wrong(question, f"'{text}': {error}")]) from None


def _with_scale(quantity: str, text: str) -> str:
    """Write the scale behind a bare number where the quantity was called by it, as in "Oechsle 85"."""
    scale = SCALE_WORDS.get(quantity.strip().lower())
    try:
        return text if scale is None or split_amount(text)[1] else f"{text.strip()} {scale}"
    except ValueError:
        return text


def _typed(name: str, text: str, kept: float) -> str:
    """Give the amount as it was typed, "" where its number is the one that is kept."""
    quantity = _QUANTITIES.get(name)
    plain = text if quantity is None or quantity.dimension is None else in_known_units(text, quantity.dimension)
    number, unit = split_amount(plain)
    return f"{number:.10g} {unit}" if unit and not isclose(number, kept, rel_tol=1e-9) else ""


def _typed_value(body: MeasurementBody) -> str:
    """Give the value as it was typed, "" where it was typed in the unit of the body, or is another number by now."""
    text = next((typed.text for typed in body.typed if typed.question == "value"), "")
    try:
        same = bool(text) and isclose(_number(body.quantity, text, "value")[0], body.value, rel_tol=1e-9)
    except AnswersWrong:
        same = False
    return text if same else ""


def _weighed_wine(given: Given, data: BodyData, cellar: Cellar) -> None:
    vessel = next((each for each in cellar.vessel if each.id == given["vessel"]), None)
    tare = given.get("tare", None if vessel is None else vessel.tare_kg)
    if tare is None:
        data["notes"] = ["the weight makes no volume: say the tare, or write it into the cellar file"]
        return
    data["tare_kg"] = tare
    net = _net(data["value"], tare)
    density = given.get("density", _DENSITY)
    u_density = 0.0 if "density" in given else _U_DENSITY
    data["volume_l"] = net / density
    data["u_volume_l"] = hypot(data.get("u_value", _U_WEIGHT_KG) / density, data["volume_l"] * u_density / density)


def _weighed_gas(given: Given, data: BodyData, cellar: Cellar) -> tuple[str, ...]:
    cylinder = next((each for each in cellar.cylinder if each.id == given.get("cylinder")), None)
    if cylinder is None or cylinder.gas != "carbon dioxide":
        return ()
    tare = given.get("tare", cylinder.tare_kg)
    if tare is None:
        data["notes"] = [
            "the weight makes no content: say the tare that the cylinder is stamped with, or write it into the cellar "
            "file"
        ]
        return ()
    data["tare_kg"] = tare
    content = data["content_kg"] = _net(data["value"], tare)
    most = _FULL_CARBON_DIOXIDE_KG_L * cylinder.water_volume_l
    if content <= most:
        return ()
    return (
        f"{content:.2f} kg of carbon dioxide is more than the {most:.2f} kg that a cylinder of "
        f"{cylinder.water_volume_l:g} L may hold: look at weight and tare; if they are right, it is overfilled, which "
        "is dangerous",
    )


def _net(weight: float, tare: float) -> float:
    if weight < tare:
        raise AnswersWrong([Wrong("value", f"{weight:g} kg is less than the tare of {tare:g} kg")])
    return float(weight - tare)


# ---- words, warnings ------------------------------------------------------------------------------------------------


def _words(body: MeasurementBody, _: str | None) -> str:
    spread = "" if body.u_value is None else f" (standard uncertainty {body.u_value:.3g})"
    return joined(
        [
            f"{body.quantity} {_typed_value(body) or _rounded(body)}".rstrip() + spread,
            _other_scales(body) if body.quantity == "must weight" else None,
            None if body.volume_l is None else f"which makes {liters(body.volume_l)} of wine",
            phrase(body.content_kg, "which makes {:.2f} kg of gas"),
            phrase(body.instrument, "by {}"),
        ]
    )


def _rounded(body: MeasurementBody) -> str:
    (result,) = body.results
    return f"{body.value:.6g} {result.unit}".rstrip()


def _other_scales(body: MeasurementBody) -> str:
    """The same must weight in the other scales."""
    degrees = body.value
    scales = {"oe": f"{degrees:.1f} °Oe", "kmw": f"{kmw(degrees):.1f} °KMW", "bx": f"{brix(degrees):.1f} °Brix"}
    shown = split_amount(_typed_value(body) or f"{degrees!r} °Oe")[1].strip("°").lower()
    scales.pop({"oechsle": "oe", "brix": "bx"}.get(shown, shown), None)
    return ", ".join(scales.values())


def _warnings(body: MeasurementBody, vessels: NamedVessels) -> tuple[str, ...]:
    """That a number is not one that wine has, or a pressure one for which its vessel is not made."""
    quantity = _QUANTITIES.get(body.quantity)
    if body.quantity == "pressure":
        return beyond_stamp(vessels, body.value)
    if quantity is None or quantity.usual is None:
        return ()
    low, high = quantity.usual
    if low <= body.value <= high:
        return ()
    value = f"{body.quantity} {body.value:g} {quantity.unit}".rstrip()
    return (f"{value} is not of wine, which has {low:g} to {high:g}: look again",)


# ---- the ledger -----------------------------------------------------------------------------------------------------


def _ledger_step(entry: Entry, body: MeasurementBody, state_of: StateOf, equipment: Equipment) -> LedgerStep:
    if entry.place is None:
        return NOTHING_CHANGES
    place, before, volume = entry.place, state_of(entry.place), body.found_volume_l
    if volume is None:
        if body.quantity == "alcohol" and before.known and not before.empty:
            return LedgerStep({place: before._replace(wine=before.wine._replace(alcohol=body.value))})
        return NOTHING_CHANGES
    if volume <= ROUNDING_L:
        return LedgerStep({place: emptied(before, entry.at_ms)})
    if before.empty:
        return LedgerStep(
            {}, [Objection(place, f"{place} is empty, so it cannot hold {liters(volume)}: write its filling first")]
        )
    # How much is in a vessel of unknown contents is known from now on; what it is, is not.
    wine = before.wine if before.known else STRANGE
    u_l = usual_u_l(volume) if body.u_found_volume_l is None else body.u_found_volume_l
    objections = too_full(place, volume, equipment.capacity_l(place, entry.at_ms))
    return LedgerStep({place: before._replace(known=True, volume_l=volume, u_l=u_l, wine=wine)}, objections)


def _caution(body: MeasurementBody, vessels: NamedVessels) -> str:
    if body.quantity == "alcohol":
        return (
            "alcohol and its vapour burn: keep spirit and boiling wine away from flames, and never refill a hot burner"
        )
    return large_caution(body, vessels)


MEASUREMENT: Final = EntryKind(
    name="measurement",
    body=MeasurementBody,
    says="One number read by hand.",
    example="--vessel K1 --quantity pH --value 3.42 --instrument 'bench meter'",
    questions=_QUESTIONS,
    complete=_complete,
    answered_by={
        "u_value": "uncertainty",
        "unit": "value",
        "volume_l": "value",
        "u_volume_l": "uncertainty",
        "content_kg": "value",
        "": "value",
    },
    instead_of={
        "vessel": ("lot", "cylinder", "room", "tare"),
        "lot": ("vessel", "cylinder", "room"),
        "cylinder": ("vessel", "lot", "room", "tare"),
        "room": ("vessel", "lot", "cylinder"),
    },
    worked_out=_worked_out,
    place=PlaceRule(VESSEL_KINDS | {"cylinder", "room"}, or_lot=True),
    words=_words,
    result_units=_UNITS,
    caution=_caution,
    warnings=_warnings,
    ledger_step=_ledger_step,
)
