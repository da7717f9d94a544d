"""Limits as they are watched: defaults by kind of vessel, and what the file's own limits replace."""

from __future__ import annotations

import pytest
from cellar_text import BASE, CARBOY, KEG, LIMIT, MQTT, PROBE, SITE, TEMPERATURE, cellar

from ingest.cellar import EffectiveLimit

OWN = LIMIT + 'at = "K1"\nquantity = "pressure"\n'


def _by_key(*pieces: str) -> dict[str, EffectiveLimit]:
    limits = cellar(*pieces).limits
    by_key = {limit.key: limit for limit in limits}
    assert len(by_key) == len(limits)
    return by_key


def _numbers(limit: EffectiveLimit) -> tuple[object, ...]:
    return limit.kind, limit.setpoint, limit.deadband, limit.on_delay_s, limit.priority, limit.hours, limit.role


def test_a_keg_under_gas() -> None:
    limits = _by_key(BASE)
    assert {key: _numbers(limit) for key, limit in limits.items()} == {
        "K1/pressure/no-data": ("no data", 180.0, 0.0, 0.0, "medium", "waking", ""),
        "K1/pressure/care": ("low", 20.0, 3.0, 600.0, "medium", "waking", "care"),
        "K1/pressure/air": ("low", 5.0, 1.0, 60.0, "high", "any", "air"),
        "K1/pressure/over": ("high", 180.0, 4.0, 10.0, "high", "any", "over"),
    }
    assert {limit.suppressed_by for limit in limits.values()} == {(), ("K1/pressure/air",)}
    assert limits["K1/pressure/care"].suppressed_by == ("K1/pressure/air",)
    assert {limit.origin for limit in limits.values()} == {"default"}
    assert {limit.probe for limit in limits.values()} == {"k1-pressure"}
    assert all(limit.consequence and limit.action for limit in limits.values())


@pytest.mark.parametrize(
    "vessel",
    [
        'kind = "carboy"',
        'kind = "bottle"',
        'kind = "carboy"\ngas = "argon"',
        'kind = "barrel"',
        'kind = "barrel"\ngas = "argon"',
        'kind = "tank"',
        'kind = "keg"\nmax_pressure = "200 kPa"',
        'kind = "tank"\ngas = "nitrogen"\nmaterial = "glass"',
    ],
)
def test_anything_else_is_to_have_no_pressure(vessel: str) -> None:
    limits = _by_key(SITE, MQTT, f'[[vessel]]\nid = "K1"\ncapacity = "20 L"\n{vessel}\n', PROBE)
    assert set(limits) == {"K1/pressure/no-data", "K1/pressure/over"}
    assert _numbers(limits["K1/pressure/over"]) == ("high", 2.0, 0.5, 30.0, "high", "any", "over")
    glass = "carboy" in vessel or "bottle" in vessel or "glass" in vessel
    assert ("Glass bursts" in limits["K1/pressure/over"].consequence) == glass


def test_a_weak_tank_has_low_limits_that_fit_under_its_stamp() -> None:
    tank = KEG.replace("200 kPa", "10 kPa").replace('"keg"', '"tank"')
    limits = _by_key(SITE, MQTT, tank, PROBE)
    assert [limits[f"K1/pressure/{role}"].setpoint for role in ("air", "care", "over")] == [1.0, 4.0, 9.0]


def test_without_a_pressure_probe_only_silence_is_watched() -> None:
    assert set(_by_key(SITE, MQTT, KEG, TEMPERATURE)) == {"K1/temperature/no-data"}


@pytest.mark.parametrize(("every", "after"), [("10 s", 120.0), ("40 s", 120.0), ("5 min", 900.0)])
def test_no_data_after_three_intervals_but_at_least_two_minutes(every: str, after: float) -> None:
    assert _by_key(BASE + f'every = "{every}"\n')["K1/pressure/no-data"].setpoint == after


def test_an_own_low_limit_replaces_care_and_air() -> None:
    limits = _by_key(BASE, OWN + 'low = "30 kPa"\n')
    assert set(limits) == {"K1/pressure/low", "K1/pressure/over", "K1/pressure/no-data"}
    assert limits["K1/pressure/low"].origin == "file"


