"""What all benches of gas have in common: numbers, keys for programs, cautions."""

from __future__ import annotations

import pytest
from gas_benches import BLANKET, CYLINDER, PUSH, ROOM, SIPHON, SWEEP, VENT, changed, in_json, refused, say

BENCHES = {"blanket": BLANKET, "vent": VENT, "sweep": SWEEP, "cylinder": CYLINDER, "room": ROOM}
BENCHES |= {"push": PUSH, "siphon": SIPHON}
WORDS = ("--gas", "--kind", "--method", "--material")


@pytest.mark.parametrize("text", ["nan", "inf", "-inf", "1e400", "abc", "", "1,5", "0x10", "１２"])
@pytest.mark.parametrize("words", BENCHES.values(), ids=BENCHES)
def test_what_is_no_number_names_its_option(words: tuple[str, ...], text: str) -> None:
    for option in words[1::2]:
        if option not in WORDS:
            refused(changed(words, option, text), option, "not a usable number")


@pytest.mark.parametrize(
    ("words", "keys"),
    [
        (BLANKET, {"headspace_l", "headspace_mmol", "dissolved_mmol", "frozen_kpa", "equilibrium_kpa", "warnings"}),
        (VENT, {"cycles", "o2_percent", "o2_mg_l", "gas_l"}),
        (SWEEP, {"cycles", "o2_percent", "o2_mg_l", "gas_l"}),
        (CYLINDER, {"content_l", "content_kg", "warnings"}),
        (PUSH, {"gas_l", "flow_l_min", "minutes", "regime"}),
        (SIPHON, {"gas_l", "flow_l_min", "minutes", "regime"}),
        (ROOM, {"o2_percent", "co2_percent", "warnings"}),
    ],
)
def test_the_keys_that_other_programs_rely_on(words: tuple[str, ...], keys: set[str]) -> None:
    assert keys <= set(in_json(*words))


@pytest.mark.parametrize(
    ("words", "shown"),
    [
        (
            changed(PUSH, "--volume-l", "1000000", "--pressure-kpa", "1000", "--bore-mm", "100"),
            "1,000,000 L take ",
        ),
        (changed(ROOM, "--room-m3", "0.1", "--gas", "CO2", "--released-l", "100"), "carbon dioxide 100 % more"),
        (changed(CYLINDER, "--water-volume-l", "1000"), "nitrogen: 142,600 L"),
        (changed(BLANKET, "--capacity-l", "1000000", "--wine-l", "900000"), "nitrogen in it: 6,"),
    ],
)
def test_large_numbers_are_written_in_full(words: tuple[str, ...], shown: str) -> None:
    found = say(*words)
    assert shown in found
    assert "e+" not in found


def test_a_target_that_takes_too_many_cycles() -> None:
    at = VENT.index("--cycles")
    words = (*changed(VENT[:at] + VENT[at + 2 :], "--high-kpa", "0.1"), "--target-o2-percent", "0.001")
    refused(words, "--target-o2-percent", "takes 10,087 cycles of 0.1 kPa, more than the 1,000")


def test_a_tank_warns_of_going_in() -> None:
    assert "caution: never climb, reach or lean into a tank" in say(*changed(VENT, "--kind", "tank"))
    assert "caution: never climb" in say(*changed(PUSH, "--kind", "tank"))
    assert "never climb" not in say(*VENT)


def test_what_is_wrong_here_stands_before_the_general_cautions() -> None:
    lines = say(*changed(ROOM, "--released-l", "5000")).splitlines()
    kinds = [line.partition(":")[0] for line in lines if line.startswith(("warning:", "caution:"))]
    assert {*kinds} == {"warning", "caution"}
    assert kinds == sorted(kinds, reverse=True)
