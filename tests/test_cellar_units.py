"""Our table of units, held against pint."""

from __future__ import annotations

import pint
import pytest

from ingest.cellar import Dimension, UnitError, conversion, find_unit, normal_unit
from ingest.cellar.units import UNITS

_PINT_NAMES = {
    "°C": "degC",
    "°F": "degF",
    "m3": "m**3",
    "d": "day",
    "% vol": "percent",
    "%": "percent",
    "hL": "hectoliter",
    "hl": "hectoliter",
    "K": "kelvin",
    "h": "hour",
    "L/d": "L/day",
    "L/h": "L/hour",
}


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry[float]:
    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


def _pint_name(unit: str) -> str:
    bare = unit.removesuffix(" gauge").removesuffix(" absolute")
    bare = {"psig": "psi", "psia": "psi"}.get(bare, bare)
    return _PINT_NAMES.get(bare, bare)


_PHYSICAL = [d for d in Dimension if d not in (Dimension.PH, Dimension.RATIO, Dimension.ALCOHOL)]


@pytest.mark.parametrize(
    ("dimension", "unit"), [(dimension, unit) for dimension in _PHYSICAL for unit in UNITS[dimension]]
)
def test_each_unit_agrees_with_pint(registry: pint.UnitRegistry[float], dimension: Dimension, unit: str) -> None:
    target = next(iter(UNITS[dimension]))
    gain, offset = conversion(dimension, unit, target)
    ours, theirs = _pint_name(unit), _pint_name(target)
    if dimension is Dimension.TEMPERATURE_DIFFERENCE:
        ours, theirs = (name if name == "kelvin" else f"delta_{name}" for name in (ours, theirs))
    for number in (-3.0, 0.0, 12.5, 1000.0):
        expected = registry.Quantity(number, ours).to(theirs).magnitude
        assert gain * number + offset == pytest.approx(expected, rel=1e-12, abs=1e-9)


def test_percent_is_a_hundredth() -> None:
    assert conversion(Dimension.RATIO, "%", "") == (0.01, 0.0)


def test_a_unit_into_itself_changes_no_digit() -> None:
    for dimension, units in UNITS.items():
        for unit in units:
            assert conversion(dimension, unit, unit) == (1.0, 0.0)


def test_known_values() -> None:
    gain, _ = conversion(Dimension.PRESSURE, "psi", "kPa")
    assert gain == pytest.approx(6.894757293168361, rel=1e-15)  # NIST SP 811, appendix B.8
    gain, offset = conversion(Dimension.TEMPERATURE, "degF", "°C")
    assert [gain * 212 + offset, gain * 32 + offset] == pytest.approx([100.0, 0.0], abs=1e-12)


@pytest.mark.parametrize(
    ("dimension", "unit", "told"),
    [
        (Dimension.TEMPERATURE, "C", 'C is the coulomb; write "°C" or "degC"'),
        (Dimension.TEMPERATURE_DIFFERENCE, "F", 'F is the farad; write "°F" or "degF"'),
        (
            Dimension.VOLUME,
            "",
            "the unit is missing; allowed for a volume: L, mL, hL, m3, gal",
        ),
        (
            Dimension.MASS,
            "Kg",
            'there is no unit "Kg"; did you mean "kg"?; allowed for a mass: kg, g, mg, lb, oz',
        ),
        (
            Dimension.LENGTH,
            "L",
            '"L" is a unit of volume, not of length; allowed for a length: m, mm, cm, ft',
        ),
        (Dimension.TIME, "fortnight", 'there is no unit "fortnight"; allowed for a time: s, ms, min, h, d'),
        (
            Dimension.PRESSURE,
            "°C",
            '"°C" is a unit of temperature, not of pressure; allowed for a pressure: kPa, Pa, hPa, mbar, bar, MPa, '
            'psi, psig, psia, and any with "gauge" or "absolute" behind it',
        ),
    ],
)
def test_a_wrong_unit_tells_what_is_allowed(dimension: Dimension, unit: str, told: str) -> None:
    with pytest.raises(UnitError) as caught:
        find_unit(dimension, unit)
    assert str(caught.value) == told


@pytest.mark.parametrize(
    ("text", "plain"), [("m³", "m3"), ("℃", "°C"), ("º F", "° F"), (" kPa   gauge ", "kPa gauge"), ("％", "%")]
)
def test_look_alike_characters(text: str, plain: str) -> None:
    assert normal_unit(text) == plain
