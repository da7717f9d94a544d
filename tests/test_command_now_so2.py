"""`leeside now VESSEL --at`: from entries typed through the command to the SO2 of the wine in a vessel."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from a_journal import JournalOnDisk

from alerts.so2.judge import So2Judge
from ingest.store.judgements import keep_judgements, newest_judgements

POTASSIUM = ("--form", "metabisulfite", "--salt", "potassium")


class Winter(JournalOnDisk):
    """A journal that wine is written into; times are days of 2025, at noon in the cellar."""

    def filled(self, vessel: str = "K1", *, style: str = "white", volume: str = "18 L", lot: str = "ries") -> None:
        self.enter("lot", "--lot", lot, "--name", lot, "--style", style, "--at", "2025-09-01")
        self.enter("first-filling", "--vessel", vessel, "--lot", lot, "--volume", volume, "--at", "2025-10-01")
        self.enter("measurement", "--vessel", vessel, "--quantity", "pH", "--value", "3.30", "--at", "2025-10-01")

    def titrated(self, mg_l: float, at: str, vessel: str = "K1") -> int:
        result = (
            "--method",
            "elsewhere",
            "--result",
            f"{mg_l} mg/L",
            "--uncertainty",
            "1.5 mg/L",
            "--despite-warnings",
        )
        return int(self.enter("titration", "--vessel", vessel, "--quantity", "free", *result, "--at", at)["id"])

    def dosed(self, mass: str, at: str, vessel: str = "K1") -> None:
        self.enter("addition", "--vessel", vessel, *POTASSIUM, "--mass", mass, "--at", at)

    def card(self, vessel: str, at: str) -> dict[str, Any]:
        done = self.run("now", str(self.file), vessel, "--at", at, "--json")
        assert done.returncode == 0, done.stderr
        found: dict[str, Any] = json.loads(done.stdout)
        return found

    def so2(self, vessel: str, at: str) -> dict[str, Any]:
        found: dict[str, Any] = self.card(vessel, at)["so2"]
        assert found["free_low_80_mg_l"] <= found["free_mg_l"] <= found["free_high_80_mg_l"]
        return found

    def text(self, vessel: str, at: str) -> str:
        done = self.run("now", str(self.file), vessel, "--at", at)
        assert done.returncode == 0, done.stderr
        return done.stdout


@pytest.fixture
def winter(tmp_path: Path) -> Winter:
    return Winter(tmp_path)


def test_a_titrated_wine_has_every_key_and_its_model(winter: Winter) -> None:
    winter.filled()
    for mg_l, at in ((36, "2025-10-02"), (33, "2025-11-01"), (31, "2025-12-01")):
        winter.titrated(mg_l, at)
    found = winter.so2("K1", "2025-12-10T12:00:00Z")
    assert found["free_mg_l"] == pytest.approx(30.5, abs=1.5)
    assert found["molecular_mg_l"] == pytest.approx(found["free_mg_l"] / (1 + 10 ** (3.30 - 1.81)), rel=0.03)
    assert found["model"] == "simple"
    assert found["ph"] == pytest.approx(3.30)
    assert found["temperature_c"] is None
    assert found["last_titration"]["at"] == "2025-12-01T11:00:00.000Z"
    assert found["last_titration"]["mg_l"] == 31
    assert found["since_then"] == []
    assert found["limits"] == [{"quantity": "molecular_so2", "low_mg_l": 0.5, "limit": None}]
    assert found["learned"]["loss_mg_l_per_30_days"] == pytest.approx(2.3, abs=0.8)
    assert 0.0 < found["learned"]["yield"] < 1.0
    median, low, high = (found["below_limit_on"][end] for end in ("median", "low_80", "high_80"))
    assert "2025-12-10" <= found["titrate_by"] <= low <= median <= (high or "9999")
    assert any("15 °C" in remark for remark in found["remarks"])


def test_a_dose_after_the_last_titration_is_in_the_answer_and_never_hides_it(winter: Winter) -> None:
    winter.filled()
    winter.titrated(26, "2025-10-02")
    before = winter.so2("K1", "2025-10-12T08:00:00Z")
    winter.dosed("0.5 g", "2025-10-12")  # 16 mg/L, of which about two thirds stay free
    after = winter.so2("K1", "2025-10-20")
    assert after["since_then"] == ["addition"]
    assert after["free_mg_l"] - before["free_mg_l"] == pytest.approx(10.0, abs=2.5)
    assert after["u_free_mg_l"] > before["u_free_mg_l"]
    text = winter.text("K1", "2025-10-20")
    assert "titrated 26 on 2 Oct, dosed 12 Oct; molecular" in text
    assert "(simple)" in text
    assert winter.so2("K1", "2025-10-12T08:00:00Z") == before  # as the tool would have answered then


def test_entries_of_one_moment_count_in_the_order_in_which_they_were_written(winter: Winter) -> None:
    winter.filled("K1")
    winter.filled("C1", lot="malv")
    winter.titrated(20, "2025-10-12", "K1")
    winter.dosed("0.5 g", "2025-10-12", "K1")  # dates without a time mean noon
    winter.dosed("0.5 g", "2025-10-12", "C1")
    winter.titrated(20, "2025-10-12", "C1")
    before_dose, after_dose = winter.so2("K1", "2025-10-16"), winter.so2("C1", "2025-10-16")
    assert (before_dose["since_then"], after_dose["since_then"]) == (["addition"], [])
    assert before_dose["free_mg_l"] == pytest.approx(30, abs=3)
    assert after_dose["free_mg_l"] < 21


def test_the_answer_is_in_the_list_of_all_places_too(winter: Winter) -> None:
    winter.filled()
    winter.titrated(26, "2025-10-02")
    assert "free SO2 about" in winter.run("now", str(winter.file)).stdout
    places = json.loads(winter.run("now", str(winter.file), "--json").stdout)["places"]
    assert {place["id"]: place["so2"] is not None for place in places} == {
        "K1": True, "C1": False, "K3": False, "CO2": False
    }  # fmt: skip


def test_a_racked_wine_takes_its_history_along(winter: Winter) -> None:
    winter.filled("C1")
    winter.titrated(36, "2025-10-02", "C1")
    winter.titrated(32, "2025-11-01", "C1")
    before = winter.so2("C1", "2025-11-09")
    winter.enter("racking", "--from", "C1", "--to", "K1", "--at", "2025-11-10")
    after = winter.so2("K1", "2025-11-11")
    assert after["last_titration"]["mg_l"] == 32
    assert after["since_then"] == ["racking"]
    assert after["free_mg_l"] < before["free_mg_l"]
    assert after["u_free_mg_l"] > before["u_free_mg_l"]
    assert after["ph"] == pytest.approx(3.30)
    emptied = winter.card("C1", "2025-11-11")
    assert emptied["so2"] is None
    assert "C1 was empty" in emptied["why_no_so2"]


def test_a_racking_open_to_the_air_costs_more_than_one_under_gas(winter: Winter) -> None:
    left = []
    for vessel, target, air in (("C1", "K1", "open"), ("K3", "C1", "under gas")):
        lot = f"lot-{vessel}"
        winter.filled(vessel, lot=lot)
        winter.titrated(36, "2025-10-02", vessel)
        winter.enter("racking", "--from", vessel, "--to", target, "--air", air, "--at", "2025-10-03")
        left.append(winter.so2(target, "2025-10-04")["free_mg_l"])
    assert left[1] - left[0] == pytest.approx(4 * 2.5, abs=3)


def test_both_parts_of_a_split_wine_go_on_with_its_history(winter: Winter) -> None:
    winter.filled("C1")
    winter.titrated(36, "2025-10-02", "C1")
    winter.enter("racking", "--from", "C1=9L", "--to", "K1", "--at", "2025-11-10")
    stayed, went = (winter.so2(vessel, "2025-11-11") for vessel in ("C1", "K1"))
    assert stayed["last_titration"] == went["last_titration"]
    assert (stayed["since_then"], went["since_then"]) == ([], ["racking"])


def test_a_topping_counts_by_its_share(winter: Winter) -> None:
    winter.filled()
    winter.titrated(40, "2025-11-01")
    bottle = ("--bottles", "1 x 1 L", "--free", "10 mg/L", "--total", "60 mg/L")
    before = winter.so2("K1", "2025-11-09")
    winter.enter("topping", "--vessel", "K1", *bottle, "--at", "2025-11-10")
    found = winter.so2("K1", "2025-11-11")
    assert found["since_then"] == ["topping"]
    # A nineteenth of it has 10 instead of 40 mg/L, and 0.3 mg/L of oxygen cost a little.
    assert before["free_mg_l"] - found["free_mg_l"] == pytest.approx(30 / 19 + 0.75, abs=0.6)


def test_a_blend_takes_the_other_wines_own_estimate(winter: Winter) -> None:
    winter.filled("K1", volume="9 L")
    winter.filled("C1", volume="8 L", lot="malv")
    winter.titrated(40, "2025-11-01", "K1")
    winter.titrated(20, "2025-11-01", "C1")
    winter.enter("racking", "--from", "C1", "--to", "K1", "--blend", "--at", "2025-11-02")
    found = winter.so2("K1", "2025-11-03")
    assert found["free_mg_l"] == pytest.approx((9 * 40 + 8 * 20) / 17 - 4, abs=3)
    assert found["last_titration"]["mg_l"] == 40


def test_a_strike_changes_the_answer_at_once(winter: Winter) -> None:
    winter.filled()
    winter.titrated(36, "2025-10-02")
    wrong = winter.titrated(18, "2025-10-20")
    assert winter.so2("K1", "2025-10-21")["last_titration"]["mg_l"] == 18
    assert winter.run("strike", str(winter.file), str(wrong), "--reason", "wrong flask").returncode == 0
    found = winter.so2("K1", "2025-10-21")
    assert found["last_titration"]["mg_l"] == 36
    assert found["free_mg_l"] > 32


def test_red_wine_by_iodine_is_an_upper_bound_in_words(winter: Winter) -> None:
    winter.filled(style="red")
    iodine = ("--method", "iodometric", "--strength", "0.02 N", "--substance", "iodine", "--factor", "1")
    flask = ("--sample", "25 mL", "--blank", "0.2 mL", "--titre", "1.4 mL")
    winter.enter("titration", "--vessel", "K1", "--quantity", "free", *iodine, *flask, "--at", "2025-11-01")
    found = winter.so2("K1", "2025-11-02")
    assert found["last_titration"]["upper_bound"] is True
    assert any("upper bound" in remark for remark in found["remarks"])
    assert "free SO2 at most" in winter.text("K1", "2025-11-02")


def test_it_says_what_it_does_not_know(winter: Winter) -> None:
    winter.enter("lot", "--lot", "ries", "--name", "R", "--style", "white", "--at", "2025-09-01")
    winter.enter("first-filling", "--vessel", "K1", "--lot", "ries", "--volume", "18 L", "--at", "2025-10-01")
    never = winter.so2("K1", "2025-10-02")
    assert never["last_titration"] is None
    assert never["molecular_mg_l"] is None
    assert any("nothing was titrated" in remark for remark in never["remarks"])
    assert any("no pH" in remark for remark in never["remarks"])
    assert never["below_limit_on"] == {"median": None, "low_80": None, "high_80": None}
    winter.titrated(36, "2025-10-03")
    assert any("one titration" in remark for remark in winter.so2("K1", "2025-10-04")["remarks"])


def test_a_number_by_hand_and_an_old_ph(winter: Winter) -> None:
    winter.filled()
    winter.enter("measurement", "--vessel", "K1", "--quantity", "free SO2", "--value", "31 mg/L", "--at", "2025-10-05")
    assert winter.so2("K1", "2025-10-06")["last_titration"]["mg_l"] == 31
    old = winter.so2("K1", "2026-11-20")
    assert old["molecular_mg_l"] is None
    assert any("too old" in remark for remark in old["remarks"])


def test_no_low_limit_while_malolactic_is_under_way(winter: Winter) -> None:
    winter.filled()
    winter.titrated(8, "2025-10-02")
    lot = ("--lot", "ries", "--name", "R", "--style", "white")
    winter.enter("lot", *lot, "--malolactic", "under way", "--at", "2025-10-03")
    found = winter.so2("K1", "2025-10-04")
    assert found["limits"] == []
    assert found["titrate_by"] is None
    winter.enter("lot", *lot, "--malolactic", "complete", "--at", "2025-10-20")
    assert winter.so2("K1", "2025-10-21")["titrate_by"] == "2025-10-21"


def test_times_and_vessels_that_have_no_answer(winter: Winter) -> None:
    winter.filled()
    assert "journal begins on" in winter.card("K1", "2025-08-01")["why_no_so2"]
    assert "says nothing of the wine in K3" in winter.card("K3", "2025-10-05")["why_no_so2"]
    for words, why in (
        (("X9",), "no vessel 'X9'; there are: K1, C1, K3"),
        (("K1", "--at", "soon"), "'soon' is not a time"),
        (("K1", "--at", "2150-01-01"), "too far away"),
    ):
        done = winter.run("now", str(winter.file), *words)
        assert (done.returncode, done.stdout) == (2, "")
        assert why in " ".join(done.stderr.split())


def test_a_time_to_come_is_answered_as_an_expectation(winter: Winter, monkeypatch: pytest.MonkeyPatch) -> None:
    winter.filled()
    winter.titrated(36, "2025-10-02")
    monkeypatch.setattr("alerts.command.now.wall_ms", lambda: 1_762_000_000_000)  # 2025-11-01
    assert "has not come yet" in winter.text("K1", "2026-01-01")
    assert winter.card("K1", "2026-01-01")["in_the_future"] is True


def test_the_file_may_be_left_out_in_its_folder(winter: Winter, monkeypatch: pytest.MonkeyPatch) -> None:
    winter.filled()
    monkeypatch.chdir(winter.file.parent)
    assert json.loads(winter.run("now", "K1", "--at", "2025-10-05", "--json").stdout)["id"] == "K1"
    assert winter.run("now", "--at", "2025-10-05").stdout.count("\n\n") == 3


def test_the_estimate_over_time_is_a_band_beside_the_titrations(winter: Winter) -> None:
    winter.filled("C1")
    winter.titrated(36, "2025-10-02", "C1")
    winter.enter("racking", "--from", "C1", "--to", "K1", "--at", "2025-11-10")
    winter.titrated(25, "2025-12-01", "K1")
    words = ("history", str(winter.file), "K1", "--quantity", "free_so2", "--estimate")
    found = json.loads(winter.run(*words, "--to", "2025-12-05", "--json").stdout)
    assert found["titrations"] == [{"at": "2025-12-01T11:00:00.000Z", "mg_l": 25.0, "u_mg_l": 1.5}]
    band = {point["at"]: point for point in found["estimate"]}
    assert min(band) == "2025-11-10T11:00:00.000Z"
    before, at = band["2025-12-01T10:59:59.999Z"], band["2025-12-01T11:00:00.000Z"]
    assert before["high_80"] - before["low_80"] > at["high_80"] - at["low_80"]
    then = winter.so2("K1", "2025-11-20T00:00:00Z")
    assert band["2025-11-20T00:00:00.000Z"]["median"] == pytest.approx(then["free_mg_l"], rel=0.01)
    words = ("history", str(winter.file), "K1", "--quantity", "molecular_so2", "--estimate")
    table = winter.run(*words, "--to", "2025-12-05", "--csv").stdout.splitlines()
    assert table[0] == "at,median,low_80,high_80,model,pk"
    assert all(line.endswith(",simple,1.81") for line in table[1:])
    row = next(line for line in table if line.startswith("2025-11-20T00:00"))
    assert float(row.split(",")[1]) == pytest.approx(then["molecular_mg_l"], rel=0.01)


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("K1", "--quantity", "pH"), "'pH' is not estimated"),
        (("X1",), "no vessel 'X1'"),
        ((), "name a vessel"),
        (("K1", "--lot", "ries"), "cannot be combined with --estimate"),
    ],
)
def test_a_wrong_band_says_what_is_allowed(winter: Winter, words: tuple[str, ...], why: str) -> None:
    done = winter.run("history", str(winter.file), *words, "--estimate")
    assert (done.returncode, done.stdout) == (2, "")
    assert why in " ".join(done.stderr.split())


def test_the_judge_keeps_what_the_command_shows(winter: Winter) -> None:
    winter.filled()
    at_ms = 1_762_000_000_000
    (never, _) = So2Judge().judge(winter.cellar, winter.store, at_ms)
    assert (never.finding, never.decides) == ("cannot tell yet", False)
    winter.titrated(36, "2025-10-02")
    free, molecular = So2Judge().judge(winter.cellar, winter.store, at_ms)
    found = winter.so2("K1", "2025-11-01T12:26:40Z")
    assert (free.place, free.name, free.lot, free.decides) == ("K1", "free_so2", "ries", True)
    assert free.value == pytest.approx(found["free_mg_l"], abs=1e-3)
    assert free.low == pytest.approx(found["free_low_80_mg_l"], abs=1e-3)
    assert (molecular.name, molecular.details["model"]) == ("molecular_so2", "simple")
    with winter.store.write() as connection:
        keep_judgements(connection, "so2", [free, molecular])
    assert [each.name for each in newest_judgements(winter.store)] == ["free_so2", "molecular_so2"]


def test_what_was_found_on_the_day_of_the_filling_is_of_the_wine_that_came_in(winter: Winter) -> None:
    # Dates without a time all mean noon, and nobody has to enter the filling first.
    winter.titrated(33, "2025-10-01")
    winter.filled()
    found = winter.so2("K1", "2025-10-03T12:00:00Z")
    assert found["last_titration"]["mg_l"] == 33
    assert found["free_mg_l"] == pytest.approx(33, abs=1.5)
    # What lay in the vessel long before is another wine.
    winter.titrated(20, "2025-09-10", "C1")
    winter.filled("C1")
    assert winter.so2("C1", "2025-10-03T12:00:00Z")["last_titration"] is None


def test_an_amount_that_no_wine_has_is_named_and_counts_for_nothing(winter: Winter) -> None:
    winter.filled()
    winter.titrated(30, "2025-10-02")
    before = winter.so2("K1", "2025-10-08T12:00:00Z")
    winter.titrated(3000, "2025-10-05")
    found = winter.so2("K1", "2025-10-08T12:00:00Z")
    assert found["free_mg_l"] == before["free_mg_l"]
    assert any("3000 mg/L free SO2 was written down" in remark for remark in found["remarks"])


def test_a_date_that_lies_beyond_a_year_and_one_of_red_wine_are_said_in_words(winter: Winter) -> None:
    winter.filled()
    winter.titrated(40, "2025-10-02")
    assert "more likely not within a year; titrate by" in winter.text("K1", "2025-10-03")
    winter.filled("C1", style="red", lot="merl", volume="22 L")
    bench = ("--method", "aeration", "--titre", "2.0 mL", "--sample", "20 mL", "--strength", "0.01 mol/L")
    winter.enter(
        "titration", "--vessel", "C1", "--quantity", "free", *bench, "--substance", "sodium hydroxide", "--at",
        "2025-10-02",
    )  # fmt: skip
    text = winter.text("C1", "2025-10-03")
    assert "molecular at most" in text.splitlines()[4]
    assert " at the latest (" in text


def test_nobody_is_pointed_to_a_titration_that_never_was(winter: Winter) -> None:
    winter.filled()
    winter.enter("racking", "--from", "K1", "--to", "C1", "--at", "2025-11-10")
    remarks = winter.so2("C1", "2025-11-12T12:00:00Z")["remarks"]
    assert any("nothing was titrated" in remark for remark in remarks)
    assert not any("since the last titration" in remark for remark in remarks)


def test_a_date_alone_is_that_day_with_all_that_was_done(winter: Winter) -> None:
    winter.filled()
    winter.titrated(30, "2025-10-02 19:00")
    found = winter.card("K1", "2025-10-02")
    assert found["at"] == "2025-10-02T21:59:59.999Z"
    assert found["so2"]["last_titration"]["mg_l"] == 30
    # The day on which the clocks go back has 25 hours.
    assert winter.card("K1", "2025-10-26")["at"] == "2025-10-26T22:59:59.999Z"
    today = datetime.now(ZoneInfo("Europe/Ljubljana")).date().isoformat()
    assert not winter.card("K1", today)["in_the_future"]
