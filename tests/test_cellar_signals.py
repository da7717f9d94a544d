"""Signals in the cellar file: what they make of a probe, and each mistake with what is allowed."""

from __future__ import annotations

import pytest
from cellar_text import KEG, MQTT, SITE, cellar, problems

_SERIAL = '[[serial]]\nid = "line"\ndevice = "/dev/ttyS9"\n'
_ROOM = '[[room]]\nid = "cellar"\n'
_LABEL = "[[probe]] p"
_RATIO = "0.5-4.5 V of 5 V = 0-30 psi"


def _probe(signal: str = "", *more: str, quantity: str = "pressure", at: str = "K1") -> str:
    written = f'signal = "{signal}"\n' if signal else 'unit = "kPa"\n'
    head = f'[[probe]]\nid = "p"\nat = "{at}"\nquantity = "{quantity}"\ntopic = "k1/p"\n'
    return head + written + "".join(line + "\n" for line in more)


@pytest.mark.parametrize(
    ("signal", "quantity", "unit"),
    [
        ("4-20 mA = 0-30 psi", "pressure", "psi"),
        ("0-10 V = -10 to 60 °C", "temperature", "°C"),
        ("Pt1000", "temperature", "°C"),
        ("0-5 V = 0-14 pH", "pH", "pH"),
    ],
)
def test_the_unit_of_a_probe_is_that_of_its_label(signal: str, quantity: str, unit: str) -> None:
    (probe,) = cellar(SITE, MQTT, KEG, _probe(signal, quantity=quantity)).probe
    assert probe.signal is not None
    assert (probe.signal.text, probe.unit) == (signal, unit)


def test_counts_and_supply_go_along() -> None:
    text = _probe(_RATIO, 'counts = "0-4095 = 0-5 V"', 'payload = "json"', 'pointer = "/v"', 'supply_pointer = "/s"')
    (probe,) = cellar(SITE, MQTT, KEG, text).probe
    assert probe.counts is not None
    assert (probe.counts.high, probe.supply_pointer) == (4095, "/s")


