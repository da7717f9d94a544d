"""The benches of gas: what they print, and wrong calls that name the option."""

from __future__ import annotations

import pytest
from gas_benches import BLANKET, CYLINDER, PUSH, ROOM, SIPHON, SWEEP, VENT, changed, in_json, refused, say

# ---- blanket --------------------------------------------------------------------------------------------------------


def test_a_blanket_that_cools() -> None:
    found = in_json(*BLANKET, "--reference-temperature", "10")
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
    shown = say(*BLANKET, "--reference-temperature", "10")
    assert "pressure without a leak at 10 °C: 40.1 kPa after hours (dissolved gas frozen in place), 36.1 kPa" in shown
    assert "caution: leeside is not a gas alarm" in shown


def test_a_negative_gauge_and_a_cold_reference_are_taken() -> None:
    found = in_json(*changed(BLANKET, "--pressure-kpa", "-5", "--reference-temperature", "-2"))
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
    assert any(warned in text for text in in_json(*changed(BLANKET, *changes))["warnings"])


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
    refused(changed(BLANKET, *changes), named, message)


def test_a_blanket_without_its_pressure() -> None:
    refused(BLANKET[:9], "--pressure-kpa", "Missing")


# ---- purge ----------------------------------------------------------------------------------------------------------


def test_three_cycles_of_55_kpa() -> None:
    """20.95 x (101.325 / 156.325)^3 = 5.705 %; 3 x 2 x 55 / 101.325 = 3.257 L; 5.705 % of 2 L: 154.6 mg O2 at 15 °C."""
    found = in_json(*VENT)
    assert found == {
        "cycles": 3,
        "o2_percent": pytest.approx(5.705, abs=1e-3),
        "o2_mg_l": pytest.approx(9.08, abs=0.02),
        "so2_mg_l": pytest.approx(36.3, abs=0.1),
        "gas_l": pytest.approx(3.257, abs=1e-3),
        "method": "vent",
        "warnings": [found["warnings"][0]],
    }
    assert "mg of oxygen per litre of wine" in found["warnings"][0]
    shown = say(*VENT)
    assert shown.startswith(
        "3 cycles leave 5.705 % oxygen\nthat is 9.08 mg per litre of wine, which can cost up to 36.3"
    )
    assert "caution: the stamp on the vessel rules" in shown


def test_a_sweep_of_glass_with_its_outlet_open() -> None:
    found = in_json(*SWEEP)
    assert found["cycles"] == pytest.approx(3.735, abs=1e-3)
    assert found["gas_l"] == pytest.approx(85.9, abs=0.1)
    assert (found["o2_percent"], found["o2_mg_l"], found["so2_mg_l"]) == (pytest.approx(0.5), None, None)
    assert "outlet wide open" in found["warnings"][0]
    assert "not used" in " ".join(in_json(*SWEEP, "--high-kpa", "20")["warnings"])


@pytest.mark.parametrize(
    ("words", "named", "message"),
    [
        (changed(VENT, "--kind", "glass"), "--kind", "only a keg or tank"),
        (changed(VENT, "--kind", "carboy"), "--kind", "bursts"),
        (changed(VENT, "--kind", "plastic"), "--kind", "not a pressure vessel"),
        (changed(VENT, "--kind", "barrel"), "--kind", "not a pressure vessel"),
        (changed(VENT, "--kind", "amphora"), "--kind", "allowed: keg, tank"),
        (changed(VENT, "--high-kpa", "201"), "--high-kpa", "200 kPa stamped"),
        (changed(VENT, "--high-kpa", "0"), "--low-kpa", "must be below"),
        (changed(VENT, "--low-kpa", "55"), "--low-kpa", "must be below"),
        (changed(VENT, "--low-kpa", "-50"), "--low-kpa", "vacuum"),
        (changed(VENT, "--cycles", "2.5"), "--cycles", "whole number"),
        (changed(VENT, "--cycles", "-1"), "--cycles", "out of range"),
        (changed(VENT, "--headspace-l", "-2"), "--headspace-l", "out of range"),
        (changed(VENT, "--wine-l", "0"), "--wine-l", "out of range"),
        (changed(VENT, "--temperature", "60"), "--temperature", "-5 to 40 °C"),
        (changed(VENT, "--method", "vacuum"), "--method", "allowed: vent, sweep"),
        ((*VENT, "--target-o2-percent", "1"), "--cycles, --target-o2-percent", "exactly one"),
        (VENT[:3] + VENT[5:], "--max-pressure-kpa", "stamped"),
        (VENT[:9] + VENT[11:], "--high-kpa", "vent needs"),
        (changed(SWEEP, "--target-o2-percent", "0"), "--target-o2-percent", "out of range"),
        ((*SWEEP, "--supply-o2-percent", "0.5"), "--target-o2-percent", "supply"),
        ((*SWEEP, "--low-kpa", "10"), "--kind", "bursts"),
        (SWEEP[:7], "--cycles, --target-o2-percent", "exactly one"),
    ],
)
def test_a_wrong_purge_names_the_option(words: tuple[str, ...], named: str, message: str) -> None:
    refused(words, named, message)


