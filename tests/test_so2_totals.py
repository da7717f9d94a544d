"""Total SO2 through additions, toppings, rackings and blends, beside what was titrated and the law."""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from a_journal import JournalOnDisk
from hypothesis import given
from hypothesis import strategies as st
from journal_acts import VESSELS, said
from journal_entries import Pages

from alerts.so2.total_fold import TotalFacts, TotalFold
from alerts.so2.total_judge import TotalJudge
from alerts.so2.vessel_total import VesselTotal, totals_at
from ingest.errors import EntryRefused
from ingest.process import wall_ms

NOW_MS = 1_795_000_000_000


def titrated(pages: Pages, mg_l: float, place: str | None = "K1", lot: str | None = None) -> None:
    pages.write("titration", place, lot, quantity="total", method="elsewhere", so2_mg_l=mg_l, u_so2_mg_l=4.0)


def dosed(pages: Pages, so2_g: float, place: str = "K1") -> None:
    pages.write("addition", place, form="metabisulfite", salt="potassium", mass_g=so2_g / 0.576, so2_g=so2_g)


def filled(lot_first: bool = False) -> Pages:
    """16 L of a white in K1, 8 L of another in C1."""
    pages = Pages()
    for lot in ("A", "B"):
        pages.write("lot", lot=lot, name=lot, style="white")
    if lot_first:
        titrated(pages, 70.0, None, "A")
    pages.write("first-filling", "K1", "A", volume_l=16.0)
    pages.write("first-filling", "C1", "B", volume_l=8.0)
    return pages


@st.composite
def sulfite(draw: st.DrawFn) -> tuple[str, str, None, dict[str, Any]]:
    """A dose, or a titration of the total, in some vessel."""
    vessel, amount = draw(st.sampled_from(VESSELS)), draw(st.floats(0.01, 1.0))
    if draw(st.booleans()):
        return "titration", vessel, None, {"quantity": "total", "method": "elsewhere", "so2_mg_l": 100.0 * amount}
    return "addition", vessel, None, {"form": "metabisulfite", "salt": "potassium", "mass_g": amount, "so2_g": amount}


def total(pages: Pages, vessel: str = "K1") -> tuple[float | None, TotalFacts]:
    fold = TotalFold(pages.ledger)
    known = fold.states[vessel].wine.total
    return None if known is None else known.mg_l, fold.facts.get(vessel, TotalFacts())


def test_a_dose_raises_what_was_titrated_by_all_that_it_brings() -> None:
    pages = filled()
    titrated(pages, 80.0)
    dosed(pages, 0.32)  # 20 mg/L in 16 L
    known, facts = total(pages)
    assert known == pytest.approx(100.0)
    assert facts.least_mg_l == pytest.approx(100.0)
    assert facts.found is not None
    assert (facts.found.mg_l, [kind for kind, _ in facts.since]) == (80.0, ["addition"])
    titrated(pages, 93.0)
    known, facts = total(pages)
    assert (known, facts.since) == (93.0, ()), "a new titration replaces what was worked out"


def test_an_addition_is_as_uncertain_as_weighing_and_volume() -> None:
    pages = filled()
    titrated(pages, 80.0)
    dosed(pages, 0.32)
    value = TotalFold(pages.ledger).states["K1"].wine.total
    assert value is not None
    assert value.u_mg_l == pytest.approx((4.0**2 + (20.0 * 0.03) ** 2 + (20.0 * 0.01) ** 2) ** 0.5)


def test_of_a_wine_that_nobody_titrated_it_is_known_what_was_added() -> None:
    pages = filled()
    dosed(pages, 0.32)
    dosed(pages, 0.16)
    known, facts = total(pages)
    assert known is None
    assert facts.found is None
    assert facts.least_mg_l == pytest.approx(30.0)
    # What comes in may have none at all.
    pages.write("topping", "K1", volume_l=2.0, bought={"number": 3, "size_l": 0.75})
    assert total(pages)[1].least_mg_l == pytest.approx(30.0 * 16.0 / 18.0)
    pages.write("topping", "K1", source="C1", volume_l=0.5)
    assert total(pages)[1].least_mg_l == pytest.approx(30.0 * 16.0 / 18.5)


