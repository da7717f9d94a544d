"""What the journal says of vessel and wine reaches the detector of the gas as episodes."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_gas_cellar import BEGIN_MS, DAY, HOUR, MINUTE, USUAL, GasCellar
from cellar_text import carboy, keg, limit, probe, table, temperature
from pytest import approx
from recorded_gas import COMPENSATED, causes, shown, times

from alerts.blanket.details import blanket_shown


def test_what_is_known_of_the_wine_and_the_vessel(tmp_path: Path) -> None:
    more = limit(at="K1", quantity="pressure", low="8 kPa", deadband="1 kPa", priority="high")
    cellar = GasCellar(tmp_path, more)
    cellar.run(0, HOUR)
    rows = cellar.rows(HOUR + 10_000)
    facts = cellar.detectors[0].facts
    assert (facts.filling.capacity_l, facts.filling.wine_l, facts.filling.alcohol_percent_vol) == (19.5, 18.0, 12.0)
    assert facts.filling.material == "steel"
    assert facts.gas.name == "nitrogen"
    assert facts.floor_kpa == shown(rows).floor_kpa == 8.0
    assert 0.2 < facts.u_wine_l < 0.4
    assert facts.wine_before == "unknown"


def test_each_act_begins_an_episode_with_what_is_known_then(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, 9 * HOUR)
    cellar.write(1 * HOUR, "gas", "K1", act="charged", pressure_kpa=55.0)
    cellar.write(2 * HOUR, "sample", "K1", volume_l=0.1)
    cellar.write(3 * HOUR, "topping", "K1", bought={"number": 1, "size_l": 0.75})
    cellar.write(4 * HOUR, "gas", "K1", act="vented")
    cellar.write(5 * HOUR, "gas", "K1", act="supply opened")
    cellar.write(6 * HOUR, "gas", "K1", act="supply shut")
    cellar.write(7 * HOUR, "addition", "K1", form="other", name="bentonite", amount="a spoon")
    cellar.write(8 * HOUR, "gas", "K1", act="gas changed", gas="argon")
    rows = cellar.rows(9 * HOUR + 10_000)
    (detector,) = cellar.detectors
    assert causes(detector) == [
        (1, "charged"),
        (2, "drawn"),
        (3, "topped"),
        (4, "vented"),
        (5, "charged"),
        (6, "charged"),
        (7, "opened"),
        (8, "charged"),
    ]
    facts = [facts for _, _, facts in detector.episodes]
    assert [each.filling.wine_l for each in facts] == approx([18.0, 17.9, 18.65, 18.65, 18.65, 18.65, 18.65, 18.65])
    assert [each.supply_open for each in facts] == [False, False, False, False, True, False, False, False]
    assert [each.gas.name for each in facts] == ["nitrogen"] * 7 + ["argon"]
    assert (shown(rows).entry_kind, shown(rows).entry_ms) == ("gas", BEGIN_MS + 8 * HOUR)


def test_an_entry_as_it_happens_goes_on_and_one_of_an_earlier_time_begins_again(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, HOUR)
    cellar.rows(HOUR + 10_000)
    cellar.write(HOUR + 30_000, "gas", "K1", act="charged", pressure_kpa=55.0)
    cellar.run(HOUR, 2 * HOUR)
    cellar.rows(2 * HOUR + 10_000)
    (detector,) = cellar.detectors
    assert causes(detector) == [(approx(1.008, abs=0.001), "charged")]
    assert len(detector.points) == 120
    cellar.write(1.5 * HOUR, "sample", "K1", volume_l=0.1)
    cellar.rows(2 * HOUR + 20_000)
    assert len(cellar.detectors) == 2
    assert [cause for _, cause in causes(cellar.detectors[1])] == ["charged", "drawn"]


def test_a_struck_entry_never_was(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, 3 * HOUR)
    drawn = cellar.write(HOUR, "sample", "K1", volume_l=5.0)
    cellar.write(2 * HOUR, "gas", "K1", act="charged", pressure_kpa=55.0)
    cellar.rows(3 * HOUR + 10_000)
    assert [facts.filling.wine_l for _, _, facts in cellar.detectors[0].episodes] == approx([13.0, 13.0])
    cellar.strike(drawn, 3 * HOUR + 20_000)
    cellar.rows(3 * HOUR + 30_000)
    assert [facts.filling.wine_l for _, _, facts in cellar.detectors[1].episodes] == approx([18.0])


def test_a_measured_volume_corrects_the_episode_that_lasts(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, 3 * HOUR)
    cellar.write(2 * HOUR, "measurement", "K1", quantity="volume", value=17.2, unit="L", u_value=0.05)
    cellar.rows(3 * HOUR + 10_000)
    (detector,) = cellar.detectors
    assert detector.episodes == []
    assert detector.facts.filling.wine_l == 17.2


def test_an_empty_vessel_has_no_judgement_and_a_new_filling_has_one(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, 3 * HOUR)
    cellar.write(HOUR, "vessel-status", "K1", status="emptied")
    assert cellar.rows(2 * HOUR) == {}
    cellar.write(2 * HOUR + 1, "first-filling", "K1", "ries", volume_l=19.0)
    cellar.rows(3 * HOUR + 10_000)
    detector = cellar.detectors[-1]
    assert causes(detector) == [(approx(2.0, abs=0.001), "filled")]
    assert detector.facts.filling.wine_l == 19.0
    assert not [at for at in times(detector) if 60 <= at < 120]


def test_a_racking_ends_one_blanket_and_begins_another(tmp_path: Path) -> None:
    second = (keg("K2", gas="argon"), probe("k2-pressure", "K2", topic="k2/p"))
    cellar = GasCellar(tmp_path, *second, temperature("k2-temperature", "K2", topic="k2/t", mounted="wall"))
    cellar.run(0, 1.5 * HOUR)
    for name, number in (("k2-pressure", 30.0), ("k2-temperature", 14.0)):
        cellar.read(name, *((step * MINUTE, number) for step in range(90)))
    cellar.write(0, "vessel-status", "K2", status="emptied")
    begun = cellar.write(HOUR, "racking", None, sources=[{"vessel": "K1"}], stage="begun")
    assert not [place for place, _ in cellar.rows(1.5 * HOUR)]
    cellar.write(
        2 * HOUR, "racking", None, sources=[{"vessel": "K1"}], targets=[{"vessel": "K2"}], air="open", begun=begun.id
    )
    for name, number in (("k2-pressure", 30.0), ("k2-temperature", 14.0)):
        cellar.read(name, *((step * MINUTE, number) for step in range(90, 240)))
    rows = cellar.rows(4 * HOUR + 10_000)
    assert {place for place, _ in rows} == {"K2"}
    detector = cellar.detectors[-1]
    assert (detector.facts.gas.name, detector.facts.mounted, detector.facts.wine_before) == (
        "argon",
        "wall",
        "from air",
    )
    assert times(detector)[0] == 120


def test_where_much_wine_goes_out_the_gas_begins_again(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path, keg("K2"))
    cellar.run(0, 3 * HOUR)
    part = [{"vessel": "K1", "volume_l": 6.0}]
    cellar.write(HOUR, "racking", None, sources=part, targets=[{"vessel": "K2"}], air="closed")
    cellar.write(2 * HOUR, "bottling", "K1", bottles=[{"number": 4, "size_l": 0.75}])
    cellar.rows(3 * HOUR + 10_000)
    (detector,) = cellar.detectors
    assert causes(detector) == [(1, "opened"), (2, "opened")]
    assert [facts.filling.wine_l for _, _, facts in detector.episodes] == approx([12.0, 9.0])


@pytest.mark.parametrize(
    ("air", "weeks", "before"),
    [
        ("open", 0, "from air"),
        ("under gas", 0, "under gas"),
        ("closed", 0, "unknown"),
        ("closed", 4, "under gas"),
        (None, 4, "unknown"),
    ],
)
def test_how_a_wine_was_racked_says_what_gas_it_holds(tmp_path: Path, air: str | None, weeks: int, before: str) -> None:
    second = (keg("K2"), probe("k2-pressure", "K2", topic="k2/p"))
    cellar = GasCellar(tmp_path, *second, temperature("k2-temperature", "K2", topic="k2/t", mounted="wine"))
    at = weeks * 7 * DAY + HOUR
    cellar.write(at, "racking", None, sources=[{"vessel": "K1"}], targets=[{"vessel": "K2"}], air=air)
    for name in ("k2-pressure", "k2-temperature"):
        cellar.read(name, *((at + step * MINUTE, 20.0) for step in range(60)))
    cellar.rows(at + HOUR)
    assert cellar.detectors[-1].facts.wine_before == before


def test_a_wine_that_has_rested_for_weeks_is_resting(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    at = 30 * DAY
    cellar.write(at, "gas", "K1", act="charged", pressure_kpa=55.0)
    cellar.run(at, at + HOUR)
    cellar.rows(at + HOUR + 10_000)
    assert cellar.detectors[-1].facts.wine_before == "resting"


def test_a_racking_that_was_begun_and_forgotten_quiets_a_vessel_for_hours_only(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path)
    cellar.run(0, 9 * HOUR)
    cellar.write(HOUR, "racking", None, sources=[{"vessel": "K1"}], stage="begun")
    assert cellar.rows(2 * HOUR) == {}
    assert COMPENSATED in cellar.rows(8 * HOUR)
    assert causes(cellar.detectors[-1]) == [(7, "opened")]


def test_a_vessel_of_unknown_contents_is_judged_as_nearly_full_and_says_so(tmp_path: Path) -> None:
    cellar = GasCellar(tmp_path, filled=False)
    cellar.run(0, HOUR)
    rows = cellar.rows(HOUR + 10_000)
    facts = cellar.detectors[0].facts
    assert facts.filling.wine_l == approx(0.93 * 19.5)
    assert facts.u_wine_l > 0.9
    assert shown(rows).missing == "contents"
    assert "not in the journal" in shown(rows).warnings[0]


def test_glass_is_judged_for_what_rises_and_what_has_neither_gas_nor_glass_is_not(tmp_path: Path) -> None:
    vessels = (carboy("C1"), keg("K3", gas=None), USUAL[0])
    probes = [
        probe(f"{id}-p", id, topic=f"{id}/p") + temperature(f"{id}-t", id, topic=f"{id}/t", mounted="wine")
        for id in ("C1", "K3")
    ]
    cellar = GasCellar(tmp_path, *vessels, *probes, usual=(), filled=False)
    for name in ("C1-p", "C1-t", "K3-p", "K3-t"):
        cellar.read(name, *((step * MINUTE, 10.0) for step in range(30)))
    assert {place for place, _ in cellar.rows(HOUR)} == {"C1"}
    # Unless the journal says that gas was put on it.
    cellar.write(20 * MINUTE, "gas", "K3", act="gas changed", gas="argon")
    rows = cellar.rows(HOUR + MINUTE)
    assert {place for place, _ in rows} == {"C1", "K3"}
    argon, carbon_dioxide = (blanket_shown(rows[id, "compensated_pressure"]) for id in ("K3", "C1"))
    assert argon is not None
    assert carbon_dioxide is not None
    assert (argon.gas, argon.floor_kpa) == ("argon", 5.0)
    assert (carbon_dioxide.gas, carbon_dioxide.floor_kpa) == ("carbon dioxide", None)


def test_a_gas_line_that_is_opened_at_the_cylinder_opens_the_vessels_behind_it(tmp_path: Path) -> None:
    cylinder = table("[[cylinder]]", id="N2", gas="nitrogen", water_volume="10 L")
    line = table("[[gas_line]]", id="line", cylinder="N2", vessels=["K1"], regulator="55 kPa", relief="100 kPa")
    cellar = GasCellar(tmp_path, cylinder, line)
    cellar.run(0, 3 * HOUR)
    cellar.write(HOUR, "gas", "N2", act="supply opened")
    assert shown(cellar.rows(2 * HOUR)).supply_open
    cellar.write(2 * HOUR + MINUTE, "gas", "N2", act="supply shut")
    assert not shown(cellar.rows(3 * HOUR)).supply_open
    assert [facts.supply_open for _, _, facts in cellar.detectors[-1].episodes] == [True, False]
