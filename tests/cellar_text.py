"""Pieces of a cellar file that tests put together, and the problems that a text has."""

from __future__ import annotations

__all__ = ["BASE", "CARBOY", "KEG", "LIMIT", "MQTT", "PROBE", "SITE", "TEMPERATURE", "cellar", "problems"]

from pathlib import Path

import pytest

from ingest.cellar import Cellar, parse_cellar
from ingest.errors import CellarFileError

SITE = '[site]\nname = "Mill Lane cellar"\ntimezone = "Europe/Ljubljana"\n'
MQTT = '[mqtt]\nhost = "127.0.0.1"\n'
KEG = '[[vessel]]\nid = "K1"\nkind = "keg"\ncapacity = "19.5 L"\ngas = "nitrogen"\nmax_pressure = "200 kPa"\n'
CARBOY = '[[vessel]]\nid = "C1"\nkind = "carboy"\ncapacity = "23 L"\n'
PROBE = '[[probe]]\nid = "k1-pressure"\nat = "K1"\nquantity = "pressure"\ntopic = "k1/p"\nunit = "kPa"\n'
TEMPERATURE = '[[probe]]\nid = "k1-temperature"\nat = "K1"\nquantity = "temperature"\ntopic = "k1/t"\nunit = "degC"\n'
LIMIT = '[[limit]]\nconsequence = "Air can reach the wine."\naction = "Look at the lid."\n'
BASE = SITE + MQTT + KEG + PROBE


def cellar(*pieces: str) -> Cellar:
    """The cellar that the pieces make together."""
    return parse_cellar("\n".join(pieces), file="cellar.toml", base=Path("/srv/cellar"))


def problems(*pieces: str) -> list[str]:
    """What is wrong with the pieces, each problem as its text."""
    with pytest.raises(CellarFileError) as caught:
        cellar(*pieces)
    return [str(problem) for problem in caught.value.problems]
