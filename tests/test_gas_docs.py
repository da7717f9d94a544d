"""docs/gas.md: its tables say what the arithmetic says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from alerts.gas.blanket import BlanketState, Filling, blanket
from alerts.gas.compressibility import carbon_dioxide_vapour_kpa
from alerts.gas.cylinder import cylinder_content
from alerts.gas.gases import GASES, R_KPA_L_MOL_K, kelvin
from alerts.gas.moving_wine import push, siphon
from alerts.gas.over_wine import gas_solubility
from alerts.gas.purge import PurgeTarget, purge_by_sweep, purge_by_vent
from alerts.gas.room import room_air
from alerts.gas.tube_flow import Tube

PAGE = (Path(__file__).resolve().parent.parent / "docs" / "gas.md").read_text(encoding="utf-8")


def test_the_keg_that_cools() -> None:
    rows = re.findall(r"^\| ([0-9.]+) L headspace \| ([0-9.]+) \| ([0-9.]+) \| ([0-9.]+) \|$", PAGE, re.MULTILINE)
    assert len(rows) == 3
    for headspace, *cells in rows:
        filling = Filling(19.0, 19.0 - float(headspace))
        worked = blanket(filling, BlanketState(GASES["nitrogen"], 55.0, 20.0), 10.0)
        ideal = 156.325 * kelvin(10.0) / kelvin(20.0) - 101.325
        assert [f"{worked.frozen_kpa:.1f}", f"{worked.equilibrium_kpa:.1f}"] == cells[:2]
        assert float(cells[2]) == pytest.approx(ideal, abs=0.051)


@pytest.mark.parametrize("name", GASES)
def test_what_a_litre_of_wine_is_worth(name: str) -> None:
    found = re.search(rf"^\| {name} \| ([0-9.]+(?: \| [0-9.]+){{4}}) \|$", PAGE, re.MULTILINE)
    assert found is not None
    for celsius, cell in zip((5.0, 10.0, 15.0, 20.0, 25.0), found[1].split(" | "), strict=True):
        worth = gas_solubility(GASES[name], celsius) * R_KPA_L_MOL_K * kelvin(celsius)
        assert float(cell) == pytest.approx(worth, rel=4e-3)


def test_the_purges() -> None:
    rows = re.findall(r"^\| ([0-9.]+) % \| ([0-9.]+) \|((?: [0-9]+, [0-9.]+ \|){4})$", PAGE, re.MULTILINE)
    assert len(rows) == 3
    for percent, sweep, cells in rows:
        target = PurgeTarget(o2_percent=float(percent))
        assert f"{purge_by_sweep('keg', 1.0, target).gas_l:.2f}" == sweep
        for high, cell in zip((20.0, 55.0, 100.0, 207.0), cells.strip(" |").split(" | "), strict=True):
            worked = purge_by_vent("keg", 1.0, target, high_kpa=high, stamp_kpa=900.0)
            assert f"{worked.cycles:.0f}, {worked.gas_l:.1f}" == cell


def test_the_cylinders() -> None:
    rows = re.findall(r"^\| (\d+) L \|((?: \d+ L \|){4})$", PAGE, re.MULTILINE)
    assert len(rows) == 4
    for water, cells in rows:
        for (gas, mpa), cell in zip(
            (("nitrogen", 15), ("nitrogen", 20), ("argon", 15), ("argon", 20)), re.findall(r"\d+", cells), strict=True
        ):
            content = cylinder_content(GASES[gas], float(water), mpa * 1000.0 - 101.325, 20.0)
            assert content.litres == pytest.approx(float(cell), rel=5e-4)


def test_the_rooms() -> None:
    rows = re.findall(r"^\| ([0-9.]+) m³ \| ([0-9.]+) % \| ([0-9.]+) % \|$", PAGE, re.MULTILINE)
    assert len(rows) == 3
    for room_m3, *cells in rows:
        after = [room_air(float(room_m3), GASES["nitrogen"], litres).o2_percent for litres in (1426.0, 9223.0)]
        assert [f"{percent:.2f}" for percent in after] == cells


def test_the_transfers() -> None:
    rows = re.findall(
        r"^\| (?:siphon, ([0-9.]+) m|push, 20 kPa, lift 0.5 m), through (\d) m of ([0-9.]+) mm "
        r"\| ([0-9.]+) kPa \| ([0-9.]+) mL/s, (\w+) \|$",
        PAGE,
        re.MULTILINE,
    )
    assert len(rows) == 4
    for head, length, bore, kpa, ml_s, regime in rows:
        tube = Tube(float(bore), float(length))
        worked = siphon(1.0, float(head), float(head), tube, 17.0) if head else push("keg", 18.0, 20.0, 0.5, tube, 17.0)
        assert f"{worked.driving_kpa:.2f}" == kpa
        assert f"{worked.l_min / 0.06:.1f}" == ml_s
        assert worked.regime == regime


def test_the_vapour_pressures_of_carbon_dioxide() -> None:
    text = PAGE.replace(" MPa absolute", "").replace("\n", " ")
    found = re.search(r"is left: (.+?) \(Span and Wagner 1996\)", text)
    assert found is not None
    for mpa, celsius in re.findall(r"([0-9.]+) at (\d+) °C", found[1]):
        vapour = carbon_dioxide_vapour_kpa(float(celsius))
        assert vapour is not None
        assert f"{vapour / 1000.0:.2f}" == mpa
