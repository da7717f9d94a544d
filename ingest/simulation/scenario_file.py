"""The cellar file of Mill Lane cellar, written for the ports and paths of one demo."""

from __future__ import annotations

__all__ = ["mill_lane_file"]

import json
from pathlib import Path

from ingest.simulation.instrument import Instrument
from ingest.simulation.scenario import CELLAR, INSTRUMENTS, OUTLETS
from ingest.simulation.wire import JsonTopic, Outlet, PlainTopic, SerialText

_LINE = "bench-line"

_EQUIPMENT = f"""\
[[room]]
id = "{CELLAR}"
volume = "30 m3"

[[cylinder]]
id = "N2"
gas = "nitrogen"
water_volume = "10 L"
room = "{CELLAR}"
"""

_KEG = """\
[[vessel]]
id = "{id}"
kind = "keg"
capacity = "19.5 L"
gas = "nitrogen"
max_pressure = "200 kPa"      # what is stamped on it
room = "{room}"
"""

_GAS_LINE = """\
[[gas_line]]
id = "N2-line"
cylinder = "N2"
regulator = "55 kPa"
relief = "150 kPa"
vessels = ["K1", "K2", "K3"]
"""

_CARBOY = f"""\
[[vessel]]
id = "C1"
kind = "carboy"
capacity = "23 L"
room = "{CELLAR}"
"""

# Short delays, so that the demo shows an alarm within a minute. A real cellar waits longer.
_LIMIT = """\
[[limit]]
at = "K2"
quantity = "pressure"
low = "5 kPa"
deadband = "1 kPa"
on_delay = "8 s"
off_delay = "5 s"
priority = "high"
consequence = "Air can reach the wine."
action = "Air the room, then look at the lid seal and the posts of K2, and bring the blanket back to 55 kPa."

# By default this waits for the digest.
[[limit]]
due = "re-test"
after = "1 d"
lot = "any"
hours = "waking"
"""


def mill_lane_file(
    *,
    broker_port: int,
    user: str,
    password_file: Path,
    serial_device: str,
    mail_port: int,
    page_port: int,
    store_path: Path,
) -> str:
    """Write the whole cellar file as TOML text.

    Ports are on 127.0.0.1; password_file holds the broker's password for ``user``; serial_device is the path of a line
    at 9600 baud. The text contains no secret.
    """
    head = f"""\
# Mill Lane cellar. It does not exist: `leeside demo` simulates it.

[site]
name = "Mill Lane cellar"
timezone = "Europe/Ljubljana"
altitude = "340 m"
waking = "00:00-23:59"        # so that the demo's mail goes out at any hour; a real cellar lets people sleep

[store]
path = {_text(store_path)}
commit = "0.5 s"

[mqtt]
host = "127.0.0.1"
port = {broker_port}
user = {_text(user)}
password_file = {_text(password_file)}

[[serial]]
id = "{_LINE}"
device = {_text(serial_device)}
baud = 9600
settle = "0.2 s"
"""
    tail = f"""\
[mail]
host = "127.0.0.1"
port = {mail_port}
from = "leeside@cellar.example"
to = ["cellarhand@cellar.example"]

[page]
address = "127.0.0.1:{page_port}"
"""
    kegs = [_KEG.format(id=keg, room=CELLAR) for keg in ("K1", "K2", "K3")]
    probes = [_probe(instrument) for instrument in INSTRUMENTS]
    return "\n".join([head, _EQUIPMENT, *kegs, _GAS_LINE, _CARBOY, *probes, _LIMIT, tail])


def _text(value: str | Path) -> str:
    """Write a TOML basic string. Its escapes are those of JSON, as long as nothing is written as a surrogate pair."""
    return json.dumps(str(value), ensure_ascii=False)


def _outlet(probe: str) -> Outlet:
    return next(outlet for outlet in OUTLETS if probe in outlet.probes)


def _probe(instrument: Instrument) -> str:
    lines = [
        "[[probe]]",
        f'id = "{instrument.probe}"',
        f'at = "{instrument.place}"',
        f'quantity = "{instrument.quantity}"',
    ]
    if instrument.quantity == "temperature":
        lines.append(f'mounted = "{instrument.mounted}"')
    outlet = _outlet(instrument.probe)
    match outlet:
        case PlainTopic():
            lines.append(f'topic = "{outlet.topic}"')
        case JsonTopic():
            lines.append(f'topic = "{outlet.topic}"')
            lines.append('payload = "json"')
            lines.append(f'pointer = "{outlet.pointer(instrument.probe)}"')
            lines.append(f'time_pointer = "/{outlet.time_member}"')
        case SerialText():
            lines.append(f'serial = "{_LINE}"')
            lines.append(f"pattern = '{outlet.pattern}'")
    lines.append(f'unit = "{instrument.unit}"')
    lines.append(f'every = "{instrument.every_ms // 1000} s"')
    return "\n".join(lines) + "\n"
