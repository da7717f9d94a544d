"""`leeside dose`: from entries typed through the command to a dose, and what it refuses."""

from __future__ import annotations

import json
import re
import shlex
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from a_journal import JournalOnDisk

POTASSIUM = ("--form", "metabisulfite", "--salt", "potassium")


def ago(days: float) -> str:
    return (datetime.now(UTC) - timedelta(days=days)).isoformat(timespec="seconds")


class Bench(JournalOnDisk):
    """A journal that wine is written into, so many days ago."""

    def lot(self, days: float = 60, **said: str) -> None:
        more = [part for name, value in {"style": "white", **said}.items() for part in (f"--{name}", value)]
        self.enter("lot", "--lot", "ries", "--name", "ries", *more, "--at", ago(days))

    def filled(self, volume: str = "18 L", *, ph: str = "3.40", **lot: str) -> None:
        self.lot(60, **lot)
        self.enter("first-filling", "--vessel", "K1", "--lot", "ries", "--volume", volume, "--at", ago(50))
        self.enter("measurement", "--vessel", "K1", "--quantity", "pH", "--value", ph, "--at", ago(49))

    def titrated(self, mg_l: float, days: float, quantity: str = "free", u: float = 1.0) -> None:
        result = (
            "--method",
            "elsewhere",
            "--result",
            f"{mg_l} mg/L",
            "--uncertainty",
            f"{u} mg/L",
            "--despite-warnings",
        )
        self.enter("titration", "--vessel", "K1", "--quantity", quantity, *result, "--at", ago(days))

    def added(self, days: float, *how: str) -> None:
        self.enter("addition", "--vessel", "K1", *(how or (*POTASSIUM, "--mass", "0.5 g")), "--at", ago(days))

    def dose(self, *options: str, vessel: str = "K1") -> dict[str, Any]:
        done = self.run("dose", str(self.file), vessel, *options, "--json")
        assert done.returncode == 0, done.stderr
        found: dict[str, Any] = json.loads(done.stdout)
        return found

    def text(self, *options: str) -> str:
        done = self.run("dose", str(self.file), "K1", *options)
        assert done.returncode == 0, done.stderr
        return done.stdout

    def refused(self, *words: str, code: int = 1) -> str:
        before = len(self.written())
        done = self.run("dose", str(self.file), *words)
        assert done.returncode == code, done.stdout + done.stderr
        assert done.stdout == ""
        assert len(self.written()) == before
        return " ".join(re.sub(r"[│╭╮╰╯─]", " ", done.stderr).split())


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


@pytest.fixture
def wine(bench: Bench) -> Bench:
    """18 L of a white at pH 3.4, twice titrated, today 20 mg/L free and 80 total."""
    bench.filled()
    bench.titrated(24, 40)
    bench.titrated(20, 0.1)
    bench.titrated(80, 0.1, "total", u=3.0)
    return bench


def test_grams_what_rounding_does_and_what_is_expected(wine: Bench) -> None:
    found = wine.dose("--to-free", "30")
    free, share = found["from_free_mg_l"], found["yield"]
    assert free == pytest.approx(20.0, abs=1.5)
    assert share == pytest.approx(2 / 3, abs=0.08)
    raised = (30.0 - free) / share
    assert found["raise_total_mg_l"] == pytest.approx(raised)
    assert found["metabisulfite_g"] == pytest.approx(18.0 * raised / 576.3, rel=1e-3)
    assert found["weigh_g"] == pytest.approx(found["metabisulfite_g"], abs=0.005)
    off = (found["weigh_g"] / found["metabisulfite_g"] - 1) * raised
    assert found["weigh_off_mg_l"] == pytest.approx(off, abs=1e-6)
    assert found["free_after_mg_l"] == pytest.approx(30.0, abs=0.3)
    assert found["free_after_low_80_mg_l"] < 29.0 < 31.0 < found["free_after_high_80_mg_l"]
    assert found["total_after_mg_l"] == pytest.approx(80.0 + raised + off)
    assert found["molecular_after_mg_l"] == pytest.approx(found["free_after_mg_l"] / (1 + 10 ** (3.4 - 1.81)), rel=0.01)
    assert found["worst_free_mg_l"] > free + raised
    assert (found["model"], found["pk"], found["cut"]) == ("simple", 1.81, False)
    assert (found["legal"]["rules"], found["legal"]["limit_mg_l"], found["legal"]["above"]) == ("eu", 200, False)
    assert (found["stock_ml"], found["pipette_ml"]) == (None, None)