def test_a_blend_mixes_by_volume_and_takes_the_least_of_what_is_not_known() -> None:
    pages = filled()
    titrated(pages, 90.0)
    dosed(pages, 0.24, "C1")  # 30 mg/L in 8 L
    pages.write("racking", sources=[{"vessel": "K1"}, {"vessel": "C1"}], targets=[{"vessel": "K3"}])
    known, facts = total(pages, "K3")
    assert known is None
    assert facts.least_mg_l == pytest.approx((90.0 * 16.0 + 30.0 * 8.0) / 24.0)
    assert [kind for kind, _ in facts.since] == ["racking"]


def test_a_racked_wine_takes_its_total_along() -> None:
    pages = filled()
    titrated(pages, 90.0)
    pages.write("racking", sources=[{"vessel": "K1"}], targets=[{"vessel": "K3"}], lees_l=0.5)
    known, facts = total(pages, "K3")
    assert known == pytest.approx(90.0)
    assert facts.found is not None
    assert facts.since == (), "a racking changes no total"
    assert "K1" not in TotalFold(pages.ledger).facts
    dosed(pages, 0.155, "K3")
    assert total(pages, "K3")[0] == pytest.approx(100.0)


def test_wine_that_is_left_keeps_what_is_known_of_it() -> None:
    pages = filled()
    titrated(pages, 90.0)
    pages.write("racking", sources=[{"vessel": "K1", "volume_l": 6.0}], targets=[{"vessel": "K3"}])
    assert total(pages, "K1") == total(pages, "K3")


def test_a_titration_of_the_lot_counts_where_the_lot_lies_and_for_its_filling() -> None:
    pages = filled(lot_first=True)
    assert total(pages)[0] == 70.0
    titrated(pages, 75.0, None, "A")
    assert total(pages)[0] == 75.0
    assert total(pages, "C1")[0] is None


def test_other_wine_in_an_emptied_vessel_begins_anew() -> None:
    pages = filled()
    titrated(pages, 90.0)
    pages.write("vessel-status", "K1", status="emptied")
    pages.write("first-filling", "K1", "B", volume_l=10.0)
    assert total(pages) == (None, TotalFacts(since=(("first-filling", pages.now),)))


@given(st.lists(st.tuples(st.integers(0, 20), said() | sulfite()), max_size=12))
def test_any_journal_has_a_total_that_is_the_ledgers_and_never_less_than_what_is_certain(acts: list[Any]) -> None:
    pages = Pages()
    for lot in ("A", "B"):
        pages.write("lot", lot=lot, name=lot, style="white", at=0)
    for at, (kind, place, lot, body) in acts:
        with suppress(EntryRefused):
            pages.write(kind, place, lot, at=at * 3_600_000, **body)
    fold, states = TotalFold(pages.ledger), pages.ledger.states_at(10**12)
    for vessel, state in fold.states.items():
        facts = fold.facts.get(vessel, TotalFacts())
        assert facts.least_mg_l >= 0.0
        assert state == states[vessel]
        if state.known and state.wine.total is not None:
            assert facts.least_mg_l == pytest.approx(state.wine.total.mg_l)
        if state.empty:
            assert vessel not in fold.facts


# ---- from entries to card and judgement -----------------------------------------------------------------------------


class Cellar(JournalOnDisk):
    """A journal that wine is written into."""

    def filled(self, style: str = "white", **lot: str) -> None:
        more = [part for name, value in lot.items() for part in (f"--{name}", value)]
        self.enter("lot", "--lot", "ries", "--name", "ries", "--style", style, "--at", "2025-09-01", *more)
        self.enter("first-filling", "--vessel", "K1", "--lot", "ries", "--volume", "18 L", "--at", "2025-10-01")

    def titrated(self, mg_l: float, at: str, u: float = 4.0) -> None:
        result = ("--method", "elsewhere", "--result", f"{mg_l} mg/L", "--uncertainty", f"{u} mg/L")
        self.enter("titration", "--vessel", "K1", "--quantity", "total", *result, "--at", at)

    def dosed(self, mass: str, at: str) -> None:
        form = ("--form", "metabisulfite", "--salt", "potassium", "--mass", mass)
        self.enter("addition", "--vessel", "K1", *form, "--at", at)

    def card(self, at: str = "2025-12-31") -> dict[str, Any]:
        done = self.run("now", str(self.file), "K1", "--at", at, "--json")
        assert done.returncode == 0, done.stderr
        found: dict[str, Any] = json.loads(done.stdout)["total_so2"]
        return found

    def text(self, at: str = "2025-12-31") -> str:
        done = self.run("now", str(self.file), "K1", "--at", at)
        assert done.returncode == 0, done.stderr
        return done.stdout

    def total(self) -> VesselTotal:
        return totals_at(self.cellar, self.store, wall_ms())["K1"]


