"""Calls of the benches of gas, and what they print, for tests."""

from __future__ import annotations

__all__ = [
    "BLANKET",
    "CYLINDER",
    "PUSH",
    "ROOM",
    "SIPHON",
    "SWEEP",
    "TUBE",
    "VENT",
    "changed",
    "in_json",
    "refused",
    "say",
]

import json
from typing import Any

from running import leeside

BLANKET = (
    "blanket",
    *("--gas", "nitrogen", "--capacity-l", "19", "--wine-l", "18.5", "--alcohol", "12"),
    *("--pressure-kpa", "55", "--temperature", "20"),
)

VENT = (
    *("purge", "--kind", "keg", "--max-pressure-kpa", "200", "--headspace-l", "2", "--method", "vent"),
    *("--high-kpa", "55", "--low-kpa", "0", "--cycles", "3", "--wine-l", "17"),
)
SWEEP = ("purge", "--kind", "carboy", "--headspace-l", "23", "--method", "sweep", "--target-o2-percent", "0.5")


def say(*words: str) -> str:
    result = leeside("bench", *words)
    assert result.returncode == 0, result.stderr
    return result.stdout


def in_json(*words: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(say(*words, "--json"))
    return found


def changed(words: tuple[str, ...], *changes: str) -> tuple[str, ...]:
    """The words with the values of these options changed, or with them added."""
    given = list(words)
    for option, value in zip(changes[::2], changes[1::2], strict=True):
        if option in given:
            given[given.index(option) + 1] = value
        else:
            given += [option, value]
    return tuple(given)


def refused(words: tuple[str, ...], named: str, message: str) -> None:
    result = leeside("bench", *words)
    assert result.returncode == 2
    (error,) = [line for line in result.stderr.splitlines() if line.startswith("Error: ")]
    assert named in error
    assert message in error
    assert result.stdout == ""


CYLINDER = (
    "cylinder",
    "--gas",
    "nitrogen",
    "--water-volume-l",
    "10",
    "--pressure-kpa",
    "14898.675",
    "--temperature",
    "20",
)
ROOM = ("room", "--room-m3", "30", "--gas", "nitrogen", "--released-l", "300")
TUBE = ("--bore-mm", "6.35", "--length-m", "2", "--temperature", "17")
PUSH = ("push", "--kind", "keg", "--volume-l", "18", "--pressure-kpa", "20", "--height-m", "0.5", *TUBE)
SIPHON = ("siphon", "--volume-l", "20", "--head-start-m", "0.9", "--head-end-m", "0.4", *TUBE)