def test_it_ends_with_the_entry_that_writes_it_down_and_writes_nothing(wine: Bench) -> None:
    before = wine.written()
    text = wine.text("--to-free", "30")
    assert wine.written() == before
    lines = text.splitlines()
    assert lines[-2] == "nothing was written. When it is in the wine, write it down:"
    words = shlex.split(lines[-1])
    assert words[:3] == ["leeside", "enter", "addition"]
    done = wine.run(*words[1:], "--json")
    assert done.returncode == 0, done.stderr
    entry = json.loads(done.stdout)
    assert (entry["place"], entry["body"]["mass_g"]) == ("K1", wine.written()[-1].body.model_dump()["mass_g"])
    assert "never put acid on metabisulfite" in text
    assert "asthma" in text
    assert "let the pressure off before you open a keg" in text
    assert "an unmixed vessel stays layered" in text


def test_where_little_is_free_less_of_an_addition_stays_free(bench: Bench) -> None:
    bench.filled()
    bench.titrated(7, 40)
    bench.titrated(4, 0.1)
    found = bench.dose("--to-free", "20")
    assert 0.5 < found["yield"] < 0.6
    assert found["raise_total_mg_l"] == pytest.approx((20 - found["from_free_mg_l"]) / found["yield"], rel=0.01)


def test_a_dose_below_a_step_of_the_balance_is_nothing(wine: Bench) -> None:
    found = wine.dose("--to-free", "21", "--balance-g", "1")
    assert found["nothing_to_add"]
    assert [warning for warning in found["warnings"] if "a step of 1 g" in warning]
    assert not [warning for warning in found["warnings"] if "only good to" in warning]


def test_the_style_gives_the_target(wine: Bench) -> None:
    found = wine.dose()
    assert found["to_molecular_mg_l"] == pytest.approx(0.65)
    assert found["to_free_mg_l"] == pytest.approx(0.65 * (1 + 10 ** (3.4 - 1.81)))
    assert "by default for white wine: the middle of 0.5 to 0.8" in found["target"]
    assert "simple" in found["target"]
    named = wine.dose("--to-molecular", "0.6")
    assert named["to_free_mg_l"] == pytest.approx(0.6 * (1 + 10 ** (3.4 - 1.81)))


def test_the_pk_of_the_site_holds_for_estimate_and_target(wine: Bench) -> None:
    text = wine.file.read_text(encoding="utf-8").replace("[site]\n", "[site]\nso2_pk = 1.77\n")
    wine.file.write_text(text, encoding="utf-8")
    found = wine.dose("--to-molecular", "0.6")
    assert (found["model"], found["pk"]) == ("simple", 1.77)
    assert found["to_free_mg_l"] == pytest.approx(0.6 * (1 + 10 ** (3.4 - 1.77)))
    card = json.loads(wine.run("now", str(wine.file), "K1", "--json").stdout)["so2"]
    assert card["pk"] == 1.77
    assert card["molecular_mg_l"] == pytest.approx(card["free_mg_l"] / (1 + 10 ** (3.4 - 1.77)), rel=0.03)


def test_a_stock_solution_is_pipetted_as_it_was_used_last_or_as_said(wine: Bench) -> None:
    found = wine.dose("--to-free", "30", "--stock-g-per-100ml", "10")
    assert found["stock_ml"] == pytest.approx(10.0 * found["metabisulfite_g"])
    assert found["pipette_ml"] == pytest.approx(found["stock_ml"], abs=0.05)
    assert "--form 'stock solution' --salt potassium --volume '" in found["enter"]
    assert "pipette the stock solution below the surface of the wine, never by mouth" in found["how"][0]
    used = ("--form", "stock solution", "--salt", "potassium", "--volume", "1 mL", "--stock", "20 g/100 mL")
    wine.added(3, *used)
    wine.titrated(21, 0.05)
    again = wine.dose("--to-free", "30")
    assert again["stock_ml"] == pytest.approx(5.0 * again["metabisulfite_g"])
    words = shlex.split(again["enter"])
    assert wine.run(*words[1:]).returncode == 0


def test_nothing_to_add_is_an_answer(wine: Bench) -> None:
    found = wine.dose("--to-free", "15")
    assert (found["nothing_to_add"], found["metabisulfite_g"], found["enter"]) == (True, 0, None)
    assert "nothing to add: the wine has as much already" in wine.text("--to-free", "15")
    tiny = wine.dose("--to-free", str(wine.dose("--to-free", "30")["from_free_mg_l"] + 0.02))
    assert (tiny["nothing_to_add"], tiny["enter"]) == (True, None)
    assert any("cannot be measured out" in warning for warning in tiny["warnings"])