_MISTAKES = [
    pytest.param(
        _probe("4-20 mA = 0-30"),
        [
            f'{_LABEL} signal = "4-20 mA = 0-30": the unit is missing behind "0-30"; write it as on the label, such as '
            '"0-30 psi"'
        ],
        id="no label",
    ),
    pytest.param(
        _probe().replace('unit = "kPa"', "signal = 5"),
        [f'{_LABEL} signal = 5: must be text in quotes, such as "4-20 mA = 0-30 psi"'],
        id="signal no text",
    ),
    pytest.param(
        _probe("4-20 mA = 0-30 psi", "counts = 4095"),
        [f'{_LABEL} counts = 4095: must be text in quotes, such as "0-4095 = 0-5 V"'],
        id="counts no text",
    ),
    pytest.param(
        _probe("4-20 mA = 0-30 psi", 'unit = "kPa"'),
        [f'{_LABEL} unit = "kPa": the signal says it already: "psi"; leave unit out'],
        id="unit as well",
    ),
    pytest.param(
        _probe("4-20 mA = 0-30 pis"),
        [
            f'{_LABEL} signal = "4-20 mA = 0-30 pis": there is no unit "pis"; allowed for a pressure: '
            'kPa, Pa, hPa, mbar, bar, MPa, psi, psig, psia, and any with "gauge" or "absolute" behind it'
        ],
        id="unknown unit",
    ),
    pytest.param(
        _probe("Pt100"),
        [
            f'{_LABEL} signal = "Pt100": "°C" is a unit of temperature, not of pressure; allowed for a pressure: '
            'kPa, Pa, hPa, mbar, bar, MPa, psi, psig, psia, and any with "gauge" or "absolute" behind it'
        ],
        id="unit of another quantity",
    ),
    pytest.param(
        _probe("4-20 mA = 0-30 psia"),
        [
            f'{_LABEL} signal = "4-20 mA = 0-30 psia": is absolute pressure, but this probe has reference = "gauge"; '
            "change one of the two"
        ],
        id="absolute label on a gauge probe",
    ),
    pytest.param(
        _ROOM + _probe("4-20 mA = 0-2 bar gauge", quantity="barometric_pressure", at="cellar"),
        [
            f'{_LABEL} signal = "4-20 mA = 0-2 bar gauge": the pressure of the air is absolute; write a unit such as '
            '"hPa"'
        ],
        id="gauge label on a barometer",
    ),
    pytest.param(
        _probe("", 'counts = "0-4095 = 0-5 V"'),
        [
            f'{_LABEL} counts = "0-4095 = 0-5 V": needs a signal that says what the volts mean, such as '
            '"0-10 V = 0-60 °C"'
        ],
        id="counts without a signal",
    ),
    pytest.param(
        _probe("Pt100", 'counts = "0-4095 = 0-5 V"', quantity="temperature"),
        [
            f'{_LABEL} counts = "0-4095 = 0-5 V": a Pt100 is read in ohm, which counts do not give; let the instrument '
            "send ohm"
        ],
        id="counts of a Pt100",
    ),
    pytest.param(
        _probe("4-20 mA = 0-30 psi", 'counts = "0-4095 = 0-5 V"'),
        [
            f'{_LABEL} counts = "0-4095 = 0-5 V": must end in mA, as the signal begins, such as "0-4095 = 0-20 mA"',
        ],
        id="counts in volts of a current",
    ),
    pytest.param(
        _probe(_RATIO, 'counts = "0-4095 = 0-3.3 V"'),
        [
            f'{_LABEL} counts = "0-4095 = 0-3.3 V": reach from 0 to 3.3 V, but the signal goes from 0.5 to 4.5 V; '
            "write what the end counts stand for at the transmitter, before a divider"
        ],
        id="counts too short",
    ),
    pytest.param(
        _probe("0-10 V = 0-30 psi", 'payload = "json"', 'pointer = "/v"', 'supply_pointer = "/s"'),
        [
            f'{_LABEL} supply_pointer = "/s": only a signal of a supply, such as "0.5-4.5 V of 5 V = 0-30 psi", has '
            "one; leave this out"
        ],
        id="supply of a plain voltage",
    ),
    pytest.param(
        _probe(_RATIO, 'supply_pointer = "/s"'),
        [f'{_LABEL} supply_pointer = "/s": only payload = "json" has a pointer; add that, or leave this out'],
        id="supply pointer without JSON",
    ),
    pytest.param(
        _probe(_RATIO, 'payload = "json"', 'pointer = "/v"', 'supply_pointer = "s"'),
        [
            f'{_LABEL} supply_pointer = "s": is not a JSON Pointer (RFC 6901): it begins with "/", and "~" is written '
            '"~0"; such as "/gas/kPa"'
        ],
        id="supply pointer is none",
    ),
    pytest.param(
        _SERIAL
        + _probe(_RATIO, "pattern = '(?P<value>[0-9.]+)'", 'supply_pointer = "/s"').replace(
            'topic = "k1/p"', 'serial = "line"'
        ),
        [
            f'{_LABEL} supply_pointer = "/s": a serial line has its supply in the pattern\'s group '
            "(?P<supply>[0-9.]+); leave this out"
        ],
        id="supply pointer on a line",
    ),
    pytest.param(
        _SERIAL
        + _probe("0-10 V = 0-30 psi", "pattern = '(?P<value>[0-9.]+);(?P<supply>[0-9.]+)'").replace(
            'topic = "k1/p"', 'serial = "line"'
        ),
        [
            f'{_LABEL} pattern = "(?P<value>[0-9.]+);(?P<supply>[0-9.]+)": has a group named supply, but only a '
            'signal of a supply, such as "0.5-4.5 V of 5 V = 0-30 psi", has one; leave this out'
        ],
        id="supply group of a plain voltage",
    ),
]


@pytest.mark.parametrize(("text", "told"), _MISTAKES)
def test_mistakes_of_a_signal(text: str, told: list[str]) -> None:
    assert problems(SITE, MQTT, KEG, text) == told
