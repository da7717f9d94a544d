"""Limits as they are watched: defaults by kind of vessel, and what the file's own limits replace."""

from __future__ import annotations

import pytest
from cellar_text import BASE, CARBOY, KEG, LIMIT, MQTT, PROBE, SITE, TEMPERATURE, cellar, room, temperature

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
        "K1/pressure/working": ("high", 120.0, 10.0, 600.0, "medium", "waking", "working"),
        "K1/pressure/over": ("high", 180.0, 4.0, 10.0, "high", "any", "over"),
    }
    assert {key: limit.suppressed_by for key, limit in limits.items() if limit.suppressed_by} == {
        "K1/pressure/care": ("K1/pressure/air",),
        "K1/pressure/working": ("K1/pressure/over",),
    }
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


def test_the_usual_pressure_is_what_the_file_says() -> None:
    set_higher = KEG + 'working_pressure = "150 kPa"\n'
    limit = _by_key(SITE, MQTT, set_higher, PROBE)["K1/pressure/working"]
    assert (limit.setpoint, limit.deadband) == (150.0, 10.0)


@pytest.mark.parametrize(("stamp", "watched"), [("144 kPa", False), ("145 kPa", True)])
def test_where_the_stamp_is_near_only_it_is_watched(stamp: str, watched: bool) -> None:
    limits = _by_key(SITE, MQTT, KEG.replace("200 kPa", stamp), PROBE)
    assert ("K1/pressure/working" in limits) == watched
    assert "K1/pressure/over" in limits


def test_a_weak_vessel_may_say_what_is_usual() -> None:
    tank = KEG.replace("200 kPa", "50 kPa") + 'working_pressure = "30 kPa"\n'
    limit = _by_key(SITE, MQTT, tank, PROBE)["K1/pressure/working"]
    assert (limit.setpoint, limit.deadband) == (30.0, 3.0)


def test_the_temperature_at_a_vessel() -> None:
    limits = _by_key(SITE, MQTT, KEG, TEMPERATURE)
    assert {key: _numbers(limit) for key, limit in limits.items()} == {
        "K1/temperature/no-data": ("no data", 180.0, 0.0, 0.0, "medium", "waking", ""),
        "K1/temperature/frost": ("low", 0.0, 0.4, 1800.0, "medium", "any", "frost"),
        "K1/temperature/heat": ("high", 24.0, 0.4, 3600.0, "medium", "waking", "heat"),
        "K1/temperature/change": ("rate", 5.0, 0.4, 0.0, "low", "digest", "change"),
    }
    assert limits["K1/temperature/change"].within_s == 3600.0


def test_the_air_beside_a_vessel_is_judged_more_slowly_and_may_change() -> None:
    limits = _by_key(SITE, MQTT, KEG, temperature(mounted="air"))
    assert set(limits) == {"K1/temperature/no-data", "K1/temperature/frost", "K1/temperature/heat"}
    assert {limit.on_delay_s for limit in limits.values() if limit.kind != "no data"} == {21_600.0}


def test_the_temperature_of_a_room_has_no_default_limit() -> None:
    text = room(id="cellar"), temperature(at="cellar")
    assert set(_by_key(SITE, MQTT, KEG, *text)) == {"cellar/temperature/no-data"}


def test_only_glass_bursts() -> None:
    steel = _by_key(SITE, MQTT, KEG, TEMPERATURE)["K1/temperature/frost"]
    glass = _by_key(SITE, MQTT, CARBOY, temperature(at="C1"))["C1/temperature/frost"]
    assert "glass bursts" in glass.consequence
    assert "glass" not in steel.consequence


@pytest.mark.parametrize(
    ("own", "left"),
    [
        ('low = "10 °C"', {"low", "frost", "heat", "change"}),
        ('low = "-2 °C"', {"low", "heat", "change"}),
        ('high = "18 °C"', {"high", "frost", "heat", "change"}),
        ('high = "24 °C"', {"high", "frost", "change"}),
        ('rate = "3 K in 1 h"', {"rate", "frost", "heat"}),
    ],
)
def test_an_own_limit_on_temperature_replaces_the_default_ones_that_it_reaches(own: str, left: set[str]) -> None:
    warm = LIMIT + f'at = "K1"\nquantity = "temperature"\n{own}\n'
    limits = _by_key(SITE, MQTT, KEG, TEMPERATURE, warm)
    assert set(limits) == {f"K1/temperature/{word}" for word in left | {"no-data"}}


