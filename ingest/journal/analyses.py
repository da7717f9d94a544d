"""Bodies of entries that say what was found: titration, titrant, measurement, look, calibration."""

from __future__ import annotations

__all__ = [
    "FOUND_UNITS",
    "MEASURED_UNITS",
    "CalibrationBody",
    "CalibrationPoint",
    "Flask",
    "LookBody",
    "MeasurementBody",
    "Strength",
    "TitrantBody",
    "TitrationBody",
]

from typing import Annotated, Final, Literal, Self

from pydantic import Field, model_validator

from ingest.journal.body import Amount, Body, Id, Moment, Positive, Words
from ingest.journal.titrant import Meaning, Titrant
from ingest.journal.titration import titre_ml

# What can be measured by hand without naming a unit. density in g/mL; weight is what the scales show, tare included.
MEASURED_UNITS: Final[dict[str, str]] = {
    "pH": "",
    "temperature": "°C",
    "alcohol": "% vol",
    "pressure": "kPa",
    "volume": "L",
    "weight": "kg",
    "density": "g/mL",
    "sugar": "g/L",
    "titratable acidity": "g/L",
    "volatile acidity": "g/L",
}

# What a titration finds.
FOUND_UNITS: Final = {"free_so2": "mg/L", "total_so2": "mg/L"}


class Flask(Body):
    """One flask of a titration: the titre, or the burette before and after."""

    titre_ml: Amount | None = None
    start_ml: Amount | None = None
    end_ml: Amount | None = None

    @model_validator(mode="after")
    def _either(self) -> Self:
        read = (self.start_ml is not None, self.end_ml is not None)
        if (self.titre_ml is not None) == any(read) or any(read) != all(read):
            raise ValueError("say the titre, or where the burette stood at start and end, and not both")
        if self.start_ml is not None and self.end_ml is not None:
            titre_ml(self.start_ml, self.end_ml)
        return self

    @property
    def used_ml(self) -> float:
        """The titrant used [mL]."""
        if self.start_ml is None or self.end_ml is None:
            return self.titre_ml or 0.0
        return titre_ml(self.start_ml, self.end_ml)


class Strength(Body):
    """The strength of a titrant: number, and what the number means."""

    number: Positive
    meaning: Meaning


class TitrationBody(Body):
    """Free or total SO2 of the entry's vessel or lot.

    method ``elsewhere``: a result in mg/L that somebody else found. titrant: the bottle's name; strength and factor: as
    they were taken from it then. end_point_s: how long the blue had to stay [s], None for aeration and where nobody
    told it. so2_mg_l and u_so2_mg_l: result and standard uncertainty, as worked out when it was written; so2_mg_l is
    None below the blank, u_so2_mg_l then what a result near 0 would have. warnings: what was told with it.
    """

    quantity: Literal["free", "total"]
    method: Literal["iodometric", "aeration", "elsewhere"]
    flasks: tuple[Flask, ...] = ()
    blank_ml: Amount | None = None
    sample_ml: Positive | None = None
    end_point_s: Positive | None = None
    titrant: Words | None = None
    strength: Strength | None = None
    factor: Positive | None = None
    so2_mg_l: Amount | None = None
    u_so2_mg_l: Amount | None = None
    warnings: tuple[Words, ...] = ()
    remark: Words | None = None

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.method == "elsewhere":
            if self.so2_mg_l is None or self.flasks:
                raise ValueError("a result from elsewhere is its mg/L, without flasks")
        elif not self.flasks or self.sample_ml is None:
            raise ValueError("a titration needs at least one flask and the sample volume in mL")
        return self


class TitrantBody(Body):
    """A bottle of titrant. Its name is what titrations call it by; a later entry of the same name is the bottle now."""

    name: Words
    substance: Titrant
    strength: Strength
    opened_ms: Moment | None = None
    factor: Positive | None = None
    standardised_ms: Moment | None = None
    remark: Words | None = None


class MeasurementBody(Body):
    """One number read by hand. quantity: one of ``MEASURED_UNITS``, in that unit, or another one with its unit.

    u_value: standard uncertainty. volume_l: the wine in the vessel that a weight makes (tare and density taken off);
    content_kg: the carbon dioxide in a cylinder that a weight makes.
    """

    quantity: Words
    value: Annotated[float, Field(ge=-1e6, le=1e6)]
    u_value: Amount | None = None
    unit: Words | None = None
    instrument: Words | None = None
    volume_l: Amount | None = None
    u_volume_l: Amount | None = None
    content_kg: Amount | None = None
    remark: Words | None = None

    @model_validator(mode="after")
    def _unit_is_told(self) -> Self:
        usual = MEASURED_UNITS.get(self.quantity)
        if usual is None and self.unit is None:
            known = ", ".join(MEASURED_UNITS)
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
        """Its standard uncertainty [L], None where nobody told it."""
        return self.u_value if self.quantity == "volume" else self.u_volume_l


class LookBody(Body):
    """What the wine looks and smells like. lees_mm: their depth; film: whether there is one; photo: a file's name."""

    clarity: Literal["bright", "clear", "hazy", "cloudy"] | None = None
    turbidity_ntu: Amount | None = None
    lees_mm: Amount | None = None
    smell: Words | None = None
    film: bool | None = None
    photo: Words | None = None
    remark: Words | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if all(getattr(self, name) is None for name in type(self).model_fields):
            raise ValueError("say what was seen: clarity, turbidity, lees, smell, film, a photo or a remark")
        return self


class CalibrationPoint(Body):
    """What was true, and what leeside showed, both in the quantity's unit."""

    truth: float
    shown: float


class CalibrationBody(Body):
    """Points of a probe against buffers, or zero and span; the probe's scale takes them from the entry's time on."""

    probe: Id
    points: Annotated[tuple[CalibrationPoint, ...], Field(min_length=1)]
    unit: Annotated[str, Field(max_length=20)]
    temperature_c: Annotated[float, Field(ge=-50.0, le=150.0)] | None = None
    remark: Words | None = None
