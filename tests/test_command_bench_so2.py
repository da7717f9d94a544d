"""`leeside bench molecular`, `free-needed` and `dose`: what they print, and wrong calls that name the option."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from running import leeside

OIV = ("--model", "oiv", "--alcohol", "12", "--temperature", "12")
DOSE = ("dose", "--volume-l", "19", "--from-free-mg-l", "20")
WINE = ("molecular", "--free-mg-l", "30", "--ph", "3.45")
NEEDED = ("free-needed", "--target-mg-l", "0.6", "--ph", "3.5")


def _say(*words: str) -> str:
    result = leeside("bench", *words)
    assert result.returncode == 0, result.stderr
    return result.stdout + result.stderr


def _json(*words: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(_say(*words, "--json"))
    return found


# ---- molecular ------------------------------------------------------------------------------------------------------


def test_molecular_by_the_trade_s_model() -> None:
    """30 / (1 + 10^(3.45 - 1.81)) = 0.672 mg/L; u = hypot(0.0224 x 1.5, 2.3026 x 0.672 x 0.9776 x 0.05) = 0.0827."""
    found = _json(*WINE)
    assert found == {
        "molecular_mg_l": pytest.approx(0.67187, abs=1e-5),
        "u_molecular_mg_l": pytest.approx(0.0827, abs=1e-4),
        "free_mg_l": 30.0,
        "ph": 3.45,
        "fraction": pytest.approx(0.0223956, abs=1e-7),
        "pk": 1.81,
        "u_pk": 0.0,
        "model": "simple",
        "extrapolated": False,
        "warnings": [],
    }
    assert _say(*WINE) == (
        "molecular SO2: 0.672 mg/L (pK 1.81), standard uncertainty 0.083 mg/L\n"
        "2.24 % of 30 mg/L free SO2 at pH 3.45, pK 1.81\n"
    )


def test_molecular_by_oiv_in_a_cool_cellar() -> None:
    found = _json(*WINE, *OIV)
    assert found["molecular_mg_l"] == pytest.approx(0.784, abs=1e-3)
    assert (found["model"], found["extrapolated"]) == ("oiv", True)
    assert found["pk"] == pytest.approx(1.8785, abs=1e-4)
    assert found["u_pk"] == pytest.approx(0.0257, abs=1e-4)
    assert "extrapolation" in found["warnings"][0]
    assert "(OIV, extrapolated)" in _say(*WINE, *OIV)
    assert _json(*WINE, *OIV[:4], "--temperature", "20")["warnings"] == []


def test_uncertainties_can_be_given() -> None:
    found = _json(*WINE, "--u-free-mg-l", "0", "--u-ph", "0.1")
    assert found["u_molecular_mg_l"] / found["molecular_mg_l"] == pytest.approx(0.225, abs=1e-3)
    assert _json(*WINE, "--u-free-mg-l", "0", "--u-ph", "0")["u_molecular_mg_l"] == 0.0
    more = _json(*WINE, *OIV, "--u-alcohol", "2", "--u-temperature", "5")
    assert more["u_pk"] == pytest.approx(0.0654, abs=2e-3)


def test_a_pk_of_one_s_own() -> None:
    assert _json(*WINE, "--pk", "1.77")["fraction"] == pytest.approx(1.0 / (1.0 + 10.0 ** (3.45 - 1.77)))


@pytest.mark.parametrize(
    ("words", "warned"),
    [
        (("--free-mg-l", "250", "--ph", "3.4"), ["implausible", "smells"]),
        (("--free-mg-l", "30", "--ph", "2.8"), ["smells", "few wines have pH 2.8"]),
        (("--free-mg-l", "30", "--ph", "4.2"), ["check the meter"]),
        (("--free-mg-l", "0", "--ph", "3.4", "--total-mg-l", "0"), []),
    ],
)
def test_what_is_warned_of(words: tuple[str, ...], warned: list[str]) -> None:
    found = _json("molecular", *words)["warnings"]
    assert len(found) == len(warned)
    assert [word in text for word, text in zip(warned, found, strict=True)] == [True] * len(warned)


# ---- free-needed ----------------------------------------------------------------------------------------------------


def test_free_so2_for_a_target() -> None:
    """0.6 x (1 + 10^(3.5 - 1.81)) = 30.0 mg/L (the trade's table)."""
    found = _json(*NEEDED)
    assert found["free_mg_l"] == pytest.approx(0.6 * (1.0 + 10.0**1.69))
    assert (found["target_mg_l"], found["model"], found["pk"], found["extrapolated"]) == (0.6, "simple", 1.81, False)
    assert found["fraction"] * found["free_mg_l"] == pytest.approx(0.6)
    assert found["u_free_mg_l"] == pytest.approx(3.38, abs=0.02)
    assert found["warnings"] == []
    assert _say(*NEEDED).startswith("free SO2 needed: 30 mg/L, standard uncertainty 3.4 mg/L\nfor 0.6 mg/L molecular")


def test_more_than_is_sensible_and_a_model_that_the_targets_are_not_for() -> None:
    assert "takes 99 mg/L free SO2" in _json("free-needed", "--target-mg-l", "0.8", "--ph", "3.9")["warnings"][0]
    assert "written for the simple model" in _json(*NEEDED, *OIV)["warnings"][0]


@given(
    free=st.floats(5.0, 200.0).map(lambda value: f"{value:.3f}"),
    ph=st.floats(2.8, 4.0).map(lambda value: f"{value:.3f}"),
    by=st.sampled_from([(), ("--pk", "1.77"), OIV, (*OIV[:4], "--temperature", "24")]),
)
def test_free_needed_undoes_molecular(free: str, ph: str, by: tuple[str, ...]) -> None:
    found = _json("molecular", "--free-mg-l", free, "--ph", ph, *by)
    back = _json("free-needed", "--target-mg-l", repr(found["molecular_mg_l"]), "--ph", ph, *by)
    assert back["free_mg_l"] == pytest.approx(float(free))


# ---- dose -----------------------------------------------------------------------------------------------------------


def test_a_dose_to_a_free_target() -> None:
    """10 mg/L free x 3 / 2 = 15 mg/L total; 19 x 15 / 576 = 0.4948 g, of a 10 % solution 4.948 mL."""
    found = _json(*DOSE, "--to-free-mg-l", "30", "--stock-g-per-100ml", "10")
    assert found["metabisulfite_g"] == pytest.approx(19.0 * 15.0 / 576.0)
    assert found["stock_ml"] == pytest.approx(1900.0 * 15.0 / 5760.0)
    assert (found["raise_free_mg_l"], found["raise_total_mg_l"]) == (pytest.approx(10.0), pytest.approx(15.0))
    assert (found["weigh_g"], found["pipette_ml"]) == (pytest.approx(0.49), pytest.approx(4.9))
    assert found["weigh_off_mg_l"] == pytest.approx(-0.145, abs=1e-3)
    assert found["free_after_mg_l"] == pytest.approx(30.0)
    assert found["free_after_low_80_mg_l"] < 30.0 < found["free_after_high_80_mg_l"]
    assert found["worst_free_mg_l"] == pytest.approx(35.0)
    assert (found["molecular_after_mg_l"], found["total_after_mg_l"]) == (None, None)
    assert found["warnings"] == []
    shown = _say(*DOSE, "--to-free-mg-l", "30", "--stock-g-per-100ml", "10", "--ph", "3.4", "--total-mg-l", "70")
    assert shown.startswith(
        "0.4948 g of metabisulfite in 19 L: weigh 0.49 g; or 4.948 mL of the stock solution: pipette 4.9 mL\n"
    )
    assert (
        "free 30 mg/L (27 to 33), 35 if all of it stays free\nmolecular 0.75 mg/L (0.61 to 0.89), by pK 1.81\n" in shown
    )
    assert "total 85 mg/L (" in shown
    assert "asthma" in shown
    assert "never put acid" in shown


def test_a_dose_to_a_molecular_target() -> None:
    """0.6 mg/L at pH 3.5 take 29.99 mg/L free (pK 1.81)."""
    free = 0.6 * (1.0 + 10.0**1.69)
    found = _json(*DOSE, "--to-molecular-mg-l", "0.6", "--ph", "3.5", "--yield", "0.5", "--so2-fraction", "0.5")
    assert found["to_free_mg_l"] == pytest.approx(free)
    assert found["metabisulfite_g"] == pytest.approx(19.0 * (free - 20.0) / 0.5 / 500.0)
    assert found["molecular_after_mg_l"] == pytest.approx(0.6)
    by_oiv = _json(*DOSE, "--to-molecular-mg-l", "0.6", "--ph", "3.5", *OIV)
    assert by_oiv["metabisulfite_g"] < found["metabisulfite_g"]
    assert [word in " ".join(by_oiv["warnings"]) for word in ("simple model", "extrapolation")] == [True, True]


def test_the_dose_is_not_cut_but_warned_of() -> None:
    """To 45: 37.5 mg/L total, at worst 57.5 mg/L free, above 50: 30 mg/L or 0.99 g may be added at once."""
    found = _json(*DOSE, "--to-free-mg-l", "45")
    assert found["metabisulfite_g"] == pytest.approx(19.0 * 37.5 / 576.0)
    assert found["largest_metabisulfite_g"] == pytest.approx(19.0 * 30.0 / 576.0)
    assert "add at most 0.99 g at once" in found["warnings"][0]


def test_the_law_that_was_chosen_counts() -> None:
    words = (*DOSE, "--to-free-mg-l", "30", "--total-mg-l", "140", "--style", "red", "--sugar-g-l", "1")
    assert "legal limit of 150 mg/L" in _json(*words)["warnings"][0]
    assert "legal limit of 100 mg/L" in _json(*words, "--rules", "eu-organic")["warnings"][0]
    assert "legal" not in " ".join(_json(*words, "--rules", "us")["warnings"])


def test_a_balance_that_is_too_coarse() -> None:
    words = (*DOSE, "--to-free-mg-l", "30", "--balance-g", "0.1")
    assert "use a stock solution" in _json(*words)["warnings"][0]
    assert _json(*words, "--stock-g-per-100ml", "10")["warnings"] == []
    coarse = _json(*words, "--stock-g-per-100ml", "50", "--pipette-ml", "1")
    assert "weaker stock solution" in coarse["warnings"][0]


# ---- wrong calls ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "named", "told"),
    [
        ((*WINE[:3], "--ph", "0"), "--ph", "wine has 2.5 to 4.5"),
        ((*WINE[:3], "--ph", "14"), "--ph", "out of range"),
        ((*WINE[:3], "--ph", "3,4"), "--ph", "decimal comma"),
        (WINE[:3], "--ph", "Missing"),
        (("molecular", "--ph", "3.4"), "--free-mg-l", "Missing"),
        (("molecular", "--free-mg-l", "-1", "--ph", "3.4"), "--free-mg-l", "wine has 0 to 400 mg/L"),
        (("molecular", "--free-mg-l", "nan", "--ph", "3.4"), "--free-mg-l", "not finite"),
        ((*WINE, "--total-mg-l", "29"), "--total-mg-l", "more than 29 mg/L total"),
        ((*WINE, "--model", "guess"), "--model", "allowed: simple, oiv"),
        ((*WINE, "--model", "oiv"), "--alcohol, --temperature", "needs both"),
        ((*WINE, "--model", "oiv", "--alcohol", "12"), "--alcohol, --temperature", "needs both"),
        ((*WINE, *OIV, "--pk", "1.81"), "--pk", "works its pK out"),
        ((*WINE, "--pk", "0"), "--pk", "out of range"),
        ((*WINE, "--alcohol", "120"), "--alcohol", "0 to 20 % vol"),
        ((*WINE, *OIV[:4], "--temperature", "41"), "--temperature", "-5 to 40 °C"),
        ((*WINE, "--u-ph", "-0.1"), "--u-ph", "cannot be"),
        ((*WINE, "--u-free-mg-l", "-1"), "--u-free-mg-l", "cannot be"),
        (("free-needed", "--target-mg-l", "0", "--ph", "3.4"), "--target-mg-l", "out of range"),
        (("free-needed", "--target-mg-l", "0.6", "--ph", "0"), "--ph", "out of range"),
        (("free-needed", "--ph", "3.4"), "--target-mg-l", "Missing"),
        (DOSE, "--to-free-mg-l, --to-molecular-mg-l", "exactly one"),
        (
            (*DOSE, "--to-free-mg-l", "30", "--to-molecular-mg-l", "0.6", "--ph", "3.4"),
            "--to-free-mg-l, --to-molecular-mg-l",
            "exactly one",
        ),
        ((*DOSE, "--to-molecular-mg-l", "0.6"), "--ph", "needs the wine's pH"),
        ((*DOSE, "--to-molecular-mg-l", "0.6", "--ph", "0"), "--ph", "out of range"),
        ((*DOSE, "--to-molecular-mg-l", "0", "--ph", "3.4"), "--to-molecular-mg-l", "out of range"),
        ((*DOSE, "--to-molecular-mg-l", "0.1", "--ph", "3.4"), "--to-molecular-mg-l", "is below the 20 mg/L"),
        ((*DOSE, "--to-free-mg-l", "19"), "--to-free-mg-l", "is below the 20 mg/L"),
        ((*DOSE, "--to-free-mg-l", "401"), "--to-free-mg-l", "wine has 0 to 400"),
        ((*DOSE, "--to-free-mg-l", "30", "--ph", "0"), "--ph", "out of range"),
        ((*DOSE, "--to-free-mg-l", "30", "--yield", "0"), "--yield", "0.01 to 1"),
        ((*DOSE, "--to-free-mg-l", "30", "--yield", "67"), "--yield", "0.01 to 1"),
        ((*DOSE, "--to-free-mg-l", "30", "--so2-fraction", "57.6"), "--so2-fraction", "0.01 to 1"),
        ((*DOSE, "--to-free-mg-l", "30", "--stock-g-per-100ml", "0"), "--stock-g-per-100ml", "out of range"),
        ((*DOSE, "--to-free-mg-l", "30", "--total-mg-l", "15"), "--total-mg-l", "more than 15 mg/L total"),
        ((*DOSE, "--to-free-mg-l", "30", "--style", "blue"), "--style", "allowed: white, rosé, red, sweet"),
        ((*DOSE, "--to-free-mg-l", "30", "--rules", "fr"), "--rules", "allowed: eu, eu-organic, oiv, us"),
        ((*DOSE, "--to-free-mg-l", "30", "--sugar-g-l", "-1"), "--sugar-g-l", "out of range"),
        ((*DOSE, "--to-free-mg-l", "30", "--balance-g", "0"), "--balance-g", "out of range"),
        ((*DOSE, "--to-free-mg-l", "30", "--stock-g-per-100ml", "10", "--pipette-ml", "0"), "--pipette-ml", "out of"),
        (("dose", "--volume-l", "-19", *DOSE[3:], "--to-free-mg-l", "30"), "--volume-l", "out of range"),
        (("dose", "--volume-l", "0", *DOSE[3:], "--to-free-mg-l", "30"), "--volume-l", "out of range"),
        ((*DOSE[:3], "--from-free-mg-l", "-1", "--to-free-mg-l", "30"), "--from-free-mg-l", "wine has 0 to 400"),
        ((*DOSE[:3], "--to-free-mg-l", "30"), "--from-free-mg-l", "Missing"),
        ((*DOSE[:1], *DOSE[3:], "--to-free-mg-l", "30"), "--volume-l", "Missing"),
    ],
)
def test_a_wrong_call_names_the_option(words: tuple[str, ...], named: str, told: str) -> None:
    result = leeside("bench", *words)
    assert result.returncode == 2
    (error,) = [line for line in result.stderr.splitlines() if line.startswith("Error: ")]
    assert named in error
    assert told in error
    assert result.stdout == ""
