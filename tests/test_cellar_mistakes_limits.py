"""Mistakes of limits in a cellar file."""

from __future__ import annotations

import pytest
from cellar_text import BASE, CARBOY, LIMIT, MQTT, PROBE, SITE, TEMPERATURE, problems

_PRESSURE = LIMIT + 'at = "K1"\nquantity = "pressure"\n'


_LABEL = "[[limit]] K1/pressure"


_WARM = LIMIT + 'at = "K1"\nquantity = "temperature"\n'


_LIMITS = [
    pytest.param(
        LIMIT + 'lot = "any"\nat = "K1"\nquantity = "temperature"\nhigh = "18 °C"',
        [
            '[[limit]] lot any/temperature/high at = "K1": a limit on wine applies wherever the wine lies; give lot or '
            "this, not both"
        ],
        id="lot and place",
    ),
    pytest.param(
        LIMIT + 'lot = "any"\nquantity = "pressure"\nlow = "18 kPa"',
        [
            '[[limit]] lot any/pressure/low quantity = "pressure": belongs to a place and not to wine; write at with a '
            "place, or one of temperature, pH, molecular_so2, free_so2, total_so2"
        ],
        id="lot and pressure",
    ),
    pytest.param(
        LIMIT + 'lot = "A1"\nhigh = "18 °C"',
        ["[[limit]] no. 1 quantity: is missing: one of temperature, pH, molecular_so2, free_so2, total_so2"],
        id="lot without quantity",
    ),
    pytest.param(
        LIMIT + 'lot = "A1"\nno_data = "10 min"',
        [
            '[[limit]] no. 1 no_data = "10 min": a probe reports or not, whatever wine it stands in; write probe, not '
            "lot"
        ],
        id="lot and silence",
    ),
    pytest.param(
        LIMIT + 'lot = "A1"\nquantity = "free_so2"\nrate = "5 mg/L in 12 h"',
        [
            '[[limit]] lot A1/free_so2/rate rate = "5 mg/L in 12 h": free_so2 is worked out and not measured; give low '
            "or high"
        ],
        id="rate of a judged quantity",
    ),
    pytest.param(
        LIMIT + 'lot = "A1"\nquantity = "free_so2"\nlow = "20 mg/L"\nhours = "any"',
        [
            '[[limit]] lot A1/free_so2/low hours = "any": sulfur dioxide changes over weeks, so nobody is woken for '
            'it: write "waking" or "digest", or leave it out'
        ],
        id="SO2 at night",
    ),
    pytest.param(
        LIMIT + 'lot = "A1"\nquantity = "free_so2"\nlow = "20 kPa"',
        [
            '[[limit]] lot A1/free_so2/low low = "20 kPa": "kPa" is a unit of pressure, not of concentration; allowed '
            "for a concentration: mg/L, g/L"
        ],
        id="unit of a judged quantity",
    ),
    pytest.param(
        LIMIT
        + 'lot = "A1"\nquantity = "total_so2"\nlow = "100 mg/L"\n'
        + LIMIT
        + 'lot = "A1"\nquantity = "total_so2"\nhigh = "90 mg/L"',
        [
            '[[limit]] lot A1/total_so2/low low = "100 mg/L": lies at or above the high limit lot A1/total_so2/high, '
            "90 mg/L"
        ],
        id="lot low above high",
    ),
    pytest.param(
        LIMIT + 'at = "K1"\nquantity = "cylinder_days_left"\nlow = "7 d"',
        [
            '[[limit]] K1/cylinder_days_left/low at = "K1": a keg has no cylinder_days_left: only a gas cylinder runs '
            "empty"
        ],
        id="judged quantity at a wrong place",
    ),
    pytest.param(
        LIMIT + 'at = "K1"\nprobe = "k1-pressure"\nquantity = "leak_rate"\nhigh = "1 mL/min"',
        [
            '[[limit]] K1/leak_rate/high probe = "k1-pressure": no probe measures leak_rate; write at with a place',
        ],
        id="judged quantity of a probe",
    ),
    pytest.param(
        _PRESSURE + 'rate = "30 kPa"',
        [f'{_LABEL}/rate rate = "30 kPa": must be a change and a time, such as "10 kPa in 1 h"'],
        id="rate without a time",
    ),
    pytest.param(
        _PRESSURE + 'rate = "-30 kPa in 1 h"',
        [f'{_LABEL}/rate rate = "-30 kPa in 1 h": the change must be more than 0; rising and falling count alike'],
        id="negative rate",
    ),
    pytest.param(
        _PRESSURE + 'rate = "30 kPa in 8 d"',
        [f'{_LABEL}/rate rate = "30 kPa in 8 d": the time must be from 1 min to 7 d'],
        id="rate in too long a time",
    ),
    pytest.param(
        _PRESSURE + 'rate = "1 kPa in 1 h"',
        [
            f"{_LABEL}/rate deadband: the usual one is too wide: the alarm would never clear, since no change is "
            "smaller than none; make it smaller than 1 kPa"
        ],
        id="rate that never clears",
    ),
    pytest.param(
        _PRESSURE + 'rate = "2000 kPa in 1 h"',
        [f'{_LABEL}/rate rate = "2000 kPa in 1 h": is more than the whole of what can be measured at a keg, 1100 kPa'],
        id="rate beyond everything",
    ),
    pytest.param(
        _PRESSURE,
        ['[[limit]] no. 1 low: is missing: give one of low, high, rate or no_data, such as low = "5 kPa"'],
        id="none",
    ),
    pytest.param(
        _PRESSURE + 'low = "30 kPa"\nhigh = "90 kPa"',
        ['[[limit]] no. 1 high = "90 kPa": give one of low, high, rate or no_data; write a second [[limit]] for high'],
        id="low and high in one",
    ),
    pytest.param(
        LIMIT.replace("Look at the lid.", " ") + 'at = "K1"\nquantity = "pressure"\nlow = "30 kPa"',
        [f'{_LABEL}/low action = " ": must not be empty: what to do about it; every alarm needs a response'],
        id="no action",
    ),
    pytest.param(
        '[[limit]]\nat = "K1"\nquantity = "pressure"\nlow = "30 kPa"\naction = "x"\n',
        [f"{_LABEL}/low consequence: is missing: what happens if nobody does anything; every alarm needs one"],
        id="no consequence",
    ),
    pytest.param(
        _PRESSURE + "low = 30",
        [f'{_LABEL}/low low = 30: write it as text with its unit, such as "30 psi"'],
        id="bare setpoint",
    ),
    pytest.param(
        _PRESSURE + 'low = "156 kPa absolute"',
        [
            f'{_LABEL}/low low = "156 kPa absolute": this is absolute pressure, but gauge pressure is asked for, such '
            'as "8 psi"'
        ],
        id="absolute setpoint",
    ),
    pytest.param(
        _PRESSURE + 'low = "30 kPa"\ndeadband = "-1 kPa"',
        [f'{_LABEL}/low deadband = "-1 kPa": a deadband cannot be negative'],
        id="negative deadband",
    ),
    pytest.param(
        _PRESSURE + 'low = "30 kPa"\ndeadband = "1 kPa gauge"',
        [
            f'{_LABEL}/low deadband = "1 kPa gauge": this is gauge pressure, but a difference of pressure is asked '
            'for, such as "1 kPa"'
        ],
        id="gauge deadband",
    ),
    pytest.param(
        _PRESSURE + 'low = "30 kPa"\non_delay = "25 h"\noff_delay = "-1 s"',
        [
            f'{_LABEL}/low on_delay = "25 h": must be from 0 to 86400 s',
            f'{_LABEL}/low off_delay = "-1 s": must be from 0 to 86400 s',
        ],
        id="delays",
    ),
    pytest.param(
        LIMIT + 'low = "30 kPa"',
        [
            "[[limit]] no. 1 quantity: is missing: one of temperature, pressure, barometric_pressure, pH, "
            "molecular_so2, free_so2, total_so2, compensated_pressure, leak_rate, gas_gain_rate, "
            "hours_to_air_floor, hours_to_air_floor_by_cold, cylinder_days_left",
            "[[limit]] no. 1 at: is missing: the id of a vessel, cylinder or room",
        ],
        id="neither at nor quantity",
    ),
    pytest.param(
        LIMIT + 'no_data = "5 min"',
        ["[[limit]] no. 1 probe: is missing: the id of the probe that must report"],
        id="no data of nothing",
    ),
    pytest.param(
        LIMIT + 'probe = "k1-pressure"\nno_data = "5 min"\ndeadband = "1 kPa"\non_delay = "9 s"',
        [
            '[[limit]] no. 1 deadband = "1 kPa": a no_data limit is a time by itself; leave it out',
            '[[limit]] no. 1 on_delay = "9 s": a no_data limit is a time by itself; leave it out',
        ],
        id="no data with deadband",
    ),
    pytest.param(
        _WARM.replace('"K1"', '"K2"') + 'high = "18 °C"',
        ['[[limit]] K2/temperature/high at = "K2": there is no vessel, cylinder or room with this id; known: K1'],
        id="at no place",
    ),
    pytest.param(
        _WARM + 'high = "18 °C"',
        ['[[limit]] K1/temperature/high at = "K1": no probe measures temperature there; a limit needs a probe'],
        id="no probe there",
    ),
    pytest.param(
        _PRESSURE + 'low = "30 kPa"\nprobe = "k1-presure"',
        [f'{_LABEL}/low probe = "k1-presure": there is no probe with this id; did you mean "k1-pressure"?'],
        id="probe unknown",
    ),
    pytest.param(
        _WARM + 'low = "3 °C"\nprobe = "k1-pressure"',
        ['[[limit]] K1/temperature/low probe = "k1-pressure": measures pressure at K1, not what this limit says'],
        id="probe of another quantity",
    ),
    pytest.param(
        PROBE.replace("k1-pressure", "spare").replace("k1/p", "k1/s") + _PRESSURE + 'low = "30 kPa"',
        [f"{_LABEL}/low probe: is missing: several probes could be meant; name one of k1-pressure, spare"],
        id="two probes",
    ),
    pytest.param(
        _PRESSURE + 'high = "201 kPa"',
        [f'{_LABEL}/high high = "201 kPa": lies above the max_pressure of K1, 200 kPa; stay below it'],
        id="above the stamp",
    ),
    pytest.param(
        _PRESSURE + 'high = "200 psi"',
        [f'{_LABEL}/high high = "200 psi": lies outside what can be measured at a keg: -14.5038 psi to 145.038 psi'],
        id="implausible",
    ),
    pytest.param(
        _PRESSURE + 'low = "90 kPa"\n' + _PRESSURE + 'high = "90 kPa"',
        [f'{_LABEL}/low low = "90 kPa": lies at or above the high limit K1/pressure/high, 90 kPa'],
        id="low at high",
    ),
    pytest.param(
        _PRESSURE + 'high = "15 kPa"\ndeadband = "1 kPa"',
        [
            f'{_LABEL}/high high = "15 kPa": lies at or below the low limit K1/pressure/care, 20 kPa, a default one; '
            "write your own low limit as well"
        ],
        id="high under the default low",
    ),
    pytest.param(
        _PRESSURE + 'low = "190 kPa"\ndeadband = "1 kPa"',
        [
            f'{_LABEL}/low low = "190 kPa": lies at or above the high limit K1/pressure/over, 180 kPa, a default one; '
            "write your own high limit as well"
        ],
        id="low over the default high",
    ),
    pytest.param(
        _PRESSURE + 'low = "80 kPa"\ndeadband = "10 kPa"\n' + _PRESSURE + 'high = "90 kPa"',
        [
            f'{_LABEL}/low deadband = "10 kPa": the alarm would clear only at 90 kPa, and the high limit '
            "K1/pressure/high is 90 kPa; make the deadband smaller"
        ],
        id="low never clears",
    ),
    pytest.param(
        _PRESSURE + 'low = "30 kPa"\ndeadband = "170 kPa"\n' + _PRESSURE + 'high = "201 kPa"',
        [
            f'{_LABEL}/high high = "201 kPa": lies above the max_pressure of K1, 200 kPa; stay below it',
            f'{_LABEL}/low deadband = "170 kPa": the alarm would clear only at 200 kPa, and the max_pressure of K1 is '
            "200 kPa; make the deadband smaller",
        ],
        id="low clears at the stamp",
    ),
    pytest.param(
        _PRESSURE + 'high = "40 kPa"\ndeadband = "20 kPa"',
        [
            f'{_LABEL}/high deadband = "20 kPa": the alarm would clear only at 20 kPa, and the low limit '
            "K1/pressure/care is 20 kPa; make the deadband smaller"
        ],
        id="high never clears",
    ),
    pytest.param(
        TEMPERATURE + _WARM + 'low = "23.8 °C"',
        [
            "[[limit]] K1/temperature/low deadband: the usual one is too wide: the alarm would clear only at 24.2 °C, "
            "and the high limit K1/temperature/heat is 24 °C; make the deadband smaller"
        ],
        id="usual deadband too wide",
    ),
    pytest.param(
        _PRESSURE + 'low = "30 kPa"\n' + _PRESSURE + 'low = "3 kPa"',
        [f"{_LABEL}/low id: is missing: another limit has the key K1/pressure/low; give this one an id"],
        id="two limits of one key",
    ),
    pytest.param(
        "".join(_PRESSURE + f'id = "{id}"\nlow = "30 kPa"\n' for id in ("thin", "Thin")),
        [
            '[[limit]] Thin id = "Thin": is taken by [[limit]] thin; ids of limits must differ in more than upper and '
            "lower case"
        ],
        id="one limit id twice",
    ),
]


@pytest.mark.parametrize(("text", "told"), _LIMITS)
def test_mistakes_of_a_limit(text: str, told: list[str]) -> None:
    assert problems(BASE, text) == told


def test_no_blanket_pressure_in_glass() -> None:
    low = LIMIT + 'at = "C1"\nquantity = "pressure"\nlow = "1 kPa"\n'
    assert problems(SITE, MQTT, CARBOY, PROBE.replace('"K1"', '"C1"'), low) == [
        '[[limit]] C1/pressure/low low = "1 kPa": glass bursts under pressure: never keep a blanket pressure in glass; '
        "leave this limit out"
    ]
