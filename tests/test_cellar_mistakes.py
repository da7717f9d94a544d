"""Each mistake in a cellar file gets its own text, with table, key, value and what is allowed."""

from __future__ import annotations

import pytest
from cellar_text import CARBOY, KEG, LIMIT, MQTT, PROBE, SITE, TEMPERATURE, problems

from ingest.cellar.table_entry import nearest

_SERIAL = '[[serial]]\nid = "line"\ndevice = "/dev/ttyS9"\n'


_MAIL = '[mail]\nhost = "mail.example"\nfrom = "a@b.example"\nto = ["c@d.example"]\n'


_PRESSURE = LIMIT + 'at = "K1"\nquantity = "pressure"\n'


_ONE_KEY = [
    pytest.param(
        'site = "x"',
        "",
        ["[site]: write it once, as a table [site] with single brackets"],
        id="site no table",
    ),
    pytest.param(MQTT, "", ["[site]: is missing: a table [site] with name and timezone is needed"], id="no site"),
    pytest.param(
        "[site]\nname = 5",
        "",
        [
            '[site] name = 5: must be text in quotes, such as "..."',
            '[site] timezone: is missing: the name of an IANA time zone, such as "Europe/Ljubljana"',
        ],
        id="site keys",
    ),
    pytest.param(
        SITE.replace("Ljubljana", "Lubljana"),
        "",
        [
            '[site] timezone = "Europe/Lubljana": the name of an IANA time zone, such as "Europe/Ljubljana"; '
            'did you mean "Europe/Ljubljana"?'
        ],
        id="time zone unknown",
    ),
    pytest.param(
        SITE.replace("Europe/Ljubljana", "../x"),
        "",
        ['[site] timezone = "../x": the name of an IANA time zone, such as "Europe/Ljubljana"'],
        id="time zone a path",
    ),
    pytest.param(
        SITE,
        "altitude = 340",
        ['[site] altitude = 340: write it as text with its unit, such as "340 m"'],
        id="bare number",
    ),
    pytest.param(
        SITE,
        'altitude = "9 L"',
        ['[site] altitude = "9 L": "L" is a unit of volume, not of length; allowed for a length: m, mm, cm, ft'],
        id="wrong dimension",
    ),
    pytest.param(
        SITE, 'waking = "7-21"', ['[site] waking = "7-21": two local times, such as "07:00-21:30"'], id="waking"
    ),
    pytest.param(
        SITE,
        'waking = "07:00-07:00"',
        ['[site] waking = "07:00-07:00": the two times must differ, such as "07:00-21:30"'],
        id="waking never",
    ),
    pytest.param(
        SITE,
        'units = "SI"',
        ['[site] units = "SI": allowed: "metric" or "us", or units by quantity, such as { pressure = "bar" }'],
        id="units",
    ),
    pytest.param(
        SITE, 'nmae = "x"', ['[site] nmae = "x": there is no such key; did you mean "name"?'], id="unknown key"
    ),
    pytest.param(
        SITE,
        "qqqq = 1",
        ["[site] qqqq = 1: there is no such key; known keys: name, timezone, altitude, units, waking, legal, so2_pk"],
        id="unknown key, none near",
    ),
    pytest.param(SITE, "[[vesel]]\n", ['[vesel]: there is no such table; did you mean "vessel"?'], id="unknown table"),
    pytest.param(
        "x = 1\n" + SITE, "", ["the file x = 1: a key must stand inside a table, such as [site]"], id="key outside"
    ),
    pytest.param(
        SITE,
        '[vessel]\nid = "K1"',
        ["[[vessel]]: write each one as a table [[vessel]] with double brackets"],
        id="single brackets",
    ),
    pytest.param(
        SITE, '[store]\ncommit = "0 s"', ['[store] commit = "0 s": must be from 0.1 to 60 s'], id="commit too short"
    ),
    pytest.param(
        SITE,
        '[store]\npath = "a\\u0000"',
        ['[store] path = "a\\u0000": must not hold control characters'],
        id="NUL in a path",
    ),
    pytest.param(
        SITE,
        MQTT + 'port = "1883"',
        ['[mqtt] port = "1883": must be a whole number without quotes'],
        id="port as text",
    ),
    pytest.param(SITE, MQTT + "port = 70000", ["[mqtt] port = 70000: must be at most 65535"], id="port too high"),
    pytest.param(
        SITE,
        MQTT + 'client_id = "cellar/#"',
        [
            '[mqtt] client_id = "cellar/#": text without "+" and "#", since it stands in the topic '
            "leeside/CLIENT_ID/presence"
        ],
        id="client-id",
    ),
    pytest.param(SITE, MQTT + "window = 0", ["[mqtt] window = 0: must be at least 1"], id="window"),
    pytest.param(
        SITE, MQTT + 'tls = "yes"', ['[mqtt] tls = "yes": must be true or false, without quotes'], id="tls as text"
    ),
    pytest.param(
        SITE,
        MQTT + 'keep_alive = "5500 ms"',
        ['[mqtt] keep_alive = "5500 ms": must be a whole number of s'],
        id="keep alive not whole",
    ),
    pytest.param(
        SITE,
        MQTT + 'user = "u"\npassword = "geheim"\npassword_env = "P"',
        [
            "[mqtt] password: a password does not belong in the cellar file; name an environment variable with "
            "password_env, or a file that only leeside can read with password_file"
        ],
        id="password in the file",
    ),
    pytest.param(
        SITE,
        MQTT + 'user = "u"',
        ["[mqtt] user = \"u\": needs password_env (a variable's name) or password_file (a file's path)"],
        id="user without password",
    ),
    pytest.param(
        SITE,
        MQTT + 'user = "u"\npassword_env = "P"\npassword_file = "p"',
        ['[mqtt] password_file = "p": give password_env or password_file, not both'],
        id="two passwords",
    ),
    pytest.param(
        SITE,
        MQTT + 'password_env = "P"',
        ['[mqtt] password_env = "P": a password needs a user; add user, or leave this out'],
        id="password without user",
    ),
    pytest.param(
        SITE,
        MQTT + 'ca_file = "ca.pem"',
        ['[mqtt] ca_file = "ca.pem": is only used with tls = true; add that, or leave this out'],
        id="ca without tls",
    ),
    pytest.param(
        SITE,
        _MAIL + 'user = "u"\npassword_env = "P"\nsecurity = "none"',
        ['[mail] security = "none": user and password would cross the network in the clear; write "starttls" or "tls"'],
        id="password in the clear",
    ),
    pytest.param(
        SITE,
        _MAIL.replace('["c@d.example"]', "[]"),
        ["[mail] to = []: must not be empty: a list of addresses that get messages"],
        id="mail to nobody",
    ),
    pytest.param(
        SITE,
        _MAIL.replace('"a@b.example"', '"a b.example"'),
        ['[mail] from = "a b.example": one mail address alone, such as "cellarhand@cellar.example"'],
        id="mail address",
    ),
    pytest.param(
        SITE,
        '[page]\naddress = "0.0.0.0:8420"',
        [
            '[page] address = "0.0.0.0:8420": other machines can reach the page, so it needs a password: add '
            'password_hash_file = "page-password" and call `leeside page --password`; or leave this out, and use an '
            "SSH tunnel from elsewhere"
        ],
        id="page open to the network",
    ),
    *(
        pytest.param(
            SITE,
            f'[page]\naddress = "{address}"',
            [f'[page] address = "{address}": host and port, such as "127.0.0.1:8420"'],
            id=f"address {address}",
        )
        for address in ("127.0.0.1", "127.0.0.1:0", "127.0.0.1:99999", "::1:80", "localhost:http")
    ),
    pytest.param(
        SITE,
        _SERIAL + 'parity = "mark"\nstopbits = 3\nencoding = "hex"\nbaud = 9600.0',
        [
            "[[serial]] line baud = 9600.0: must be a whole number without quotes",
            '[[serial]] line parity = "mark": allowed: "none", "even" or "odd"',
            "[[serial]] line stopbits = 3: allowed: 1, 1.5 or 2",
            '[[serial]] line encoding = "hex": the name of a text encoding, such as "utf-8" or "latin-1"',
        ],
        id="serial settings",
    ),
    pytest.param(
        SITE,
        _SERIAL + _SERIAL.replace('"line"', '"other"'),
        [
            '[[serial]] other device = "/dev/ttyS9": line has this device; a line is opened once, and many '
            "probes may read it"
        ],
        id="one device twice",
    ),
]


