"""Vessels of a cellar without a barometer show each other the weather, and those that may be joined do not."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from a_gas_cellar import BEGIN_MS, DAY, HOUR, MINUTE, GasCellar
from cellar_text import cylinder, gas_line, keg, probe, temperature

from alerts.blanket.details import blanket_shown
from alerts.blanket.judge import GasJudge
from alerts.gas.blanket_watch import BlanketWatch

VESSELS = ("K1", "K2", "K3")
# What a kelvin does over 1 L and over 3 L of headspace (docs/gas.md, the frozen edge at 15 °C and 55 kPa).
KPA_K = {"K1": 1.12, "K2": 0.8, "K3": 0.8}
BESIDE = tuple(
    text
    for id in ("K2", "K3")
    for text in (
        keg(id, room="cellar"),
        probe(f"{id}-pressure".lower(), id, topic=f"{id}/p"),
        temperature(f"{id}-temperature".lower(), id, topic=f"{id}/t", mounted="wine"),
    )
)
LINE = (cylinder(), gas_line(vessels=list(VESSELS)))
BAROMETER = probe("barometer", "cellar", quantity="barometric_pressure", topic="air/p")
USED = "Without a barometer the weather is taken from what 2 other vessels' gauges do alike"
NOT_USED = "Without a barometer the weather moves this gauge"


def remarks(folder: Path, *more: str, starts_kpa: Sequence[float] = (40.0, 45.0, 50.0)) -> dict[str, tuple[str, ...]]:
    """What is said of three vessels after a day and a half of the same weather."""
    cellar = GasCellar(folder, *BESIDE, *more)
    for id in ("K2", "K3"):
        cellar.write(1000, "first-filling", id, "ries", volume_l=16.0)
    judge = GasJudge(BlanketWatch)
    random = np.random.default_rng(3)

    def run(from_: int, to: int) -> None:
        at = np.arange(from_, to, 5 * MINUTE)
        air = np.sin(2.0 * np.pi * at / (3 * DAY))
        for id, start_kpa in zip(VESSELS, starts_kpa, strict=True):
            swing = np.sin(2.0 * np.pi * at / DAY)
            celsius = 14.0 + swing + random.normal(0.0, 0.02, len(at))
            kpa = start_kpa - air + KPA_K[id] * swing + random.normal(0.0, 0.03, len(at))
            cellar.read(f"{id}-pressure".lower(), *zip((at + 10_000).tolist(), kpa.tolist(), strict=True))
            cellar.read(f"{id}-temperature".lower(), *zip((at + 11_000).tolist(), celsius.tolist(), strict=True))

    ends = 36 * HOUR
    run(0, ends)
    cellar.rows(ends + 10_000, judge)
    # What was built from its past hears the others from the next fit on.
    for begin in range(ends, ends + 2 * HOUR, 10 * MINUTE):
        run(begin, begin + 10 * MINUTE)
        rows = cellar.rows(begin + 10 * MINUTE, judge)
    shown = {id: blanket_shown(rows[id, "compensated_pressure"]) for id in VESSELS}
    assert min(each.at_ms for each in shown.values() if each is not None) > BEGIN_MS
    return {id: each.warnings for id, each in shown.items() if each is not None}


def is_said(words: str, warnings: Sequence[str]) -> bool:
    return any(warning.startswith(words) for warning in warnings)


def test_three_vented_gauges_show_each_other_the_weather(tmp_path: Path) -> None:
    assert all(is_said(USED, warnings) for warnings in remarks(tmp_path).values())


@pytest.mark.parametrize(
    ("starts_kpa", "words"), [((40.0, 40.5, 41.0), NOT_USED), ((40.0, 45.0, 50.0), USED)], ids=["joined", "apart"]
)
def test_vessels_of_one_line_that_read_the_same_may_leak_together(
    tmp_path: Path, starts_kpa: Sequence[float], words: str
) -> None:
    said = remarks(tmp_path, *LINE, starts_kpa=starts_kpa)
    assert all(is_said(words, warnings) for warnings in said.values())


def test_two_are_too_few(tmp_path: Path) -> None:
    # The third is empty of gas: its gauge stays at 0 whatever the weather does.
    said = remarks(tmp_path, starts_kpa=(40.0, 45.0, 0.5))
    assert is_said(NOT_USED, said["K1"])
    assert is_said(NOT_USED, said["K2"])
