"""Each mistake in a cellar file gets its own text, with table, key, value and what is allowed."""

from __future__ import annotations

import pytest
from cellar_text import BASE, CARBOY, KEG, LIMIT, MQTT, PROBE, SITE, TEMPERATURE, problems

from ingest.cellar.table_entry import nearest

_SERIAL = '[[serial]]\nid = "line"\ndevice = "/dev/ttyS9"\n'
_ON_LINE = '[[probe]]\nid = "s"\nat = "K1"\nquantity = "temperature"\nunit = "degC"\nserial = "line"\n'
_ROOM = '[[room]]\nid = "cellar"\n'
_MAIL = '[mail]\nhost = "mail.example"\nfrom = "a@b.example"\nto = ["c@d.example"]\n'
_PRESSURE = LIMIT + 'at = "K1"\nquantity = "pressure"\n'
_LABEL = "[[limit]] K1/pressure"
_WARM = LIMIT + 'at = "K1"\nquantity = "temperature"\n'
_WITHOUT_UNIT = PROBE.replace('unit = "kPa"\n', "")
_SENML = _WITHOUT_UNIT + 'payload = "senml"\n'
_JSON = PROBE + 'payload = "json"\n'


def _probe(**keys: str) -> str:
    """The usual probe with some keys written otherwise; an empty text leaves a key out."""
    usual = {"id": "k1-pressure", "at": "K1", "quantity": "pressure", "topic": "k1/p", "unit": "kPa"} | keys
    return "[[probe]]\n" + "".join(f'{key} = "{value}"\n' for key, value in usual.items() if value)


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
        ['[mail] from = "a b.example": a mail address without spaces, such as "cellarhand@cellar.example"'],
        id="mail address",
    ),
    pytest.param(
        SITE,
        '[page]\naddress = "0.0.0.0:8420"',
        [
            '[page] address = "0.0.0.0:8420": the page has no password in this version, so only this machine may reach '
            'it; write "127.0.0.1" and a port, and use an SSH tunnel from elsewhere'
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

_VESSELS = [
    pytest.param(
        SITE,
        KEG + 'working_pressure = "180 kPa"\n',
        [
            '[[vessel]] K1 working_pressure = "180 kPa": must be below 180 kPa, where the alarm before the stamp is '
            "raised; keep less pressure in this vessel"
        ],
        id="working pressure at the stamp",
    ),
    pytest.param(
        SITE,
        KEG + 'working_pressure = "20 kPa"\n',
        ['[[vessel]] K1 working_pressure = "20 kPa": must be above 20 kPa, below which the blanket is getting thin'],
        id="working pressure of a thin blanket",
    ),
    pytest.param(
        SITE,
        CARBOY + 'working_pressure = "20 kPa"\n',
        ['[[vessel]] C1 working_pressure = "20 kPa": glass bursts under pressure: never put any on it; leave it out'],
        id="working pressure of glass",
    ),
    pytest.param(
        SITE,
        KEG.replace('gas = "nitrogen"\n', "") + 'working_pressure = "20 kPa"\n',
        ['[[vessel]] K1 working_pressure = "20 kPa": only a keg or tank with gas is kept under pressure; leave it out'],
        id="working pressure without gas",
    ),
    pytest.param(
        SITE,
        KEG.replace('"K1"', '"K 1"'),
        [
            '[[vessel]] K 1 id = "K 1": 1 to 64 letters, digits, ".", "_" or "-", beginning with a letter or digit, '
            'such as "K1"'
        ],
        id="form of an id",
    ),
    pytest.param(
        SITE,
        KEG.replace('"19.5 L"', '"0 L"'),
        ['[[vessel]] K1 capacity = "0 L": must be above 0 to 1e+06 L'],
        id="no capacity",
    ),
    pytest.param(
        SITE,
        KEG.replace('"keg"', '"kegg"'),
        ['[[vessel]] K1 kind = "kegg": allowed: "keg", "carboy", "barrel", "tank" or "bottle"; did you mean "keg"?'],
        id="kind",
    ),
    pytest.param(
        SITE,
        KEG.replace("200 kPa", "301 kPa absolute"),
        [
            '[[vessel]] K1 max_pressure = "301 kPa absolute": this is absolute pressure, but gauge pressure is asked '
            'for, such as "200 kPa"'
        ],
        id="absolute max_pressure",
    ),
    pytest.param(
        SITE,
        KEG.replace('max_pressure = "200 kPa"\n', ""),
        ['[[vessel]] K1 max_pressure: is missing: a keg with gas needs what is stamped on it, such as "200 kPa"'],
        id="gas without max_pressure",
    ),
    pytest.param(
        SITE,
        CARBOY + 'max_pressure = "10 kPa"',
        [
            '[[vessel]] C1 max_pressure = "10 kPa": glass bursts under pressure: never put any on it; leave '
            "max_pressure out"
        ],
        id="pressure on glass",
    ),
    pytest.param(
        SITE,
        KEG + 'room = "cellr"\n' + _ROOM,
        ['[[vessel]] K1 room = "cellr": there is no room with this id; did you mean "cellar"?'],
        id="room unknown",
    ),
    pytest.param(
        SITE,
        KEG + 'room = "barn"',
        ['[[vessel]] K1 room = "barn": there is no room with this id; known: none'],
        id="no rooms",
    ),
    pytest.param(
        SITE,
        _ROOM + KEG + CARBOY.replace('"C1"', '"k1"'),
        [
            '[[vessel]] k1 id = "k1": is taken by [[vessel]] K1; ids of places must differ in more than upper and '
            "lower case"
        ],
        id="one id twice but for case",
    ),
    pytest.param(
        SITE,
        KEG + '[[room]]\nid = "K1"\n',
        [
            '[[vessel]] K1 id = "K1": is taken by [[room]] K1; ids of places must differ in more than upper and lower '
            "case"
        ],
        id="vessel and room of one id",
    ),
    pytest.param(
        SITE,
        KEG + CARBOY + 'was = "K1"',
        ['[[vessel]] C1 was = "K1": this id is still in use; was names an id that is gone'],
        id="was still lives",
    ),
    pytest.param(
        SITE,
        KEG + 'was = "K9"\n' + CARBOY + 'was = "K9"',
        ['[[vessel]] C1 was = "K9": [[vessel]] K1 has this former id already'],
        id="was twice",
    ),
]

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
        LIMIT + 'at = "K1"\nquantity = "pressure"\nrate = "30 kPa"',
        [f'{_LABEL}/rate rate = "30 kPa": must be a change and a time, such as "10 kPa in 1 h"'],
        id="rate without a time",
    ),
    pytest.param(
        LIMIT + 'at = "K1"\nquantity = "pressure"\nrate = "-30 kPa in 1 h"',
        [f'{_LABEL}/rate rate = "-30 kPa in 1 h": the change must be more than 0; rising and falling count alike'],
        id="negative rate",
    ),
    pytest.param(
        LIMIT + 'at = "K1"\nquantity = "pressure"\nrate = "30 kPa in 8 d"',
        [f'{_LABEL}/rate rate = "30 kPa in 8 d": the time must be from 1 min to 7 d'],
        id="rate in too long a time",
    ),
    pytest.param(
        LIMIT + 'at = "K1"\nquantity = "pressure"\nrate = "1 kPa in 1 h"',
        [
            f"{_LABEL}/rate deadband: the usual one is too wide: the alarm would never clear, since no change is "
            "smaller than none; make it smaller than 1 kPa"
        ],
        id="rate that never clears",
    ),
    pytest.param(
        LIMIT + 'at = "K1"\nquantity = "pressure"\nrate = "2000 kPa in 1 h"',
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


@pytest.mark.parametrize(("text", "more", "told"), _ONE_KEY + _VESSELS)
def test_mistakes_in_a_table(text: str, more: str, told: list[str]) -> None:
    assert problems(text, more) == told


@pytest.mark.parametrize(("text", "told"), _PROBES)
def test_mistakes_of_a_probe(text: str, told: list[str]) -> None:
    assert problems(SITE, MQTT, KEG, text) == told


@pytest.mark.parametrize(("text", "told"), _LIMITS)
def test_mistakes_of_a_limit(text: str, told: list[str]) -> None:
    assert problems(BASE, text) == told


def test_a_topic_needs_a_broker() -> None:
    assert problems(SITE, KEG, PROBE) == [
        '[[probe]] k1-pressure topic = "k1/p": a topic needs the broker: write a table [mqtt] with its host'
    ]


def test_no_blanket_pressure_in_glass() -> None:
    low = LIMIT + 'at = "C1"\nquantity = "pressure"\nlow = "1 kPa"\n'
    assert problems(SITE, MQTT, CARBOY, PROBE.replace('"K1"', '"C1"'), low) == [
        '[[limit]] C1/pressure/low low = "1 kPa": glass bursts under pressure: never keep a blanket pressure in glass; '
        "leave this limit out"
    ]


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
