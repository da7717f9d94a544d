"""The units of SenML records."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.cellar import Dimension
from ingest.cellar.units import UNITS
from ingest.errors import Unreadable
from ingest.probes.record_unit import value_in
from ingest.sources.senml import SenmlRecord

TEMPERATURE, PRESSURE, PH = Dimension.TEMPERATURE, Dimension.PRESSURE, Dimension.PH


@pytest.mark.parametrize(
    ("sent", "unit", "dimension", "into", "number"),
    [
        (12.5, "Cel", TEMPERATURE, "degC", 12.5),
        (285.65, "K", TEMPERATURE, "°C", 12.5),  # 273.15; one draft of RFC 8428 printed 275.15
        (12.5, "Cel", TEMPERATURE, "degF", 54.5),
        (55_200, "Pa", PRESSURE, "kPa", 55.2),
        (6894.757, "Pa", PRESSURE, "psi", 1.0),
        (3.42, "pH", PH, "pH", 3.42),
        (0.5, "kg/m3", Dimension.CONCENTRATION, "mg/L", 500.0),
        (0.02, "m3", Dimension.VOLUME, "L", 20.0),
        (0.98, "/", Dimension.RATIO, "%", 98.0),
        (0.98, "%", Dimension.RATIO, "%", 98.0),
    ],
)
def test_primary_units(sent: float, unit: str, dimension: Dimension, into: str, number: float) -> None:
    record = SenmlRecord("a", unit, sent)
    for declared in (False, True):
        assert value_in(record, dimension, into, declared=declared) == pytest.approx(number, rel=1e-6)


@pytest.mark.parametrize(
    ("sent", "unit", "dimension", "into", "number"),
    [
        (1013.25, "hPa", PRESSURE, "kPa", 101.325),
        (2.5, "km", Dimension.LENGTH, "m", 2500.0),
        (90, "min", Dimension.TIME, "h", 1.5),
        (98, "/100", Dimension.RATIO, "", 0.98),
        (20, "ppm", Dimension.RATIO, "", 2e-5),
    ],
)
def test_secondary_units_need_a_pack_that_announces_them(
    sent: float, unit: str, dimension: Dimension, into: str, number: float
) -> None:
    record = SenmlRecord("a", unit, sent, secondary=True)
    assert value_in(record, dimension, into, declared=False) == pytest.approx(number)
    with pytest.raises(Unreadable, match=r"^unknown unit: a: .* needs a pack with bver 26 \(RFC 8798\)$"):
        value_in(SenmlRecord("a", unit, sent), dimension, into, declared=False)


def test_coulomb_and_farad_are_no_temperatures() -> None:
    with pytest.raises(Unreadable, match=r'^unit does not fit: a: "C" is the coulomb; degrees Celsius are "Cel"$'):
        value_in(SenmlRecord("a", "C", 12.5), TEMPERATURE, "degC", declared=True)
    with pytest.raises(Unreadable, match=r'^unit does not fit: a: "F" is the farad'):
        value_in(SenmlRecord("a", "F", 54.5), TEMPERATURE, "degF", declared=True)


@pytest.mark.parametrize("unit", ["psi", "bar", "mbar", "hPa"])
def test_a_name_outside_of_the_registry_counts_only_where_it_is_written_for_the_probe(unit: str) -> None:
    record = SenmlRecord("a", unit, 8.0)
    assert value_in(record, PRESSURE, unit, declared=True) == 8.0
    for into, declared in ((unit, False), ("kPa", True)):
        with pytest.raises(Unreadable, match=r"^unknown unit: "):
            value_in(record, PRESSURE, into, declared=declared)


def test_a_record_without_a_unit_is_in_the_probes() -> None:
    record = SenmlRecord("k1/gas", None, 8.0)
    assert value_in(record, PRESSURE, "psi", declared=True) == 8.0
    with pytest.raises(Unreadable, match=r"^no unit: k1/gas has no unit; write the unit of its numbers for the probe$"):
        value_in(record, PRESSURE, "kPa", declared=False)


@pytest.mark.parametrize("unit", ["Cel", "pH", "%"])
def test_a_unit_of_something_else_does_not_fit(unit: str) -> None:
    with pytest.raises(Unreadable, match=f"^unit does not fit: a: '{unit}' is not a unit of pressure$"):
        value_in(SenmlRecord("a", unit, 8.0), PRESSURE, "kPa", declared=True)


@pytest.mark.parametrize(
    ("record", "reason"),
    [
        (SenmlRecord("a", "Pa", None, 5.0), "a sum without a value"),
        (SenmlRecord("a", "Pa", None, text="5"), "not a number"),
        (SenmlRecord("a", "Pa", None, flag=True), "not a number"),
        (SenmlRecord("a", "Cel", 1.7e308), "not finite"),
    ],
)
def test_what_holds_no_number_is_refused(record: SenmlRecord, reason: str) -> None:
    into, dimension = ("degF", TEMPERATURE) if record.unit == "Cel" else ("kPa", PRESSURE)
    with pytest.raises(Unreadable) as caught:
        value_in(record, dimension, into, declared=False)
    assert caught.value.reason == reason


@given(
    st.one_of(st.none(), st.text(max_size=6), st.sampled_from(["Cel", "K", "Pa", "hPa", "pH", "/", "km", "psi"])),
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from([(dimension, unit) for dimension, units in UNITS.items() for unit in units]),
    st.booleans(),
    st.booleans(),
)
def test_any_unit_gives_a_finite_number_or_a_reason(
    unit: str | None, sent: float, into: tuple[Dimension, str], declared: bool, secondary: bool
) -> None:
    try:
        number = value_in(SenmlRecord("a", unit, sent, secondary=secondary), *into, declared=declared)
    except Unreadable as error:
        assert error.reason
        assert error.detail.isprintable()
    else:
        assert number - number == 0
