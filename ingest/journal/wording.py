"""An entry's body in words: one line, as it is shown before it is written, and in the journal. Pure."""

from __future__ import annotations

__all__ = ["body_words", "spread_words"]

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from ingest.journal.analyses import (
    MEASURED_UNITS,
    CalibrationBody,
    Flask,
    LookBody,
    MeasurementBody,
    Strength,
    TitrantBody,
    TitrationBody,
)
from ingest.journal.body import Body
from ingest.journal.movements import (
    BottlingBody,
    Drawn,
    FillBody,
    Poured,
    RackingBody,
    SampleBody,
    StateBody,
    ToppingBody,
)
from ingest.journal.titrant import Meaning
from ingest.journal.titration_outcome import below_mg_l
from ingest.journal.treatments import AdditionBody, GasBody, LotBody
from ingest.journal.vessel_state import liters


def body_words(body: Body, lot: str | None = None) -> str:
    """What the entry says, without time, person, place and remark. lot: the entry's."""
    return _WORDS[type(body)](body, lot)


def spread_words(body: Body) -> str:
    """The standard uncertainty of a titration's result, "" where there is none."""
    if not isinstance(body, TitrationBody) or body.u_so2_mg_l is None or body.so2_mg_l is None:
        return ""
    return f"standard uncertainty {body.u_so2_mg_l:.1f} mg/L"


def _joined(parts: Sequence[str | None]) -> str:
    return ", ".join(part for part in parts if part)


def _and(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]


def _told(value: object, form: str) -> str | None:
    return None if value is None else form.format(value)


def _lot(body: LotBody, _: str | None) -> str:
    return _joined(
        [
            body.name,
            body.style,
            _told(body.vintage, "{}"),
            _told(body.alcohol_percent_vol, "{:g} % vol"),
            _told(body.sugar_g_l, "{:g} g/L sugar"),
            _told(body.malolactic, "malolactic {}"),
        ]
    )


def _fill(body: FillBody, lot: str | None) -> str:
    much = "an unknown amount" if body.volume_l is None else liters(body.volume_l)
    return f"{much} of {lot}" + (" to the wine in it" if body.blend else "")


def _titration(body: TitrationBody, _: str | None) -> str:
    if body.so2_mg_l is None:
        below = "< detection," if body.u_so2_mg_l is None else f"< {below_mg_l(body.u_so2_mg_l):.0f} mg/L"
        result = f"{below} {body.quantity} SO2"
    else:
        result = f"{body.so2_mg_l:.0f} mg/L {body.quantity} SO2"
    if body.method == "elsewhere":
        return f"{result}, found elsewhere"
    titres = _and([f"{_titre(flask):.4g}" for flask in body.flasks])
    blank = f" less {body.blank_ml:g} mL" if body.blank_ml else ""
    of = "" if body.strength is None else f" of {_strength(body.strength)}"
    factor = "" if body.factor is None else f" (factor {body.factor:g})"
    return f"{titres} mL{blank}{of}{factor} on {body.sample_ml:g} mL: {result}"


def _titre(flask: Flask) -> float:
    # A difference of decimal readings is a hair off.
    return round(flask.used_ml, 6)


def _strength(strength: Strength) -> str:
    if strength.meaning is Meaning.NORMALITY:
        return f"{strength.number:g} N"
    return f"{strength.number:g} mol/L ({strength.meaning.removesuffix(' molarity')})"


def _titrant(body: TitrantBody, _: str | None) -> str:
    factor = None if body.factor is None else f"factor {body.factor:g}"
    return _joined([f"{body.name}: {body.substance}", _strength(body.strength), factor])


def _measurement(body: MeasurementBody, _: str | None) -> str:
    unit = body.unit or MEASURED_UNITS.get(body.quantity, "")
    spread = "" if body.u_value is None else f" (standard uncertainty {body.u_value:.3g})"
    return _joined(
        [
            f"{body.quantity} {body.value:.6g} {unit}".rstrip() + spread,
            None if body.volume_l is None else f"which makes {liters(body.volume_l)} of wine",
            _told(body.content_kg, "which makes {:.2f} kg of gas"),
            _told(body.instrument, "by {}"),
        ]
    )


def _look(body: LookBody, _: str | None) -> str:
    film = None if body.film is None else "a film" if body.film else "no film"
    said = _joined(
        [
            body.clarity,
            _told(body.turbidity_ntu, "{:g} NTU"),
            _told(body.lees_mm, "{:g} mm of lees"),
            _told(body.smell, "smells of {}"),
            film,
            _told(body.photo, "photo {}"),
        ]
    )
    return said or "looked at"


def _calibration(body: CalibrationBody, _: str | None) -> str:
    points = _and([f"{point.shown:.4g} is {point.truth:.4g} {body.unit}".rstrip() for point in body.points])
    return _joined([f"{body.probe}: {points}", _told(body.temperature_c, "at {:g} °C")])


