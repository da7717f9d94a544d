"""Default limits on the gas over a wine, as it is worked out: where they are, what replaces them, what hides what."""

from __future__ import annotations

import pytest
from cellar_text import KEG, MQTT, PROBE, SITE, TEMPERATURE, carboy, cellar, keg, limit, probe, site, temperature

from ingest.cellar import EffectiveLimit, is_of_one_cause
from ingest.cellar.one_cause import gas_rank

WATCHED = (SITE, MQTT, KEG, PROBE, TEMPERATURE)
AIR, LEAK, SOON = "K1/pressure/air", "K1/leak_rate/high", "K1/hours_to_air_floor/soon"
FORESEEN, COLD = "K1/hours_to_air_floor/low", "K1/hours_to_air_floor_by_cold/low"
CARE, GAIN = "K1/compensated_pressure/care", "K1/gas_gain_rate/high"
JUDGED = (LEAK, SOON, FORESEEN, COLD, CARE, GAIN)


def by_key(*pieces: str) -> dict[str, EffectiveLimit]:
    limits = cellar(*pieces).limits
    found = {limit.key: limit for limit in limits}
    assert len(found) == len(limits)
    return found


def judged(limits: dict[str, EffectiveLimit]) -> list[str]:
    return [key for key, limit in limits.items() if limit.probe == f"{limit.at}/{limit.quantity}"]


def test_a_keg_under_gas_with_both_probes() -> None:
    limits = by_key(*WATCHED)
    assert judged(limits) == list(JUDGED)
    assert {key: (limits[key].setpoint, limits[key].priority, limits[key].hours) for key in JUDGED} == {
        LEAK: (0.001, "medium", "waking"),
        SOON: (12.0, "high", "any"),
        FORESEEN: (48.0, "medium", "waking"),
        COLD: (24.0, "medium", "waking"),
        CARE: (20.0, "medium", "waking"),
        GAIN: (0.001, "medium", "waking"),
    }
    for key in JUDGED:
        assert limits[key].consequence
        assert limits[key].action
        assert limits[key].deadband < limits[key].setpoint, "a number of 0, or a full blanket, can end it"


def test_without_a_temperature_there_are_none() -> None:
    assert judged(by_key(SITE, MQTT, KEG, PROBE)) == []


def test_glass_is_watched_for_gas_that_comes_in_at_any_hour() -> None:
    limits = by_key(SITE, MQTT, carboy(), probe("c1-p", "C1"), temperature("c1-t", "C1"))
    assert judged(limits) == ["C1/gas_gain_rate/high"]
    gain = limits["C1/gas_gain_rate/high"]
    assert (gain.priority, gain.hours, gain.suppressed_by) == ("high", "any", ("C1/pressure/over",))
    assert "Glass bursts" in gain.consequence


def test_a_weak_stamp_shrinks_care_and_the_site_chooses_the_unit() -> None:
    weak = keg(max_pressure="25 kPa")
    assert by_key(SITE, MQTT, weak, PROBE, TEMPERATURE)[CARE].setpoint == 10.0
    assert by_key(site(units="us"), MQTT, KEG, PROBE, TEMPERATURE)[CARE].unit_text == "psi"


def test_one_cause_is_one_alarm() -> None:
    limits = by_key(*WATCHED)
    hidden = {key: set(limits[key].suppressed_by) for key in JUDGED}
    assert hidden == {
        SOON: {AIR},
        LEAK: {AIR, SOON},
        FORESEEN: {AIR, SOON, LEAK},
        COLD: {AIR, SOON, LEAK, FORESEEN},
        CARE: {AIR, SOON, LEAK, FORESEEN, COLD},
        GAIN: {"K1/pressure/working", "K1/pressure/over"},
    }
    assert AIR not in {key for other in limits.values() for key in other.suppressed_by if other.role == "over"}
    assert limits[AIR].suppressed_by == ()


@pytest.mark.parametrize(
    ("setting", "gone", "stays"),
    [
        ({"quantity": "leak_rate", "high": "0.5 mL/min"}, (), (SOON, FORESEEN, CARE)),
        ({"quantity": "hours_to_air_floor", "low": "24 h"}, (), (SOON, LEAK)),
        ({"quantity": "hours_to_air_floor", "low": "6 h"}, (SOON,), (LEAK, COLD)),
        ({"quantity": "compensated_pressure", "low": "4 kPa"}, (CARE,), (LEAK, SOON)),
    ],
)
def test_a_limit_of_the_file_replaces_the_default_one(
    setting: dict[str, str], gone: tuple[str, ...], stays: tuple[str, ...]
) -> None:
    limits = by_key(*WATCHED, limit(at="K1", **setting))
    written = limits[f"K1/{setting['quantity']}/{'high' if 'high' in setting else 'low'}"]
    assert written.origin == "file"
    of_quantity = [each for each in limits.values() if each.quantity == setting["quantity"]]
    assert not {*gone} & {each.key for each in of_quantity}
    assert all(limits[key].origin == "default" for key in stays)


def test_what_is_milder_and_louder_is_not_hidden() -> None:
    limits = by_key(
        *WATCHED, limit(at="K1", quantity="compensated_pressure", low="10 kPa", priority="high", hours="any")
    )
    assert set(limits["K1/compensated_pressure/low"].suppressed_by) == {AIR, SOON}


def test_a_low_limit_above_the_air_floor_hides_no_leak() -> None:
    limits = by_key(*WATCHED, limit(at="K1", quantity="pressure", low="40 kPa", priority="high", hours="any"))
    assert limits[LEAK].suppressed_by == (AIR, SOON)
    assert gas_rank(limits["K1/pressure/low"]) is None


def test_a_small_limit_on_a_leak_can_end() -> None:
    small = by_key(*WATCHED, limit(at="K1", quantity="leak_rate", high="0.05 mL/min"))[LEAK]
    assert small.deadband == 0.025
    assert by_key(*WATCHED, limit(at="K1", quantity="leak_rate", high="1 mL/min"))[LEAK].deadband == 0.1


def test_gas_that_is_lost_and_gas_that_comes_in_are_two_causes() -> None:
    limits = by_key(*WATCHED)
    assert is_of_one_cause(limits[LEAK], limits[AIR])
    assert is_of_one_cause(limits[GAIN], limits["K1/pressure/over"])
    assert not is_of_one_cause(limits[LEAK], limits[GAIN])
    assert not is_of_one_cause(limits[LEAK], limits["K1/pressure/no-data"])