def test_the_worst_case_cuts_the_dose(wine: Bench) -> None:
    found = wine.dose("--to-free", "48")
    assert found["cut"] is True
    assert "50 mg/L free" in found["cut_by"]
    assert found["metabisulfite_g"] < found["asked_metabisulfite_g"]
    assert found["weigh_g"] <= found["largest_metabisulfite_g"] + 1e-9, "never rounded up past a ceiling"
    assert found["worst_free_mg_l"] <= 50.0 + 1e-6
    assert "this is less than" in wine.text("--to-free", "48")


def test_a_wine_that_has_more_than_the_nose_bears_gets_nothing(bench: Bench) -> None:
    bench.filled(ph="3.2")
    bench.titrated(55, 0.1)
    found = bench.dose("--to-free", "70")
    assert (found["nothing_to_add"], found["metabisulfite_g"], found["enter"]) == (True, 0, None)
    assert any("add nothing" in warning for warning in found["warnings"])
    assert not any("cannot be measured out" in warning for warning in found["warnings"])
    assert "nothing to add" in bench.text("--to-free", "70")


def test_the_law_cuts_it_too(bench: Bench) -> None:
    bench.filled(style="red", sugar="2 g/L", ph="3.3")
    bench.titrated(10, 0.1)
    bench.titrated(145, 0.1, "total", u=2.0)
    found = bench.dose("--to-free", "25")
    assert found["cut"] is True
    assert "legal limit of 150 mg/L total" in found["cut_by"]
    assert found["total_after_mg_l"] <= 150.0
    assert any("cannot be told apart from the limit" in warning for warning in found["warnings"])


def test_at_a_high_ph_it_says_that_the_target_asks_for_too_much(bench: Bench) -> None:
    bench.filled(ph="3.90")
    bench.titrated(20, 0.1)
    found = bench.dose("--to-molecular", "0.8")
    assert found["to_free_mg_l"] == pytest.approx(99.2, abs=0.3)
    assert found["cut"] is True
    assert found["worst_free_mg_l"] <= 50.0 + 1e-6
    warning = next(warning for warning in found["warnings"] if "that target takes 99 mg/L free SO2" in warning)
    assert "at pH 3.9 only 0.81 % of it is molecular" in warning


def test_after_a_fresh_addition_it_advises_to_wait(wine: Bench) -> None:
    wine.added(0.05)
    found = wine.dose("--to-free", "45")
    assert found["warnings"][0].startswith("wait: the last addition is 1 h old and still binding; titrate a day after")


def test_an_addition_that_nobody_tested_is_named(wine: Bench) -> None:
    wine.titrated(20, 4)
    bench = wine
    bench.added(0.08)  # after the titration of today
    assert "wait" in bench.dose("--to-free", "45")["warnings"][0]


def test_an_older_addition_without_a_test_is_named(bench: Bench) -> None:
    bench.filled()
    bench.titrated(20, 5)
    bench.added(3)
    found = bench.dose("--to-free", "45")
    assert found["warnings"][0].startswith("nobody has titrated since the last addition")


def test_a_stale_titration_needs_the_owners_word(bench: Bench) -> None:
    bench.filled()
    bench.titrated(24, 40)
    assert "the last titration of K1 is 40 days old" in bench.refused("K1", "--to-free", "30")
    found = bench.dose("--to-free", "30", "--despite-stale-titration")
    assert found["metabisulfite_g"] > 0.0
    assert any("on your word" in warning for warning in found["warnings"])


def test_without_a_titration_there_is_no_dose_at_all(bench: Bench) -> None:
    bench.filled()
    message = bench.refused("K1", "--to-free", "30", "--despite-stale-titration")
    assert "nobody has titrated free SO2 of the wine in K1, so a dose would be a guess" in message


@pytest.mark.parametrize("said", ["wanted", "under way"])
def test_while_malolactic_is_awaited_it_needs_the_owners_word(bench: Bench, said: str) -> None:
    bench.filled(malolactic=said)
    bench.titrated(5, 0.1)
    message = bench.refused("K1", "--to-free", "30")
    assert f"malolactic fermentation of lot ries is {said}" in message
    assert "--despite-malolactic" in message
    found = bench.dose("--to-free", "30", "--despite-malolactic")
    assert any("this addition may stop it" in warning for warning in found["warnings"])
    bench.lot(days=0.01, malolactic="complete")
    assert bench.dose("--to-free", "30")["metabisulfite_g"] > 0.0