@pytest.mark.parametrize(("text", "more", "told"), _ONE_KEY)
def test_mistakes_in_a_table(text: str, more: str, told: list[str]) -> None:
    assert problems(text, more) == told


def test_all_mistakes_come_at_once() -> None:
    found = problems(
        SITE + 'altitude = "9 L"\n',
        MQTT + 'user = "u"\n',
        KEG.replace('"19.5 L"', "19.5"),
        CARBOY + 'max_pressure = "10 kPa"\n',
        PROBE,
        TEMPERATURE.replace("degC", "C"),
        _PRESSURE + 'high = "9999 kPa"\n',
        "[pages]\n",
    )
    assert [text.split(":")[0] for text in found] == [
        "[pages]",
        '[site] altitude = "9 L"',
        "[[vessel]] K1 capacity = 19.5",
        '[mqtt] user = "u"',
        '[[vessel]] C1 max_pressure = "10 kPa"',
        '[[probe]] k1-temperature unit = "C"',
    ]


def test_one_mistake_does_not_look_like_many() -> None:
    """A probe and a limit at a vessel that cannot be read are not blamed for that."""
    low = _PRESSURE + 'low = "30 kPa"\n'
    assert len(problems(SITE, MQTT, KEG.replace('"19.5 L"', "19.5"), PROBE, low)) == 1
    assert len(problems(SITE, MQTT, KEG, PROBE.replace('"kPa"', "5"), low)) == 1


