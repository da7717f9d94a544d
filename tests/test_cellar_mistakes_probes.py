"""Mistakes of probes, and of the lines that they are read from, in a cellar file."""

from __future__ import annotations

import pytest
from cellar_text import BASE, KEG, MQTT, PROBE, SITE, TEMPERATURE, problems

_SERIAL = '[[serial]]\nid = "line"\ndevice = "/dev/ttyS9"\n'


_ON_LINE = '[[probe]]\nid = "s"\nat = "K1"\nquantity = "temperature"\nunit = "degC"\nserial = "line"\n'


_ROOM = '[[room]]\nid = "cellar"\n'


_WITHOUT_UNIT = PROBE.replace('unit = "kPa"\n', "")


_SENML = _WITHOUT_UNIT + 'payload = "senml"\n'


_JSON = PROBE + 'payload = "json"\n'


def _probe(**keys: str) -> str:
    """The usual probe with some keys written otherwise; an empty text leaves a key out."""
    usual = {"id": "k1-pressure", "at": "K1", "quantity": "pressure", "topic": "k1/p", "unit": "kPa"} | keys
    return "[[probe]]\n" + "".join(f'{key} = "{value}"\n' for key, value in usual.items() if value)


_PROBES = [
    pytest.param(
        _probe(at="K"),
        ['[[probe]] k1-pressure at = "K": there is no vessel, cylinder or room with this id; did you mean "K1"?'],
        id="at no place",
    ),
    pytest.param(
        PROBE + PROBE.replace("k1/p", "k1/q"),
        [
            '[[probe]] k1-pressure id = "k1-pressure": is taken by [[probe]] k1-pressure; ids of probes must differ in '
            "more than upper and lower case"
        ],
        id="one probe twice",
    ),
    pytest.param(
        _probe(unit=""),
        ['[[probe]] k1-pressure unit: is missing: the unit of the numbers that arrive, such as "kPa", "psi" or "degC"'],
        id="unit missing",
    ),
    pytest.param(
        _probe(unit="°C"),
        [
            '[[probe]] k1-pressure unit = "°C": "°C" is a unit of temperature, not of pressure; allowed for a '
            'pressure: kPa, Pa, hPa, mbar, bar, MPa, psi, psig, psia, and any with "gauge" or "absolute" behind it'
        ],
        id="unit of another quantity",
    ),
    pytest.param(
        _probe(quantity="temperature", unit="C"),
        ['[[probe]] k1-pressure unit = "C": C is the coulomb; write "°C" or "degC"'],
        id="coulomb",
    ),
    pytest.param(
        _probe(unit="psia"),
        [
            '[[probe]] k1-pressure unit = "psia": is absolute pressure, but this probe has reference = "gauge"; change '
            "one of the two"
        ],
        id="absolute unit of a gauge",
    ),
    pytest.param(
        _probe(reference="absolute"),
        [
            '[[probe]] k1-pressure reference = "absolute": needs altitude in [site], such as "340 m", to work out '
            "the air pressure"
        ],
        id="absolute without altitude",
    ),
    pytest.param(
        _probe(quantity="temperature", unit="degC", reference="gauge"),
        ['[[probe]] k1-pressure reference = "gauge": only quantity = "pressure" has a reference; leave it out'],
        id="reference of a temperature",
    ),
    pytest.param(
        _probe(mounted="wine"),
        [
            '[[probe]] k1-pressure mounted = "wine": only a temperature probe is mounted in wine, at a wall or in air; '
            "leave it out"
        ],
        id="mounted pressure",
    ),
    pytest.param(
        _probe(at="cellar", quantity="temperature", unit="K", mounted="wall") + _ROOM,
        ['[[probe]] k1-pressure mounted = "wall": a room has no wine and no vessel wall; write "air" or leave it out'],
        id="wall of a room",
    ),
    pytest.param(
        _probe(at="cellar") + _ROOM,
        [
            '[[probe]] k1-pressure quantity = "pressure": is not measured at a room; the air of a room has '
            '"barometric_pressure"'
        ],
        id="pressure in a room",
    ),
    pytest.param(
        _probe(quantity="barometric_pressure", unit="hPa"),
        [
            '[[probe]] k1-pressure quantity = "barometric_pressure": is not measured at a keg; a vessel or a cylinder '
            'has "pressure"'
        ],
        id="barometer in a keg",
    ),
    pytest.param(
        _probe(at="cellar", quantity="barometric_pressure", unit="kPa gauge") + _ROOM,
        ['[[probe]] k1-pressure unit = "kPa gauge": the pressure of the air is absolute; write a unit such as "hPa"'],
        id="barometer in gauge",
    ),
    pytest.param(
        _probe(quantity="preasure"),
        [
            '[[probe]] k1-pressure quantity = "preasure": allowed: "temperature", "pressure", "barometric_pressure" or '
            '"pH"; did you mean "pressure"?'
        ],
        id="quantity unknown",
    ),
    pytest.param(
        _probe(topic=""),
        [
            "[[probe]] k1-pressure topic: is missing: give topic (MQTT), serial and pattern (a serial line), or w1 "
            "(a one-wire chip)"
        ],
        id="no way in",
    ),
    pytest.param(
        _probe(serial="line") + _SERIAL,
        ['[[probe]] k1-pressure serial = "line": give topic or serial, not both: a probe has one way in'],
        id="two ways in",
    ),
    *(
        pytest.param(
            PROBE.replace('"k1/p"', f'"{topic}"'),
            [f'[[probe]] k1-pressure topic = "{topic}": must be one topic, without the wildcards "+" and "#"'],
            id=f"wildcard {topic}",
        )
        for topic in ("k1/+/p", "k1/#")
    ),
    pytest.param(
        PROBE.replace('"k1/p"', '""'),
        ['[[probe]] k1-pressure topic = "": must not be empty; write the topic, such as "cellar/K1/pressure"'],
        id="empty topic",
    ),
    pytest.param(
        PROBE.replace('"k1/p"', '"k1\\u0000"'),
        ['[[probe]] k1-pressure topic = "k1\\u0000": must not hold the character NUL'],
        id="NUL in a topic",
    ),
    pytest.param(
        PROBE.replace('"k1/p"', f'"{"ä" * 32768}"'),
        [f'[[probe]] k1-pressure topic = "{"ä" * 76}...: is longer than 65535 bytes, the most that MQTT allows'],
        id="topic too long",
    ),
    pytest.param(
        PROBE + TEMPERATURE.replace("k1/t", "k1/p"),
        ['[[probe]] k1-temperature topic = "k1/p": k1-pressure takes the same value; a value belongs to one probe'],
        id="one topic twice",
    ),
    pytest.param(
        _JSON + 'pointer = "/a"\n' + TEMPERATURE.replace("k1/t", "k1/p") + 'payload = "json"\npointer = "/a"\n',
        ['[[probe]] k1-temperature pointer = "/a": k1-pressure takes the same value; a value belongs to one probe'],
        id="one pointer twice",
    ),
    pytest.param(
        _JSON + 'pointer = "/a"\n' + TEMPERATURE.replace("k1/t", "k1/p"),
        [
            '[[probe]] k1-temperature topic = "k1/p": k1-pressure reads the same topic as "json"; a topic has one '
            "payload form"
        ],
        id="plain and json on one topic",
    ),
    pytest.param(
        _JSON,
        ['[[probe]] k1-pressure pointer: is missing: JSON needs a pointer to the value, such as "/gas/kPa"'],
        id="json without pointer",
    ),
    *(
        pytest.param(
            _JSON + f'pointer = "{pointer}"',
            [
                f'[[probe]] k1-pressure pointer = "{pointer}": is not a JSON Pointer (RFC 6901): it begins with "/", '
                'and "~" is written "~0"; such as "/gas/kPa"'
            ],
            id=f"pointer {pointer}",
        )
        for pointer in ("gas", "/a~", "/a~2")
    ),
    pytest.param(
        PROBE + 'pointer = "/a"',
        ['[[probe]] k1-pressure pointer = "/a": only payload = "json" has a pointer; add that, or leave this out'],
        id="pointer into a plain number",
    ),
    pytest.param(
        PROBE + 'payload = "senml"\nname = "k1 gas"',
        [
            '[[probe]] k1-pressure name = "k1 gas": a SenML record cannot have this name: letters, digits, and '
            "- : . / _ after the first (RFC 8428)"
        ],
        id="senml name",
    ),
    pytest.param(
        PROBE + 'payload = "senml"\npointer = "/a"',
        ['[[probe]] k1-pressure pointer = "/a": only payload = "json" has a pointer; add that, or leave this out'],
        id="senml pointer",
    ),
    pytest.param(
        _SENML + 'name = "x"\n' + _SENML.replace('"k1-pressure"', '"x"'),
        ["[[probe]] x name: k1-pressure takes the same value; a value belongs to one probe"],
        id="senml name twice",
    ),
    pytest.param(
        _SENML + PROBE.replace('"k1-pressure"', '"x"'),
        ['[[probe]] x topic = "k1/p": k1-pressure reads the same topic as "senml"; a topic has one payload form'],
        id="senml and plain on a topic",
    ),
    pytest.param(
        _SENML + 'signal = "4-20 mA = 0-30 psi"',
        [
            '[[probe]] k1-pressure signal = "4-20 mA = 0-30 psi": SenML carries what was measured, not mA or V; leave '
            'it out, or use "json"'
        ],
        id="senml signal",
    ),
    pytest.param(
        _ON_LINE + "payload = \"senml\"\npattern = 'T=(?P<value>.+)'\n" + _SERIAL,
        ['[[probe]] s payload = "senml": only what comes by a topic has a payload form; leave it out'],
        id="senml on a line",
    ),
    pytest.param(
        _probe(quantity="temperature", topic="", unit="", w1="28-3C01F0964F2B"),
        [
            '[[probe]] k1-pressure w1 = "28-3C01F0964F2B": a chip id as the kernel writes it, two and twelve digits, '
            'such as "28-3c01f0964f2b"'
        ],
        id="chip id",
    ),
    pytest.param(
        _probe(topic="", w1="28-3c01f0964f2b"),
        [
            '[[probe]] k1-pressure quantity = "pressure": a one-wire chip is read for its temperature; write '
            '"temperature"'
        ],
        id="chip of something else",
    ),
    pytest.param(
        _probe(quantity="temperature", topic="", unit="degF", w1="28-3c01f0964f2b"),
        ['[[probe]] k1-pressure unit = "degF": the chip itself says °C; leave unit out'],
        id="chip in another unit",
    ),
    pytest.param(
        _probe(quantity="temperature", topic="", w1="28-3c01f0964f2b", unit="", pointer="/a", payload="json"),
        [
            '[[probe]] k1-pressure payload = "json": a one-wire chip is read by its id alone; leave this out',
            '[[probe]] k1-pressure pointer = "/a": a one-wire chip is read by its id alone; leave this out',
        ],
        id="chip with a pointer",
    ),
    pytest.param(
        _probe(quantity="temperature", unit="", w1="28-3c01f0964f2b"),
        ['[[probe]] k1-pressure w1 = "28-3c01f0964f2b": give topic or w1, not both: a probe has one way in'],
        id="topic and chip",
    ),
    pytest.param(
        "".join(
            _probe(id=name, quantity="temperature", topic="", unit="", w1="28-3c01f0964f2b") for name in ("a", "b")
        ),
        ['[[probe]] b w1 = "28-3c01f0964f2b": a takes the same value; a value belongs to one probe'],
        id="chip twice",
    ),
    pytest.param(
        PROBE + 'name = "x"',
        ['[[probe]] k1-pressure name = "x": only payload = "senml" picks a probe by name; leave it out'],
        id="name without senml",
    ),
    pytest.param(
        PROBE + 'pattern = "x"',
        ['[[probe]] k1-pressure pattern = "x": only a serial line is read by a pattern; leave it out'],
        id="pattern on a topic",
    ),
    pytest.param(
        _ON_LINE.replace('"line"', '"lin"') + "pattern = 'T=(?P<value>.+)'\n" + _SERIAL,
        ['[[probe]] s serial = "lin": there is no [[serial]] with this id; did you mean "line"?'],
        id="serial unknown",
    ),
    pytest.param(
        _ON_LINE + _SERIAL,
        ["[[probe]] s pattern: is missing: a serial line needs one, such as 'K1 T=(?P<value>[-+0-9.]+)'"],
        id="serial without pattern",
    ),
    pytest.param(
        _ON_LINE + "pattern = 'T=(?P<value>'\n" + _SERIAL,
        ['[[probe]] s pattern = "T=(?P<value>": is not a regular expression: missing ): T=(?P<value>'],
        id="pattern does not compile",
    ),
    pytest.param(
        _ON_LINE + "pattern = 'T=(?P<value>.)(?=x)'\n" + _SERIAL,
        [
            '[[probe]] s pattern = "T=(?P<value>.)(?=x)": is not a regular expression that leeside takes (invalid perl '
            "operator: (?=): no part may look ahead or back ((?=...), (?!...), (?<=...)) or repeat an earlier one "
            "(\\1), for those can take for ever; write what the line looks like"
        ],
        id="pattern that looks ahead",
    ),
    pytest.param(
        _ON_LINE + "pattern = 'T=(.+)'\n" + _SERIAL,
        ['[[probe]] s pattern = "T=(.+)": must have a group named value around the number: (?P<value>[-+0-9.]+)'],
        id="pattern without value",
    ),
    pytest.param(
        _ON_LINE + "pattern = '(?P<value>[0-9]*)'\n" + _SERIAL,
        ['[[probe]] s pattern = "(?P<value>[0-9]*)": matches even an empty line; write what must stand in it'],
        id="pattern matches nothing",
    ),
    pytest.param(
        "".join(_ON_LINE.replace('"s"', f'"{id}"') + "pattern = 'T=(?P<value>.+)'\n" for id in "st") + _SERIAL,
        ['[[probe]] t pattern = "T=(?P<value>.+)": s takes the same value; a value belongs to one probe'],
        id="one pattern twice",
    ),
    pytest.param(
        _ON_LINE + 'pattern = \'T=(?P<value>.+)\'\npayload = "json"\npointer = "/a"\n' + _SERIAL,
        [
            '[[probe]] s payload = "json": a serial line is read by its pattern; leave payload out',
            '[[probe]] s pointer = "/a": a serial line is read by its pattern; leave this out',
        ],
        id="json on a line",
    ),
]


