"""Cellar files for tests: each table with its usual keys, and the problems that a text has.

A function makes one table. Keys that differ from the usual ones are given by name, and None leaves a key out:
``keg("K2", gas=None)``. The names in capitals are the usual tables.
"""

from __future__ import annotations

__all__ = [
    "BASE",
    "CARBOY",
    "KEG",
    "LIMIT",
    "MQTT",
    "PROBE",
    "SITE",
    "TEMPERATURE",
    "carboy",
    "cellar",
    "cylinder",
    "gas_line",
    "keg",
    "limit",
    "mail",
    "mqtt",
    "probe",
    "problems",
    "room",
    "serial",
    "site",
    "table",
    "temperature",
    "watched_keg",
    "write_cellar",
]

import json
from pathlib import Path

import pytest

from ingest.cellar import Cellar, parse_cellar
from ingest.errors import CellarFileError


def table(head: str, **keys: object) -> str:
    """Make a table of any sort, such as ``table("[[room]]", id="cellar")``."""
    # A string, a number, a truth value and a list are written in TOML as in JSON.
    lines = (f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in keys.items() if value is not None)
    return "\n".join((head, *lines, ""))


def site(**keys: object) -> str:
    return table("[site]", **{"name": "Mill Lane cellar", "timezone": "Europe/Ljubljana", **keys})


def mqtt(port: int | None = None, **keys: object) -> str:
    return table("[mqtt]", **{"host": "127.0.0.1", "port": port, **keys})


def serial(device: object, id: str = "bench-line", **keys: object) -> str:
    """Make a serial line that is read from its first byte on."""
    return table("[[serial]]", **{"id": id, "device": str(device), "settle": "0 s", **keys})


def keg(id: str = "K1", **keys: object) -> str:
    usual = {"kind": "keg", "capacity": "19.5 L", "gas": "nitrogen", "max_pressure": "200 kPa"}
    return table("[[vessel]]", **{"id": id, **usual, **keys})


def carboy(id: str = "C1", **keys: object) -> str:
    return table("[[vessel]]", **{"id": id, "kind": "carboy", "capacity": "23 L", **keys})


def room(id: str = "cellar", **keys: object) -> str:
    return table("[[room]]", **{"id": id, **keys})


def cylinder(id: str = "N2", **keys: object) -> str:
    return table("[[cylinder]]", **{"id": id, "gas": "nitrogen", "water_volume": "10 L", **keys})


def gas_line(id: str = "N2-line", **keys: object) -> str:
    """Make a gas line from N2 to K1, without a relief valve."""
    usual = {"cylinder": "N2", "regulator": "55 kPa", "vessels": ["K1"]}
    return table("[[gas_line]]", **{"id": id, **usual, **keys})


def probe(id: str = "k1-pressure", at: str = "K1", **keys: object) -> str:
    """Make a pressure probe with a topic."""
    return table("[[probe]]", **{"id": id, "at": at, "quantity": "pressure", "topic": "k1/p", "unit": "kPa", **keys})


def temperature(id: str = "k1-temperature", at: str = "K1", **keys: object) -> str:
    """Make a temperature probe with a topic."""
    return probe(id, at, **{"quantity": "temperature", "topic": "k1/t", "unit": "degC", **keys})


def limit(**keys: object) -> str:
    """Make a limit, without place, quantity and setpoint."""
    return table("[[limit]]", **{"consequence": "Air can reach the wine.", "action": "Look at the lid.", **keys})


def mail(port: int | None = None, **keys: object) -> str:
    addresses = {"from": "leeside@cellar.example", "to": ["ana@cellar.example"]}
    return table("[mail]", **{"host": "127.0.0.1", "port": port, **addresses, **keys})


def watched_keg(broker_port: int, mail_port: int) -> str:
    """Make a cellar file: K1 with its pressure in psi, an alarm soon after the pressure is lost, and mail."""
    low = {"at": "K1", "quantity": "pressure", "low": "5 kPa", "deadband": "1 kPa"}
    at_once = {"on_delay": "1 s", "off_delay": "0 s", "priority": "high"}
    pressure = probe(topic="cellar/K1/pressure", unit="psi", every="30 s")
    return site() + mqtt(broker_port) + keg() + pressure + limit(**low, **at_once) + mail(mail_port)


SITE = site()
MQTT = mqtt()
KEG = keg()
CARBOY = carboy()
PROBE = probe()
TEMPERATURE = temperature()
LIMIT = limit()
BASE = SITE + MQTT + KEG + PROBE


def cellar(*pieces: str) -> Cellar:
    """Load the cellar that the pieces make together."""
    return parse_cellar("\n".join(pieces), file="cellar.toml", base=Path("/srv/cellar"))


def write_cellar(folder: Path, *pieces: str) -> Path:
    """Write the pieces into ``cellar.toml``."""
    file = folder / "cellar.toml"
    file.write_text("\n".join(pieces), encoding="utf-8")
    return file


def problems(*pieces: str) -> list[str]:
    """Return what is wrong with the pieces, each problem as its text."""
    with pytest.raises(CellarFileError) as caught:
        cellar(*pieces)
    return [str(problem) for problem in caught.value.problems]