def test_the_nearest_name_is_found_without_regard_to_case() -> None:
    assert nearest("PRESSURE", ["pH", "pressure"]) == "pressure"
    assert nearest("xyz", ["pH", "pressure"]) == ""


def test_words_without_quotes_are_all_named_and_the_rest_is_read_on() -> None:
    text = SITE + MQTT + KEG.replace('"K1"', "K1") + PROBE.replace('"K1"', "K1").replace('"kPa"', '"furlong"')
    found = problems(text)
    assert len(found) == 3
    assert all(problem.endswith('text needs quotes: write id = "K1"') for problem in found[:1])
    assert 'at = K1: text needs quotes: write at = "K1"' in found[1]
    assert '"furlong"' in found[2]


def test_an_amount_without_quotes_is_named() -> None:
    (found,) = problems(SITE + KEG.replace('"19.5 L"', "19.5 L"))
    assert 'capacity = 19.5 L: text needs quotes: write capacity = "19.5 L"' in found


def test_a_wrong_key_hides_no_name_that_there_is_not() -> None:
    found = problems(SITE + MQTT + KEG + _PRESSURE.replace("K1", "K9") + 'low = "5 kPa"\nhours = "night"\n')
    assert len(found) == 2
    assert "which hours are waking ones is said once, in [site]" in found[0]
    assert 'at = "K9": there is no' in found[1]


@pytest.mark.parametrize(
    ("written", "meant"),
    [("Ljubljana", "Europe/Ljubljana"), ("New York", "America/New_York"), ("europe/paris", "Europe/Paris")],
)
def test_a_city_is_not_a_time_zone_but_nearly(written: str, meant: str) -> None:
    (found,) = problems(SITE.replace("Europe/Ljubljana", written))
    assert found.endswith(f'did you mean "{meant}"?')


def test_a_key_of_another_table_is_pointed_to_it() -> None:
    (found,) = problems(SITE + MQTT + KEG + _MAIL + 'waking_hours = "07:00-22:00"\n')
    assert found.endswith("; [site] has waking")
