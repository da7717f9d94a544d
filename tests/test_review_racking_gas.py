"""The review of a racking: whether the gas suffices, and the air of the rooms."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from a_racking import CARBON_DIOXIDE, DAY, N2, NITROGEN, NOW, keg, section

from alerts.gas.stock import GasStock, RoomGas


def test_the_gas_for_all_of_it() -> None:
    found = section("supply")
    needs: Any = found.numbers["needs"]
    assert [each["for"] for each in needs] == ["purging K2", "pushing from K1", "a blanket of 55 kPa on K2"]
    assert needs[2]["high_l"] == pytest.approx(1.5 * 55.0 / 101.325, rel=1e-3)
    assert found.numbers["gas_high_l"] == pytest.approx(sum(each["high_l"] for each in needs))
    assert (found.verdict, found.numbers["cylinders"][0]["enough"]) == ("in order", True)  # type: ignore[index]


@pytest.mark.parametrize(
    ("stocks", "verdict", "words"),
    [
        ((replace(N2, usable_l=100.0),), "do not", "does not suffice"),
        ((replace(N2, usable_l=160.0),), "take care", "barely suffices"),
        ((replace(N2, at_ms=NOW - 40 * DAY),), "take care", "40 d old: read it again"),
        ((replace(N2, usable_l=None, basis="full", at_ms=None),), "not known", "read its gauge"),
        ((GasStock("CO2", CARBON_DIOXIDE, 3000.0, 2900.0, "weight", NOW),), "not known", "has no cylinder of it"),
        ((), "not known", "has no cylinder of it"),
        ((replace(N2, usable_l=100.0), replace(N2, place="N3")), "in order", "N3 can deliver 1,300 L"),
    ],
)
def test_whether_the_cylinder_suffices(stocks: tuple[GasStock, ...], verdict: str, words: str) -> None:
    found = section("supply", cylinders=stocks)
    assert found.verdict == verdict
    assert words in found.reason


def test_a_gas_line_says_which_cylinder_counts() -> None:
    stocks = (replace(N2, usable_l=100.0), replace(N2, place="N3"))
    found = section("supply", cylinders=stocks, lines=frozenset({("N2", "K1"), ("N2", "K2")}))
    assert (found.verdict, "N2 can deliver 100 L" in found.reason) == ("do not", True)


def test_vessels_under_different_gases() -> None:
    stocks = (N2, GasStock("CO2", CARBON_DIOXIDE, 20.0, 10.0, "weight", NOW))
    found = section("supply", receiver=keg("K2", gas="carbon dioxide"), cylinders=stocks)
    assert "K1 is under nitrogen, K2 under carbon dioxide" in found.reason
    assert found.verdict == "do not", "the cylinder of carbon dioxide is nearly empty"


@pytest.mark.parametrize(
    ("room", "verdict", "words"),
    [
        (RoomGas("cellar", 30.0, (N2,)), "in order", "oxygen falls to 20.0 %"),
        (RoomGas("closet", 4.0, (N2,)), "take care", "13.6 %: fatigue and poor judgement"),
        (RoomGas("cellar", None, (N2,)), "not known", "does not know the air of the room cellar"),
        (RoomGas("", None, (N2,)), "not known", "does not say in which room"),
    ],
)
def test_the_room(room: RoomGas, verdict: str, words: str) -> None:
    found = section("room", rooms=(room,))
    assert found.verdict == verdict
    assert words in " ".join(found.lines)


def test_the_gas_of_the_work_itself_counts() -> None:
    """140 L of carbon dioxide into 10 m³ are 1.4 %, though what stands there is little."""
    room = RoomGas("closet", 10.0, (GasStock("K1", NITROGEN, 30.0, None, "pressure", is_cylinder=False),))
    vessels: dict[str, Any] = {
        "source": keg("K1", wine_l=18.0, gas="carbon dioxide"),
        "receiver": keg("K2", gas="carbon dioxide"),
    }
    found = section("room", rooms=(room,), **vessels)
    assert found.verdict == "take care"
    assert "carbon dioxide rises by 1.4 %" in " ".join(found.lines)
    numbers: Any = found.numbers["rooms"]
    assert numbers[0]["work_co2_percent"] == pytest.approx(numbers[0]["work_gas_l"] / 100.0)