# ---- cylinder and room ----------------------------------------------------------------------------------------------


def test_a_cylinder_of_nitrogen() -> None:
    """15 MPa x 10 L / (1.0205 R 293.15 K) = 60.30 mol."""
    assert in_json(*CYLINDER) == {
        "content_l": pytest.approx(1425.8, abs=0.5),
        "content_kg": pytest.approx(1.689, abs=1e-3),
        "content_mol": pytest.approx(60.30, abs=0.02),
        "vapour_kpa": None,
        "warnings": [],
    }
    assert say(*CYLINDER).startswith("nitrogen: 1,426 L at 15 °C and 101.325 kPa, 1.69 kg, 60.3 mol\ncaution: keep")


def test_cylinders_that_are_warned_of() -> None:
    liquid = in_json(*changed(CYLINDER, "--gas", "CO2", "--pressure-kpa", "5630"))
    assert (liquid["content_l"], liquid["content_kg"]) == (None, None)
    assert "does not show its content" in liquid["warnings"][0]
    assert "weigh it" in liquid["warnings"][0]
    assert "does not show how much" in say(*changed(CYLINDER, "--gas", "CO2", "--pressure-kpa", "5630"))
    gas_only = in_json(*changed(CYLINDER, "--gas", "CO2", "--pressure-kpa", "2000"))
    assert gas_only["content_kg"] == pytest.approx(0.436, abs=0.01)
    assert "only once no liquid is left" in gas_only["warnings"][0]
    overfilled = in_json(*changed(CYLINDER, "--gas", "CO2", "--pressure-kpa", "8000"))
    assert "overfilled" in overfilled["warnings"][1]
    assert "above 31 °C" in in_json(*changed(CYLINDER, "--gas", "CO2", "--temperature", "35"))["warnings"][0]
    assert "regulator" in in_json(*changed(CYLINDER, "--pressure-kpa", "600"))["warnings"][0]
    assert "hot" in in_json(*changed(CYLINDER, "--temperature", "55"))["warnings"][0]


@pytest.mark.parametrize(
    ("changes", "named", "message"),
    [
        (("--pressure-kpa", "32000"), "--pressure-kpa", "0 to 31850 kPa"),
        (("--pressure-kpa", "-1"), "--pressure-kpa", "0 to 31850 kPa"),
        (("--temperature", "70"), "--temperature", "-25 to 60 °C"),
        (("--water-volume-l", "0"), "--water-volume-l", "0.05 to 1000 L"),
        (("--gas", "oxygen"), "--gas", "allowed: nitrogen"),
    ],
)
def test_a_wrong_cylinder_names_the_option(changes: tuple[str, ...], named: str, message: str) -> None:
    refused(changed(CYLINDER, *changes), named, message)


@pytest.mark.parametrize(
    ("gas", "litres", "o2", "co2", "warned"),
    [
        ("nitrogen", "300", 20.7405, 0.0, ""),
        ("argon", "2149", 19.4493, 0.0, "deficient in oxygen"),
        ("nitrogen", "9223", 14.509, 0.0, "impaired"),
        ("nitrogen", "31000", 0.0, 0.0, "convulsions"),
        ("CO2", "149", 20.846, 0.4967, ""),
        ("CO2", "150", 20.845, 0.5, "OSHA"),
        ("CO2", "900", 20.3215, 3.0, "short time"),
        ("CO2", "1200", 20.112, 4.0, "immediately dangerous"),
    ],
)
def test_a_room(gas: str, litres: str, o2: float, co2: float, warned: str) -> None:
    found = in_json(*changed(ROOM, "--gas", gas, "--released-l", litres))
    assert found["o2_percent"] == pytest.approx(o2, abs=1e-3)
    assert found["co2_percent"] == pytest.approx(co2, abs=1e-3)
    assert bool(found["warnings"]) == bool(warned)
    assert warned in " ".join(found["warnings"])
    assert "caution: leeside is not a gas alarm" in say(*changed(ROOM, "--gas", gas, "--released-l", litres))


