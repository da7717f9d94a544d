"""What a review says of SO2: whether to titrate first, the dose afterwards, and what a bottle needs."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from a_rested_cellar import NOW_MS, RestedCellar

from alerts.review.dose_after import bottling_dose_section, bottling_oxygen_mg_l, racking_dose_section
from alerts.review.section import ReviewSection
from alerts.review.so2_now import so2_section
from alerts.review.vessel_facts import BottlingWish, VesselFacts
from alerts.review.vessel_read import vessel_facts


class Rested(RestedCellar):
    """The cellar without readings."""

    def facts(self) -> VesselFacts:
        with self.store.read():
            return vessel_facts(self.cellar, self.store, "K1", None, NOW_MS)

    def titrated(self, days_ago: float, quantity: str, mg_l: float) -> None:
        self.write(days_ago, "titration", "K1", quantity=quantity, method="elsewhere", so2_mg_l=mg_l, u_so2_mg_l=1.5)

    def dosed(self, days_ago: float) -> None:
        self.write(days_ago, "addition", "K1", form="metabisulfite", salt="potassium", mass_g=0.4, so2_g=0.23)


@pytest.fixture
def with_free(tmp_path: Path) -> Iterator[Callable[[float], Rested]]:
    """Make a cellar whose wine has kept so much free SO2 [mg/L]."""
    made: list[Rested] = []

    def make(mg_l: float) -> Rested:
        titrations = [(days_ago, mg_l) for days_ago in (100.0, 60.0, 30.0, 1.0)]
        made.append(Rested(tmp_path, readings=False, titrations=titrations))
        return made[-1]

    yield make
    for cellar in made:
        cellar.store.close()


@pytest.fixture
def rested(tmp_path: Path) -> Iterator[Rested]:
    cellar = Rested(tmp_path, readings=False)
    yield cellar
    cellar.store.close()


def because(section: ReviewSection) -> list[str]:
    found = section.numbers["titrate_because"]
    assert isinstance(found, list)
    return found


# ---- whether to titrate first ---------------------------------------------------------------------------------------


def test_a_fresh_titration_far_above_the_limit_will_do(with_free: Callable[[float], Rested]) -> None:
    found = so2_section(with_free(35.0).facts(), bottling=False)
    assert (found.verdict, because(found)) == ("in order", [])
    assert "No titration is needed first: the last one is 24 h old (free SO2)." in found.reason
    assert found.numbers["titration_age_h"] == 24.0


def test_an_estimate_that_straddles_its_limit_is_titrated(rested: Rested) -> None:
    found = so2_section(rested.facts(), bottling=False)
    assert found.verdict == "take care"
    assert because(found) == ["whether it is below its low limit of 0.5 mg/L molecular cannot be told"]


def test_an_old_titration(rested: Rested) -> None:
    facts = rested.facts()
    assert facts.so2 is not None
    later = replace(facts.so2, at_ms=NOW_MS + 40 * 86_400_000)
    found = so2_section(replace(facts, so2=later, at_ms=later.at_ms), bottling=False)
    assert "the last titration is 52 d old" in because(found)


def test_an_addition_since_then(with_free: Callable[[float], Rested]) -> None:
    rested = with_free(35.0)
    rested.dosed(0.5)
    found = so2_section(rested.facts(), bottling=False)
    assert because(found) == ["SO2 was added since the last titration"]


def test_wine_that_is_below_its_limit(with_free: Callable[[float], Rested]) -> None:
    found = so2_section(with_free(10.0).facts(), bottling=False)
    assert (found.verdict, "probably below its low limit of 0.5 mg/L molecular" in found.reason) == ("take care", True)


def test_nothing_is_known(rested: Rested) -> None:
    facts = rested.facts()
    found = so2_section(replace(facts, so2=None, total=None, why_no_so2="the journal is empty"), bottling=False)
    assert (found.verdict, found.reason) == ("not known", "The journal is empty.")


def test_a_bottle_needs_fresh_free_and_total(rested: Rested) -> None:
    old = because(so2_section(rested.facts(), bottling=True))
    assert old[0] == "the last titration is 12 d old"
    assert old[-1] == "the last titration of total SO2 is 180 d old"


def test_what_is_fresh_until_it_is_dosed(with_free: Callable[[float], Rested]) -> None:
    rested = with_free(40.0)
    rested.titrated(2, "total", 95.0)
    fresh = so2_section(rested.facts(), bottling=True)
    assert (fresh.verdict, because(fresh)) == ("in order", [])
    assert "It has the 0.7 to 0.8 mg/L molecular that the bottle needs" in fresh.reason
    rested.dosed(0.5)
    again = because(so2_section(rested.facts(), bottling=True))
    assert again == ["SO2 was added since the last titration", "SO2 was added since total SO2 was titrated"]


@pytest.mark.parametrize(("free", "enough"), [(26.0, False), (30.0, True)])
def test_enough_for_a_bottle(with_free: Callable[[float], Rested], free: float, enough: bool) -> None:
    """0.7 mg/L molecular at pH 3.40 takes 0.7 x (1 + 10^(3.40 - 1.81)) = 27.9 mg/L free."""
    rested = with_free(free)
    rested.titrated(2, "total", 95.0)
    found = so2_section(rested.facts(), bottling=True)
    assert (found.verdict, because(found)) == ("in order" if enough else "take care", [])
    assert ("that the bottle needs" in found.reason) == enough
    assert ("For the bottle it should have 0.7 to 0.8 mg/L molecular" in found.reason) != enough


@pytest.mark.parametrize(("total", "verdict"), [(150.0, "in order"), (199.0, "take care"), (260.0, "do not")])
def test_the_law_on_a_bottle(with_free: Callable[[float], Rested], total: float, verdict: str) -> None:
    """The limit of a dry white in the European Union is 200 mg/L (Regulation (EU) 2019/934, annex I B)."""
    rested = with_free(40.0)
    rested.titrated(1, "total", total)
    assert so2_section(rested.facts(), bottling=True).verdict == verdict


# ---- the dose -------------------------------------------------------------------------------------------------------


def racking_dose(facts: VesselFacts, volume_l: float | None = 18.0, *, first: bool = False) -> ReviewSection:
    return racking_dose_section(facts, "K2", volume_l, 19.5, first, "cellar.toml")


def test_the_dose_after_a_racking(rested: Rested) -> None:
    """To 0.65 x (1 + 10^(3.40 - 1.81)) = 25.9 mg/L free at a yield of 2/3, of a salt with 57.6 % SO2, in 18 L."""
    facts = rested.facts()
    assert facts.so2 is not None
    found = racking_dose(facts)
    assert found.verdict == "in order"
    grams = 18.0 * (25.94 - facts.so2.estimate.free_mg_l) / (2.0 / 3.0) / 576.0
    assert _grams(found) == pytest.approx(grams, abs=0.003)
    assert found.reason.startswith(f"Add {grams:.2f} g to 18 L, to reach 0.65 mg/L molecular SO2")
    assert found.numbers["enter"] == (
        f"leeside enter addition cellar.toml --vessel K2 --form metabisulfite --salt potassium --mass '{grams:.2f} g'"
    )
    assert "about 1 mg/L of oxygen with care, 3 without contact with air and 5 with it (Oenopedia)" in found.lines[0]
    assert racking_dose(rested.facts(), first=True).verdict == "take care"


def test_a_part_of_the_wine_takes_a_part_of_the_dose(rested: Rested) -> None:
    whole, half = (_grams(racking_dose(rested.facts(), litres)) for litres in (18.0, 9.0))
    assert half == pytest.approx(whole / 2.0)


def _grams(section: ReviewSection) -> float:
    dose = section.numbers["dose"]
    assert isinstance(dose, dict)
    grams = dose["metabisulfite_g"]
    assert isinstance(grams, float)
    return grams


def test_enough_is_enough(with_free: Callable[[float], Rested]) -> None:
    found = racking_dose(with_free(40.0).facts())
    assert (found.verdict, found.numbers["enter"]) == ("in order", None)
    assert found.reason.startswith("Nothing to add")


@pytest.mark.parametrize("volume_l", [None, 25.0])
def test_a_dose_that_cannot_be_worked_out(rested: Rested, volume_l: float | None) -> None:
    facts = rested.facts()
    if volume_l is None:
        assert facts.so2 is not None
        facts = replace(facts, so2=replace(facts.so2, contents=replace(facts.so2.contents, volume_l=None)))
    found = racking_dose(facts, volume_l)
    assert (found.verdict, found.numbers["dose"]) == ("not known", None)


# ---- the dose before a bottling -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wish", "mg_l"),
    [
        # 5 mL of air at 15 °C hold 1.42 mg of oxygen (0.2095 x 31.998 / 23.645 mg/mL).
        ({}, 2.0 + 1.42 / 0.75),
        ({"bottle_l": (1.5, 0.75)}, 2.0 + 1.42 / 0.75),
        ({"bottle_l": (0.375,)}, 2.0 + 1.42 / 0.375),
        ({"o2_mg_l": 1.0}, 1.0),
    ],
)
def test_the_oxygen_of_a_bottling(wish: dict[str, Any], mg_l: float) -> None:
    assert bottling_oxygen_mg_l(BottlingWish(**wish)) == pytest.approx(mg_l, abs=0.01)


def test_the_dose_before_a_bottling(rested: Rested) -> None:
    """0.75 mg/L molecular at pH 3.40 are 29.9 mg/L free; 2 mg/L of oxygen cost 5 mg/L more: 35 mg/L."""
    found = bottling_dose_section(rested.facts(), BottlingWish(o2_mg_l=2.0), False, "cellar.toml")
    assert found.numbers["target_in_bottle_free_mg_l"] == pytest.approx(0.75 * (1 + 10 ** (3.40 - 1.81)), abs=0.05)
    assert found.numbers["allowance_so2_mg_l"] == 5.0
    dose = found.numbers["dose"]
    assert isinstance(dose, dict)
    assert dose["to_free_mg_l"] == 35.0
    assert found.title == "Dose before bottling"
