"""Mistakes of vessels and rooms in a cellar file."""

from __future__ import annotations

import pytest
from cellar_text import CARBOY, KEG, SITE, problems

_ROOM = '[[room]]\nid = "cellar"\n'


_VESSELS = [
    pytest.param(
        KEG + 'working_pressure = "180 kPa"\n',
        [
            '[[vessel]] K1 working_pressure = "180 kPa": must be below 180 kPa, where the alarm before the stamp is '
            "raised; keep less pressure in this vessel"
        ],
        id="working pressure at the stamp",
    ),
    pytest.param(
        KEG + 'working_pressure = "20 kPa"\n',
        ['[[vessel]] K1 working_pressure = "20 kPa": must be above 20 kPa, below which the blanket is getting thin'],
        id="working pressure of a thin blanket",
    ),
    pytest.param(
        CARBOY + 'working_pressure = "20 kPa"\n',
        ['[[vessel]] C1 working_pressure = "20 kPa": glass bursts under pressure: never put any on it; leave it out'],
        id="working pressure of glass",
    ),
    pytest.param(
        KEG.replace('gas = "nitrogen"\n', "") + 'working_pressure = "20 kPa"\n',
        ['[[vessel]] K1 working_pressure = "20 kPa": only a keg or tank with gas is kept under pressure; leave it out'],
        id="working pressure without gas",
    ),
    pytest.param(
        KEG.replace('"K1"', '"K 1"'),
        [
            '[[vessel]] K 1 id = "K 1": 1 to 64 letters, digits, ".", "_" or "-", beginning with a letter or digit, '
            'such as "K1"'
        ],
        id="form of an id",
    ),
    pytest.param(
        KEG.replace('"19.5 L"', '"0 L"'),
        ['[[vessel]] K1 capacity = "0 L": must be above 0 to 1e+06 L'],
        id="no capacity",
    ),
    pytest.param(
        KEG.replace('"keg"', '"kegg"'),
        ['[[vessel]] K1 kind = "kegg": allowed: "keg", "carboy", "barrel", "tank" or "bottle"; did you mean "keg"?'],
        id="kind",
    ),
    pytest.param(
        KEG.replace("200 kPa", "301 kPa absolute"),
        [
            '[[vessel]] K1 max_pressure = "301 kPa absolute": this is absolute pressure, but gauge pressure is asked '
            'for, such as "200 kPa"'
        ],
        id="absolute max_pressure",
    ),
    pytest.param(
        KEG.replace('max_pressure = "200 kPa"\n', ""),
        ['[[vessel]] K1 max_pressure: is missing: a keg with gas needs what is stamped on it, such as "200 kPa"'],
        id="gas without max_pressure",
    ),
    pytest.param(
        CARBOY + 'max_pressure = "10 kPa"',
        [
            '[[vessel]] C1 max_pressure = "10 kPa": glass bursts under pressure: never put any on it; leave '
            "max_pressure out"
        ],
        id="pressure on glass",
    ),
    pytest.param(
        KEG + 'room = "cellr"\n' + _ROOM,
        ['[[vessel]] K1 room = "cellr": there is no room with this id; did you mean "cellar"?'],
        id="room unknown",
    ),
    pytest.param(
        KEG + 'room = "barn"',
        ['[[vessel]] K1 room = "barn": there is no room with this id; known: none'],
        id="no rooms",
    ),
    pytest.param(
        _ROOM + KEG + CARBOY.replace('"C1"', '"k1"'),
        [
            '[[vessel]] k1 id = "k1": is taken by [[vessel]] K1; ids of places must differ in more than upper and '
            "lower case"
        ],
        id="one id twice but for case",
    ),
    pytest.param(
        KEG + '[[room]]\nid = "K1"\n',
        [
            '[[vessel]] K1 id = "K1": is taken by [[room]] K1; ids of places must differ in more than upper and lower '
            "case"
        ],
        id="vessel and room of one id",
    ),
    pytest.param(
        KEG + CARBOY + 'was = "K1"',
        ['[[vessel]] C1 was = "K1": this id is still in use; was names an id that is gone'],
        id="was still lives",
    ),
    pytest.param(
        KEG + 'was = "K9"\n' + CARBOY + 'was = "K9"',
        ['[[vessel]] C1 was = "K9": [[vessel]] K1 has this former id already'],
        id="was twice",
    ),
]


@pytest.mark.parametrize(("text", "told"), _VESSELS)
def test_mistakes_of_a_vessel(text: str, told: list[str]) -> None:
    assert problems(SITE, text) == told