@pytest.mark.parametrize(("every", "after"), [("10 s", 120.0), ("40 s", 120.0), ("5 min", 900.0)])
def test_no_data_after_three_intervals_but_at_least_two_minutes(every: str, after: float) -> None:
    assert _by_key(BASE + f'every = "{every}"\n')["K1/pressure/no-data"].setpoint == after


@pytest.mark.parametrize(
    ("own", "left"),
    [
        ('low = "30 kPa"', {"low", "air", "working", "over"}),
        ('low = "10 kPa"', {"low", "air", "working", "over"}),
        ('low = "5 kPa"', {"low", "working", "over"}),
        ('low = "3 kPa"', {"low", "working", "over"}),
        ('high = "100 kPa"', {"high", "care", "air", "over"}),
        ('high = "150 kPa"', {"high", "care", "air", "over"}),
        ('high = "180 kPa"', {"high", "care", "air"}),
        ('rate = "10 kPa in 1 h"', {"rate", "care", "air", "working", "over"}),
    ],
)
def test_an_own_limit_on_pressure_replaces_the_default_ones_that_it_reaches(own: str, left: set[str]) -> None:
    limits = _by_key(BASE, OWN + own + "\n")
    assert set(limits) == {f"K1/pressure/{word}" for word in left | {"no-data"}}
    mine = next(limit for limit in limits.values() if limit.origin == "file")
    assert mine.key.rpartition("/")[2] in ("low", "high", "rate")


def test_of_several_setpoints_the_worse_ones_suppress_the_milder() -> None:
    limits = _by_key(
        BASE,
        OWN + 'id = "thin"\nlow = "30 kPa"\nhours = "waking"\n',
        OWN + 'id = "thinner"\nlow = "12 kPa"\nhours = "waking"\n',
    )
    assert limits["thin"].suppressed_by == ("thinner", "K1/pressure/air")
    assert limits["thinner"].suppressed_by == ("K1/pressure/air",)
    assert limits["K1/pressure/air"].suppressed_by == ()


def test_a_worse_limit_that_may_say_less_does_not_suppress() -> None:
    """Or nobody would hear of a fall at night whose worse half waits for the morning."""
    limits = _by_key(
        BASE,
        OWN + 'id = "thin"\nlow = "30 kPa"\npriority = "high"\n',
        OWN + 'id = "thinner"\nlow = "5 kPa"\npriority = "high"\nhours = "waking"\n',
        OWN + 'id = "nothing"\nlow = "3 kPa"\npriority = "low"\n',
    )
    assert all(limits[id].suppressed_by == () for id in ("thin", "thinner", "nothing"))


def test_of_the_same_setpoint_twice_one_speaks() -> None:
    limits = _by_key(BASE, OWN + 'id = "one"\nlow = "3 kPa"\n', OWN + 'id = "two"\nlow = "3 kPa"\n')
    assert limits["one"].suppressed_by == ()
    assert limits["two"].suppressed_by == ("one",)


def test_a_rate_has_its_change_and_its_time() -> None:
    limit = _by_key(BASE, TEMPERATURE, LIMIT + 'at = "K1"\nquantity = "temperature"\nrate = "3.6 °F in 30 min"\n')[
        "K1/temperature/rate"
    ]
    assert (limit.kind, limit.within_s, limit.unit_text) == ("rate", 1800.0, "°F")
    assert limit.setpoint == pytest.approx(2.0)
    assert (limit.deadband, limit.on_delay_s, limit.off_delay_s) == (0.4, 0.0, 600.0)


def test_a_limit_on_a_judged_quantity_needs_no_probe() -> None:
    own = LIMIT + 'at = "K1"\nquantity = "hours_to_air_floor"\nlow = "24 h"\n'
    limit = _by_key(BASE, own)["K1/hours_to_air_floor/low"]
    assert (limit.probe, limit.at, limit.setpoint, limit.hours) == ("K1/hours_to_air_floor", "K1", 24.0, "any")


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
        "K1/pressure/air/spare",
        "K1/pressure/working/spare",
        "K1/pressure/over/spare",
        "K1/pressure/no-data/spare",
        "K1/pressure/care/k1-pressure",
        "K1/pressure/air/k1-pressure",
        "K1/pressure/working/k1-pressure",
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
