"""The benches of gas: what they print, and wrong calls that name the option."""

from __future__ import annotations

import json
from typing import Any

import pytest
from running import leeside

BLANKET = (
    "blanket",
    *("--gas", "nitrogen", "--capacity-l", "19", "--wine-l", "18.5", "--alcohol", "12"),
    *("--pressure-kpa", "55", "--temperature", "20"),
)


def _say(*words: str) -> str:
    result = leeside("bench", *words)
    assert result.returncode == 0, result.stderr
    return result.stdout


def _json(*words: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(_say(*words, "--json"))
    return found


def _changed(words: tuple[str, ...], *changes: str) -> tuple[str, ...]:
    """The words with the values of these options changed, or with them added."""
    changed = list(words)
    for option, value in zip(changes[::2], changes[1::2], strict=True):
        if option in changed:
            changed[changed.index(option) + 1] = value
        else:
            changed += [option, value]
    return tuple(changed)


def _refused(words: tuple[str, ...], named: str, message: str) -> None:
    result = leeside("bench", *words)
    assert result.returncode == 2
    (error,) = [line for line in result.stderr.splitlines() if line.startswith("Error: ")]
    assert named in error
    assert message in error
    assert result.stdout == ""


# ---- blanket --------------------------------------------------------------------------------------------------------


def test_a_blanket_that_cools() -> None:
    found = _json(*BLANKET, "--reference-temperature", "10")
    assert found == {
        "headspace_l": pytest.approx(0.5),
        "u_headspace_l": pytest.approx(0.1, abs=1e-3),
        "headspace_mmol": pytest.approx(31.47, abs=0.01),
        "u_headspace_mmol": pytest.approx(6.3, abs=0.1),
        "dissolved_mmol": pytest.approx(17.70, abs=0.05),
        "u_dissolved_mmol": pytest.approx(0.61, abs=0.01),
        "frozen_kpa": pytest.approx(40.13, abs=0.05),
        "u_frozen_kpa": pytest.approx(1.75, abs=0.1),
        "equilibrium_kpa": pytest.approx(36.06, abs=0.05),
        "u_equilibrium_kpa": pytest.approx(1.65, abs=0.1),
        "reference_headspace_l": pytest.approx(0.5291, abs=1e-4),
        "vapour_kpa": pytest.approx(2.99, abs=0.01),
        "warnings": [],
    }
    shown = _say(*BLANKET, "--reference-temperature", "10")
    assert "pressure without a leak at 10 °C: 40.1 kPa after hours (dissolved gas frozen in place), 36.1 kPa" in shown
    assert "caution: leeside is no gas alarm" in shown


def test_a_negative_gauge_and_a_cold_reference_are_taken() -> None:
    found = _json(*_changed(BLANKET, "--pressure-kpa", "-5", "--reference-temperature", "-2"))
    assert found["equilibrium_kpa"] < found["frozen_kpa"] < -5.0
    assert "air is drawn in" in found["warnings"][0]


@pytest.mark.parametrize(
    ("changes", "warned"),
    [
        (("--material", "glass", "--gas", "Ar"), "glass is not a pressure vessel"),
        (("--gas", "CO2"), "store of carbon dioxide"),
        (("--wine-l", "18.8"), "measure the contents"),
        (("--alcohol", "5"), "10 to 14 % vol"),
        (("--temperature", "35"), "0 to 30 °C"),
    ],
)
def test_what_a_blanket_warns_of(changes: tuple[str, ...], warned: str) -> None:
    assert any(warned in text for text in _json(*_changed(BLANKET, *changes))["warnings"])


@pytest.mark.parametrize(
    ("changes", "named", "message"),
    [
        (("--wine-l", "19.5"), "--wine-l", "headspace would be below zero"),
        (("--wine-l", "19"), "--capacity-l, --wine-l", "must be above 0"),
        (("--wine-l", "-1"), "--wine-l", "out of range"),
        (("--capacity-l", "0"), "--capacity-l", "out of range"),
        (("--pressure-kpa", "1001"), "--pressure-kpa", "-100 to 1000 kPa"),
        (("--pressure-kpa", "-99"), "--pressure-kpa", "vapour"),
        (("--pressure-kpa", "55 kPa"), "--pressure-kpa", "without a unit"),
        (("--temperature", "45"), "--temperature", "-5 to 40 °C"),
        (("--reference-temperature", "-20"), "--reference-temperature", "-5 to 40 °C"),
        (("--alcohol", "40"), "--alcohol", "0 to 20 % vol"),
        (("--barometer-kpa", "1013"), "--barometer-kpa", "50 to 110 kPa"),
        (("--gas", "helium"), "--gas", "allowed: nitrogen, argon, carbon dioxide"),
        (("--material", "wood"), "--material", "allowed: steel, glass, rigid"),
        (("--u-wine-l", "-0.1"), "--u-wine-l", "0 or more"),
    ],
)
def test_a_wrong_blanket_names_the_option(changes: tuple[str, ...], named: str, message: str) -> None:
    _refused(_changed(BLANKET, *changes), named, message)


def test_a_blanket_without_its_pressure() -> None:
    _refused(BLANKET[:9], "--pressure-kpa", "Missing")
