"""From what was judged of a gas to the numbers of its limits: each counts only what it is about."""

from __future__ import annotations

from typing import Any

import pytest
from cellar_text import KEG, MQTT, PROBE, SITE, TEMPERATURE, carboy, cellar, probe, temperature

from alerts.blanket.details import BlanketShown, blanket_shown
from alerts.blanket.episodes import BlanketEpisode
from alerts.blanket.followed_vessel import VesselJudged
from alerts.blanket.judged_rows import judged_rows
from alerts.blanket.setting import blanket_settings
from alerts.gas.blanket_facts import BlanketJudgement
from ingest.cellar import NOT_FORESEEN_H
from ingest.judgement import Judgement

NOW = 1_791_021_600_000
GLASS = (carboy(), probe("c1-p", "C1", topic="c1/p"), temperature("c1-t", "C1", topic="c1/t"))
SETTINGS = blanket_settings(cellar(SITE, MQTT, KEG, PROBE, TEMPERATURE, *GLASS))


def rows(vessel: str = "K1", **said: Any) -> dict[str, Judgement]:
    judgement = BlanketJudgement(NOW, **{"finding": "sound", "raw_kpa": 22.0, "compensated_kpa": 25.0, **said})
    judged = VesselJudged(SETTINGS[vessel], BlanketEpisode(0, "filled", None), judgement, None, NOW)
    return {row.name: row for row in judged_rows(judged, NOW)}


def shown(vessel: str = "K1", **said: Any) -> BlanketShown:
    found = blanket_shown(rows(vessel, **said)["compensated_pressure"])
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("said", "hours"),
    [
        ({"finding": "slow leak", "leak_certain": True, "hours_low": 9.0}, 9.0),
        ({"finding": "slow leak", "leak_certain": True, "hours_low": 0.0, "raw_kpa": 4.0}, 0.0),
        ({"finding": "settling", "hours_low": 30.0}, 30.0),
        # The cold alone would do it: that is another limit's.
        ({"finding": "settling", "hours_low": 8.0, "hours_cold": 9.0}, NOT_FORESEEN_H),
        ({"finding": "sound", "hours_low": 8.0}, NOT_FORESEEN_H),
        ({"finding": "cooling", "hours_low": 8.0, "hours_cold": 9.0}, NOT_FORESEEN_H),
        ({"finding": "cooling", "raw_kpa": 4.0, "hours_cold": 0.0}, NOT_FORESEEN_H),
        ({"finding": "cannot tell yet", "hours_low": 8.0}, None),
        ({"finding": "supply open"}, None),
    ],
)
def test_the_hours_of_lost_gas_are_not_those_of_the_cold(said: dict[str, Any], hours: float | None) -> None:
    assert rows(**said)["hours_to_air_floor"].value == hours


def test_in_a_vessel_without_a_blanket_only_gas_that_rises_counts() -> None:
    airlock = rows("C1", finding="slow leak", leak_certain=True, hours_low=3.0, hours_cold=0.0)
    assert {name: row.value for name, row in airlock.items()} == {
        "compensated_pressure": None,
        "leak_rate": 0.0,
        "gas_gain_rate": 0.0,
        "hours_to_air_floor": NOT_FORESEEN_H,
        "hours_to_air_floor_by_cold": NOT_FORESEEN_H,
    }
    assert (shown("C1", finding="slow leak").finding, shown("C1").floor_kpa) == ("sound", None)
    held = shown("C1", finding="supply open", headspace_l=9.0, u_headspace_l=350.0, warnings=("The supply is open.",))
    assert (held.finding, held.compensated_kpa, held.headspace_l, held.warnings) == ("sound", None, None, ())
    assert held.without_blanket
    assert not shown("K1").without_blanket
    assert airlock["compensated_pressure"].finding == "sound"
    rising = rows("C1", finding="gas rising", rate_ml_min=-0.5, u_rate_ml_min=0.1)
    assert rising["gas_gain_rate"].value == pytest.approx(0.3)
    assert shown("C1", finding="no judgement").finding == "no judgement"
