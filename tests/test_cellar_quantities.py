"""The table of quantities and the conversion of a probe's numbers."""

from __future__ import annotations

import pytest
from pydantic import TypeAdapter, ValidationError

from ingest.cellar import (
    JUDGED_QUANTITIES,
    LIMIT_QUANTITIES,
    QUANTITIES,
    UnitError,
    difference_in_unit,
    is_judged_id,
    judged_id,
    parse_amount,
    plausible_range,
    series_unit_conversion,
    value_in_unit,
)
from ingest.cellar.form import Identifier
from ingest.cellar.limits import USUAL
from ingest.cellar.quantities import JUDGED_NAMES, PLACE_KINDS, QUANTITY_NAMES
from ingest.cellar.units import UNITS


def test_the_table_is_whole() -> None:
    assert set(QUANTITIES) == set(QUANTITY_NAMES)
    assert set(LIMIT_QUANTITIES) == set(USUAL)
    assert set(JUDGED_QUANTITIES) == set(JUDGED_NAMES)
    for name, row in LIMIT_QUANTITIES.items():
        assert row.name == name
        assert row.unit in UNITS[row.dimension]
        assert row.unit in UNITS[row.difference]
        assert row.plausible_low < row.plausible_high
        assert row.resolution == pytest.approx(10.0**-row.decimals)
        assert row.places <= set(PLACE_KINDS)
        assert row.source
        assert set(row.by_kind) <= row.places
        written = parse_amount(
            row.example, dimension=row.dimension, unit=row.unit, example=row.example, pressure=row.pressure
        )
        assert row.plausible_low < written.number < row.plausible_high
        parse_amount(row.deadband_example, dimension=row.difference, unit=row.unit, example=row.deadband_example)


def test_no_probe_can_have_the_id_of_a_judged_quantity() -> None:
    assert judged_id("K1", "molecular_so2") == "K1/molecular_so2"
    assert is_judged_id(judged_id("K1", "molecular_so2"))
    assert not is_judged_id("k1-pressure")
    with pytest.raises(ValidationError):
        TypeAdapter(Identifier).validate_python(judged_id("K1", "molecular_so2"))


@pytest.mark.parametrize(
    ("quantity", "kind", "expected"),
    [
        ("temperature", "keg", (-30.0, 60.0)),
        ("pressure", "barrel", (-100.0, 1000.0)),
        ("pressure", "cylinder", (0.0, 35000.0)),
        ("barometric_pressure", "room", (50.0, 110.0)),
        ("pH", "tank", (0.0, 14.0)),
    ],
)
def test_plausible_ranges(quantity: str, kind: str, expected: tuple[float, float]) -> None:
    assert plausible_range(quantity, kind) == expected


@pytest.mark.parametrize(
    ("quantity", "unit", "gain", "offset"),
    [
        ("pressure", "psi", 6.894757293168361, 0.0),
        ("pressure", "kPa", 1.0, 0.0),
        ("pressure", "bar gauge", 100.0, 0.0),
        ("barometric_pressure", "hPa", 0.1, 0.0),
        ("temperature", "degF", 5 / 9, -160 / 9),
        ("temperature", "degC", 1.0, 0.0),
        ("temperature", "K", 1.0, -273.15),
        ("pH", "pH", 1.0, 0.0),
    ],
)
def test_a_probes_unit_into_ours(quantity: str, unit: str, gain: float, offset: float) -> None:
    assert list(series_unit_conversion(quantity, unit)) == pytest.approx([gain, offset], rel=1e-15)


@pytest.mark.parametrize("unit", ["C", "F", "kPa", ""])
def test_units_that_no_temperature_has(unit: str) -> None:
    with pytest.raises(UnitError):
        series_unit_conversion("temperature", unit)


def test_a_value_shown_in_another_unit() -> None:
    assert value_in_unit("temperature", 20.0, "°F") == pytest.approx(68.0)
    assert value_in_unit("pressure", 55.15805834534689, "psi") == pytest.approx(8.0)


def test_a_difference_shown_in_another_unit_has_no_offset() -> None:
    assert difference_in_unit("temperature", 5.0, "°F") == pytest.approx(9.0)
    assert difference_in_unit("temperature", -5.0, "K") == -5.0
    assert difference_in_unit("leak_rate", 1.0, "L/d") == pytest.approx(1.44)