@pytest.fixture
def at_home(tmp_path: Path) -> Cellar:
    return Cellar(tmp_path)


def test_the_card_gives_the_total_beside_what_was_titrated(at_home: Cellar) -> None:
    at_home.filled(sugar="2 g/L")
    at_home.titrated(82, "2025-10-03")
    at_home.dosed("0.5 g", "2025-10-12")  # 16 mg/L
    found = at_home.card()
    assert found["mg_l"] == pytest.approx(98.0, abs=0.1)
    assert (found["worked_out"], found["since_then"]) == (True, ["addition"])
    assert found["last_titration"]["mg_l"] == 82
    assert found["legal"]["rules"] == "eu"
    assert (found["legal"]["limit_mg_l"], found["legal"]["above"], found["legal"]["told_apart"]) == (200, False, True)
    assert found["legal"]["must_declare"] is True
    text = at_home.text()
    assert "total SO2 about 98 mg/L, titrated 82 on 3 Oct, since then dosed; legal limit 200 mg/L (eu)" in text
    assert "what the wine lost on the way is not taken off" in text
    places = json.loads(at_home.run("now", str(at_home.file), "--json").stdout)["places"]
    assert [place["total_so2"]["mg_l"] for place in places if place["total_so2"]] == [found["mg_l"]]
    before = at_home.card("2025-10-05")
    assert (before["mg_l"], before["worked_out"], before["since_then"]) == (82, False, [])


def test_near_the_limit_it_cannot_be_told_apart(at_home: Cellar) -> None:
    at_home.filled("red", sugar="2 g/L")
    at_home.titrated(158, "2025-10-03", u=5.4)
    text = at_home.text()
    assert "158 mg/L total SO2 is above the legal limit of 150 mg/L" in text
    assert "cannot be told apart from the limit: two laboratories differ by up to 15 mg/L" in text
    (judged,) = TotalJudge().judge(at_home.cellar, at_home.store, wall_ms())
    assert (judged.name, judged.value, judged.lot) == ("total_so2", 158, "ries")
    assert judged.finding == "cannot be told apart from the legal limit"
    assert judged.decides


def test_at_the_limit_itself_it_is_allowed(at_home: Cellar) -> None:
    at_home.filled("red", sugar="2 g/L")
    at_home.titrated(150, "2025-10-03", u=0.5)
    verdict = at_home.total().verdict
    assert verdict is not None
    assert not verdict.above


def test_a_total_that_nobody_titrated_raises_an_alarm_only_where_what_was_added_is_too_much(at_home: Cellar) -> None:
    at_home.filled("red")
    at_home.dosed("1 g", "2025-10-03")  # 32 mg/L
    assert "total SO2 at least 32 mg/L, never titrated" in at_home.text()
    (judged,) = TotalJudge().judge(at_home.cellar, at_home.store, wall_ms())
    assert (judged.finding, judged.decides) == ("no judgement", False)
    at_home.dosed("6 g", "2025-10-04")
    (judged,) = TotalJudge().judge(at_home.cellar, at_home.store, wall_ms())
    assert judged.value == pytest.approx(224.0, abs=0.5)
    assert judged.decides


def test_nothing_known_is_said_so(at_home: Cellar) -> None:
    at_home.filled()
    assert at_home.card()["mg_l"] is None
    assert "total SO2 not known, never titrated" in at_home.text()
    assert at_home.card()["remarks"] == ["the total SO2 is not known, since nobody titrated it"]
    assert list(TotalJudge().judge(at_home.cellar, at_home.store, wall_ms())) == []
