"""`[site] units`: metric, us, or by quantity; and how a pressure is then shown."""

from __future__ import annotations

import pytest
from cellar_text import KEG, MQTT, PROBE, SITE, cellar, problems

from alerts.view.format import unit_name, value_text
from ingest.cellar.shown_units import read_units


def units(line: str) -> str:
    return cellar(SITE + f"units = {line}\n", MQTT, KEG, PROBE).site.units


def test_a_pressure_can_be_shown_in_bar() -> None:
    chosen = units('{ pressure = "bar" }')
    assert value_text("pressure", 55.2, chosen) == "0.552 bar"
    assert value_text("temperature", 12.0, chosen) == "12.0 °C"
    assert unit_name("pressure", chosen) == "bar"


def test_each_quantity_may_have_its_own_unit() -> None:
    chosen = units('{ pressure = "psi", temperature = "°F" }')
    assert value_text("pressure", 55.2, chosen) == "8.01 psi"
    assert value_text("temperature", 12.0, chosen) == "53.6 °F"


@pytest.mark.parametrize(("kpa", "text"), [(14166.0, "141.7 bar"), (1000.0, "10.0 bar"), (999.0, "999.0 kPa")])
def test_a_cylinder_is_shown_in_bar(kpa: float, text: str) -> None:
    assert value_text("pressure", kpa, "metric") == text


def test_a_default_limit_speaks_in_the_chosen_unit() -> None:
    limits = cellar(SITE + 'units = { pressure = "bar" }\n', MQTT, KEG, PROBE).limits
    assert {limit.unit_text for limit in limits if limit.quantity == "pressure" and limit.kind != "no data"} == {"bar"}


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ('"imperial"', 'allowed: "metric" or "us", or units by quantity'),
        ('{ volume = "gal" }', "no unit can be chosen for volume; allowed: pressure, barometric_pressure, temperature"),
        ('{ pressure = "mg" }', "the unit of pressure: "),
        ("{ pressure = 5 }", "the unit of pressure must be text"),
        ("{ }", "name at least one quantity"),
    ],
)
def test_what_will_not_do_says_what_will(line: str, why: str) -> None:
    (found,) = problems(SITE + f"units = {line}\n" + MQTT + KEG)
    assert found.startswith("[site] units") and why in found


def test_us_is_still_us() -> None:
    assert value_text("pressure", 55.2, read_units("us")) == "8.01 psi"