@pytest.mark.parametrize(("text", "told"), _PROBES)
def test_mistakes_of_a_probe(text: str, told: list[str]) -> None:
    assert problems(SITE, MQTT, KEG, text) == told


def test_a_topic_needs_a_broker() -> None:
    assert problems(SITE, KEG, PROBE) == [
        '[[probe]] k1-pressure topic = "k1/p": a topic needs the broker: write a table [mqtt] with its host'
    ]


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        (
            "poll = 'READ?\\r\\n'",
            [
                r'[[serial]] line poll = "READ?\\r\\n": write it in double quotes, such as "READ?\r\n": in single '
                r"quotes \r stays two characters"
            ],
        ),
        ("poll = []", [r'[[serial]] line poll = []: text to send, or a list of texts, such as "READ?\r\n"']),
        ("poll = 5", [r'[[serial]] line poll = 5: text to send, or a list of texts, such as "READ?\r\n"']),
        ("poll = [5]", ['[[serial]] line poll = [5]: must be text in quotes, such as "..."']),
        ('poll = ""', ['[[serial]] line poll = "": must not be empty']),
        (
            'poll_every = "5 s"',
            [
                '[[serial]] line poll_every = "5 s": is only used with poll, what is sent to the instrument; add that',
            ],
        ),
        (
            'poll = ["a", "b", "c"]\npoll_every = "0.2 s"',
            [
                '[[serial]] line poll_every = "0.2 s": is too short for 3 questions: at least 0.1 s is needed for each',
            ],
        ),
        (
            'poll = "°C?"\nencoding = "ascii"',
            ['[[serial]] line poll = "°C?": cannot be sent in the line\'s encoding ascii: "°C?"'],
        ),
    ],
)
def test_mistakes_of_a_question(keys: str, told: list[str]) -> None:
    assert problems(SITE, _SERIAL + keys) == told


@pytest.mark.parametrize("name", ["mqtt", "w1"])
def test_a_serial_line_may_not_have_the_name_of_another_way_in(name: str) -> None:
    line = f'[[serial]]\nid = "{name}"\ndevice = "/dev/ttyUSB0"\n'
    assert problems(BASE, line) == [
        f'[[serial]] {name} id = "{name}": leeside uses this name for another way in; '
        "choose a name other than mqtt and w1"
    ]