def test_an_own_high_limit_replaces_over() -> None:
    limits = _by_key(BASE, OWN + 'high = "100 kPa"\n')
    assert set(limits) == {"K1/pressure/high", "K1/pressure/care", "K1/pressure/air", "K1/pressure/no-data"}


def test_an_own_no_data_limit_replaces_the_default_one() -> None:
    limits = _by_key(BASE, LIMIT + 'probe = "k1-pressure"\nno_data = "10 min"\n')
    assert _numbers(limits["K1/pressure/no-data"]) == ("no data", 600.0, 0.0, 0.0, "medium", "any", "")
    assert limits["K1/pressure/no-data"].origin == "file"
    assert limits["K1/pressure/no-data"].unit_text == "min"


def test_the_limits_id_is_its_key() -> None:
    assert "thin" in _by_key(BASE, OWN + 'id = "thin"\nlow = "30 kPa"\n')


def test_two_low_limits_on_one_pressure_need_two_keys() -> None:
    limits = _by_key(BASE, OWN + 'low = "30 kPa"\n', OWN + 'id = "very-thin"\nlow = "3 kPa"\npriority = "high"\n')
    assert {"K1/pressure/low", "very-thin"} <= set(limits)


def test_two_probes_of_one_quantity_have_their_ids_behind_the_key() -> None:
    second = PROBE.replace("k1-pressure", "spare").replace("k1/p", "k1/spare")
    limits = _by_key(BASE, second, OWN + 'probe = "spare"\nlow = "30 kPa"\n')
    assert set(limits) == {
        "K1/pressure/low/spare",
        "K1/pressure/over/spare",
        "K1/pressure/no-data/spare",
        "K1/pressure/care/k1-pressure",
        "K1/pressure/air/k1-pressure",
        "K1/pressure/over/k1-pressure",
        "K1/pressure/no-data/k1-pressure",
    }
    assert limits["K1/pressure/care/k1-pressure"].suppressed_by == ("K1/pressure/air/k1-pressure",)


@pytest.mark.parametrize(
    ("quantity", "setpoint", "usual"),
    [("pressure", "30 kPa", (2.0, 15.0, 15.0)), ("temperature", "18 °C", (0.4, 300.0, 300.0))],
)
def test_what_is_usual_fills_the_gaps(quantity: str, setpoint: str, usual: tuple[float, ...]) -> None:
    own = LIMIT + f'at = "K1"\nquantity = "{quantity}"\nlow = "{setpoint}"\n'
    limit = _by_key(BASE, TEMPERATURE, own)[f"K1/{quantity}/low"]
    assert (limit.deadband, limit.on_delay_s, limit.off_delay_s) == usual
    assert (limit.priority, limit.hours) == ("medium", "any")


def test_what_is_written_stands() -> None:
    own = (
        OWN
        + 'low = "5 psi"\ndeadband = "0"\non_delay = "0 s"\noff_delay = "2 min"\npriority = "low"\nhours = "waking"\n'
    )
    limit = _by_key(BASE, own.replace('"0"', '"0 kPa"'))["K1/pressure/low"]
    assert (limit.deadband, limit.on_delay_s, limit.off_delay_s) == (0.0, 0.0, 120.0)
    assert (limit.priority, limit.hours, limit.unit_text) == ("low", "waking", "psi")
    assert limit.setpoint == pytest.approx(34.473786466)


def test_a_deadband_in_fahrenheit_is_a_difference() -> None:
    own = LIMIT + 'at = "K1"\nquantity = "temperature"\nhigh = "68 °F"\ndeadband = "1.8 °F"\n'
    limit = _by_key(BASE, TEMPERATURE, own)["K1/temperature/high"]
    assert [limit.setpoint, limit.deadband] == pytest.approx([20.0, 1.0])


def test_default_limits_speak_the_sites_units() -> None:
    us = _by_key(SITE + 'units = "us"\n', MQTT, KEG, CARBOY, PROBE)
    assert us["K1/pressure/care"].unit_text == "psi"
    assert us["K1/pressure/care"].setpoint == 20.0
    assert _by_key(BASE)["K1/pressure/care"].unit_text == "kPa"