def test_red_wine_has_at_most_what_was_titrated(bench: Bench) -> None:
    bench.filled(style="red", ph="3.6")
    titrant = ("--name", "iodine 3", "--substance", "iodine", "--strength", "0.02 N", "--factor", "1.0")
    bench.enter("titrant", *titrant, "--standardised", ago(5)[:10], "--at", ago(5))
    how = ("--method", "iodometric", "--titre", "0.8 mL", "--sample", "25 mL", "--titrant", "iodine 3")
    bench.enter("titration", "--vessel", "K1", "--quantity", "free", *how, "--at", ago(0.1))
    assert any("upper bound" in warning for warning in bench.dose("--to-free", "30")["warnings"])


def test_free_above_total_is_an_error(bench: Bench) -> None:
    bench.filled()
    bench.titrated(40, 0.1)
    bench.titrated(20, 0.1, "total")
    assert "one of the titrations is wrong" in bench.refused("K1", "--to-free", "45")


def test_names_that_are_no_vessel_with_wine(bench: Bench) -> None:
    bench.filled()
    assert "no vessel 'K9'; there are: K1, C1, K3" in bench.refused("K9", code=2)
    bench.enter("racking", "--from", "K1=9L", "--to", "C1", "--at", ago(20))
    message = bench.refused("ries", code=2)
    assert "'ries' is a lot, and lies in C1 and K1. A dose is for the wine of one vessel: name it" in message
    assert "the journal does not say what K3 holds" in bench.refused("K3")
    bench.enter("vessel-status", "--vessel", "K3", "--status", "emptied", "--at", ago(1))
    assert "K3 is empty: there is no wine in it to add to" in bench.refused("K3")


def test_how_much_wine_there_is_must_be_known_and_fit_in(bench: Bench) -> None:
    bench.lot()
    bench.enter("first-filling", "--vessel", "K1", "--lot", "ries", "--at", ago(50))
    bench.titrated(20, 0.1)
    assert "how much wine K1 holds is not known" in bench.refused("K1", "--to-free", "30")
    assert bench.dose("--to-free", "30", "--volume-l", "18")["volume_l"] == 18
    message = bench.refused("K1", "--to-free", "30", "--volume-l", "25", code=2)
    assert "25 L are more than K1 holds brimful, 19.5 L" in message
    assert "--volume-l" in message


@pytest.mark.parametrize(
    ("options", "why"),
    [
        (("--to-free", "30", "--to-molecular", "0.6"), "give one target, not both"),
        (("--to-free", "30", "--ph", "0"), "pH 0 is out of range; wine has 2.5 to 4.5"),
        (("--to-molecular", "0"), "molecular target 0 mg/L is out of range"),
        (("--to-free", "-3"), "free SO2 -3 mg/L is out of range"),
        (("--to-free", "nan"), "'nan' is not a usable number"),
        (("--to-free", "30", "--yield", "0"), "yield 0 is out of range"),
        (("--to-free", "30", "--salt", "calcium"), "there is no 'calcium'; allowed: potassium, sodium"),
        (("--to-free", "30", "--stock-g-per-100ml", "0"), "stock 0 g/100 mL is out of range"),
        (("--to-free", "30", "--balance-g", "0"), "step 0 is out of range"),
        (("--to-free", "30", "--volume-l", "-1"), "volume -1 L is out of range"),
    ],
)
def test_bad_input_names_its_option_and_what_is_allowed(wine: Bench, options: tuple[str, ...], why: str) -> None:
    assert why in wine.refused("K1", *options, code=2)


def test_a_molecular_target_needs_a_ph(bench: Bench) -> None:
    bench.lot()
    bench.enter("first-filling", "--vessel", "K1", "--lot", "ries", "--volume", "18 L", "--at", ago(50))
    bench.titrated(20, 0.1)
    assert "a molecular target needs the wine's pH" in bench.refused("K1")
    by_hand = bench.dose("--ph", "3.4")
    assert by_hand["to_molecular_mg_l"] == pytest.approx(0.65)
    assert not any("no pH" in warning for warning in by_hand["warnings"])
    free = bench.dose("--to-free", "30")
    assert free["molecular_after_mg_l"] is None