def _drawn(drawn: Drawn) -> str:
    return (f"all of {drawn.vessel}" if drawn.volume_l is None else f"{liters(drawn.volume_l)} from {drawn.vessel}") + (
        f" ({liters(drawn.lees_l)} of lees)" if drawn.lees_l else ""
    )


def _poured(poured: Poured) -> str:
    much = "" if poured.volume_l is None else f" ({liters(poured.volume_l)})"
    return f"{poured.vessel}{much}" + (", blended" if poured.blend else "")


def _racking(body: RackingBody, _: str | None) -> str:
    sources = _and([_drawn(drawn) for drawn in body.sources])
    into = " into " + _and([_poured(poured) for poured in body.targets]) if body.targets else ""
    lees = _told(body.lees_l or None, "{:g} L left as lees")
    finishes = _told(body.begun, "finishes no. {}")
    begun = "begun: " if body.stage == "begun" else ""
    return _joined([f"{begun}{sources}{into}", lees, finishes])


def _topping(body: ToppingBody, lot: str | None) -> str:
    much = "" if body.volume_l is None else liters(body.volume_l)
    if body.bought is not None:
        bought = body.bought
        bottles = f"{bought.number} x {bought.size_l:g} L bought"
        return _joined(
            [
                f"{much} of {bottles}" if much else bottles,
                bought.name,
                _told(bought.alcohol_percent_vol, "{:g} % vol"),
                _told(bought.ph, "pH {:g}"),
                _told(bought.free_so2_mg_l, "{:g} mg/L free SO2"),
                _told(bought.total_so2_mg_l, "{:g} mg/L total SO2"),
                _told(bought.sugar_g_l, "{:g} g/L sugar"),
            ]
        )
    source = f"from {body.source}" if body.source is not None else f"of {lot}"
    return f"{much or 'an unknown amount'} {source}"


def _sample(body: SampleBody, _: str | None) -> str:
    much = "a little" if body.volume_l is None else f"{1000.0 * body.volume_l:g} mL"
    return f"{much} drawn" + (f" for {body.purpose}" if body.purpose else "")


def _gas(body: GasBody, _: str | None) -> str:
    to = _told(body.pressure_kpa, " to {:g} kPa") or ""
    times = "" if body.times is None else f" {body.times} times"
    gas = _told(body.gas, " {} ") or ""
    return f"{body.act}{times}{to}{gas.rstrip()}" + (f", from {body.cylinder}" if body.cylinder else "")


def _bottling(body: BottlingBody, _: str | None) -> str:
    bottles = _and([f"{one.number} x {one.size_l:g} L" for one in body.bottles])
    return _joined(
        [
            bottles,
            body.closure,
            f"{liters(body.waste_l)} lost" if body.waste_l else None,
            None if body.remainder_l is None else f"{liters(body.remainder_l)} stay",
        ]
    )


def _state(body: StateBody, _: str | None) -> str:
    lock = None if body.lock_liquid_seen is None else "liquid in the lock" if body.lock_liquid_seen else "lock is dry"
    return _joined([body.state, lock]) or "remark"


def _addition(body: AdditionBody, _: str | None) -> str:
    what = {
        "metabisulfite": f"{_told(body.mass_g, '{:g} g') or ''} of {body.salt or ''} metabisulfite",
        "stock solution": f"{body.volume_ml or 0:g} mL of {body.salt or ''} metabisulfite solution, "
        f"{body.stock_g_per_100_ml or 0:g} g/100 mL",
        "tablets": f"{body.number or 0:g} tablets of {body.label_so2_g or 0:g} g SO2",
        "liquid": f"{body.volume_ml or 0:g} mL with {body.label_so2_g_l or 0:g} g/L SO2",
        "other": _joined(
            [
                body.name,
                _told(body.mass_g, "{:g} g"),
                _told(body.volume_ml, "{:g} mL"),
                _told(body.number, "{:g}"),
                body.amount,
            ]
        ),
    }[body.form]
    brings = "" if body.so2_g is None else f": {body.so2_g:.3g} g SO2"
    return " ".join(what.split()) + brings


_WORDS: Final[Mapping[type[Body], Callable[[Any, str | None], str]]] = {
    LotBody: _lot,
    FillBody: _fill,
    TitrationBody: _titration,
    TitrantBody: _titrant,
    MeasurementBody: _measurement,
    LookBody: _look,
    CalibrationBody: _calibration,
    RackingBody: _racking,
    ToppingBody: _topping,
    SampleBody: _sample,
    GasBody: _gas,
    BottlingBody: _bottling,
    StateBody: _state,
    AdditionBody: _addition,
}