@pytest.mark.parametrize(
    ("changes", "named"),
    [(("--room-m3", "0"), "--room-m3"), (("--room-m3", "-5"), "--room-m3"), (("--released-l", "-1"), "--released-l")],
)
def test_a_wrong_room_names_the_option(changes: tuple[str, ...], named: str) -> None:
    refused(changed(ROOM, *changes), named, "out of range")


# ---- push and siphon ------------------------------------------------------------------------------------------------


def test_a_push_and_its_gas() -> None:
    """18 x 121.325 / 101.325 x 288.15 / 290.15 = 21.40 L."""
    found = in_json(*PUSH, "--max-pressure-kpa", "200")
    assert found == {
        "gas_l": pytest.approx(21.40, abs=0.01),
        "flow_l_min": pytest.approx(2.92, abs=0.03),
        "minutes": pytest.approx(6.16, abs=0.06),
        "regime": "turbulent",
        "flow_high_l_min": found["flow_l_min"],
        "minutes_low": found["minutes"],
        "flow_start_l_min": found["flow_l_min"],
        "flow_end_l_min": found["flow_l_min"],
        "driving_kpa": pytest.approx(15.18, abs=0.02),
        "warnings": [],
    }
    shown = say(*changed(PUSH, "--pressure-kpa", "55"))
    assert "min, " in shown
    assert "warning: read the pressure stamped on the vessel" in shown
    assert "plenty to push wine" in shown
    down = in_json(*changed(PUSH, "--height-m", "-0.5"))
    assert down["driving_kpa"] == pytest.approx(24.82, abs=0.02)


def test_a_siphon_slows_down() -> None:
    found = in_json(*SIPHON)
    assert found["flow_start_l_min"] > found["flow_l_min"] > found["flow_end_l_min"]
    assert found["minutes"] * found["flow_l_min"] == pytest.approx(20.0)
    assert found["gas_l"] == pytest.approx(19.86, abs=0.01)
    assert found["regime"] == "transition"
    assert "nobody can say" in found["warnings"][0]
    shown = say(*SIPHON)
    assert "at the end\ngas that takes the place of the wine: 19.9 L at 15 °C" in shown
    assert "neither under pressure nor under vacuum" in shown


@pytest.mark.parametrize(
    ("words", "named", "message"),
    [
        (changed(PUSH, "--kind", "carboy"), "--kind", "never put it under gas pressure"),
        (changed(PUSH, "--kind", "glass"), "--kind", "never put it under gas pressure"),
        (changed(PUSH, "--pressure-kpa", "3"), "--pressure-kpa", "does not move the wine"),
        (changed(PUSH, "--pressure-kpa", "250", "--max-pressure-kpa", "200"), "--pressure-kpa", "stamped"),
        (changed(PUSH, "--height-m", "60"), "--height-m", "out of range"),
        (changed(PUSH, "--bore-mm", "0"), "--bore-mm", "1 to 100 mm"),
        (changed(PUSH, "--length-m", "-2"), "--length-m", "0.05 to 200 m"),
        (changed(PUSH, "--volume-l", "0"), "--volume-l", "out of range"),
        (changed(PUSH, "--temperature", "50"), "--temperature", "-5 to 40 °C"),
        (changed(PUSH, "--receiver-kpa", "-5"), "--receiver-kpa", "out of range"),
        (changed(SIPHON, "--head-end-m", "0"), "--head-end-m", "0.001 to 10 m"),
        (changed(SIPHON, "--head-end-m", "1"), "--head-end-m", "it falls"),
        (changed(SIPHON, "--head-start-m", "-1"), "--head-start-m", "out of range"),
    ],
)
def test_a_wrong_transfer_names_the_option(words: tuple[str, ...], named: str, message: str) -> None:
    refused(words, named, message)
