"""`leeside bench titration`: what it prints, and wrong calls that name the option."""

from __future__ import annotations

import json
from typing import Any

import pytest
from running import leeside

FREE = ("--method", "iodometric", "--quantity", "free", "--style", "white", "--sample-ml", "25")
AERATION = ("--method", "aeration", "--quantity", "free", "--style", "white", "--sample-ml", "50")
IODINE = ("--iodine-molarity", "0.01")
SODA = ("--naoh-molarity", "0.01")
STRENGTHS = "--normality, --iodine-molarity, --iodate-molarity, --naoh-molarity"


def _say(*words: str) -> str:
    result = leeside("bench", "titration", *words)
    assert result.returncode == 0, result.stderr
    return result.stdout + result.stderr


def _json(*words: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(_say(*words, "--json"))
    return found


def test_a_free_titration() -> None:
    """(1.20 - 0.20) x 0.02 x 32.03 x 1000 / 25 = 25.624 mg/L.

    Reading twice 0.7397 mg/L, strength 0.7397, sample 0.1479, method 1.5: the root of the squares is 1.978.
    """
    words = (*FREE, "--titre-ml", "1.2", "--blank-ml", "0.2", *IODINE)
    found = _json(*words)
    assert found.pop("u_so2_mg_l") == pytest.approx(1.978, abs=1e-3)
    assert found == {
        "so2_mg_l": pytest.approx(25.624),
        "quantity": "free",
        "method": "iodometric",
        "titre_ml": 1.2,
        "normality_eq_l": 0.02,
        "mg_l_per_ml": pytest.approx(25.624),
        "warnings": [],
    }
    assert _say(*words) == (
        "free SO2: 25.6 mg/L, standard uncertainty 2.0 mg/L\n1.2 mL (1 flask) less 0.2 mL, 25.62 mg/L per mL\n"
    )


@pytest.mark.parametrize(
    "strength",
    [("--normality", "0.02"), ("--iodine-molarity", "0.01"), ("--iodate-molarity", "0.00333333333")],
)
def test_three_ways_to_say_one_strength(strength: tuple[str, str]) -> None:
    assert _json(*FREE, "--titre-ml", "1", *strength)["so2_mg_l"] == pytest.approx(25.624)


def test_flasks_and_a_factor_by_aeration() -> None:
    """Mean 4.1 mL x 0.98 x 6.406 = 25.739 mg/L."""
    words = (*AERATION, "--titre-ml", "4.0", "--titre-ml", "4.1", "--titre-ml", "4.2", "--factor", "0.98")
    for strength in (SODA, ("--normality", "0.01")):
        found = _json(*words, *strength)
        assert (found["so2_mg_l"], found["titre_ml"]) == (pytest.approx(25.7393, abs=1e-3), pytest.approx(4.1))
        assert found["warnings"] == []
    assert "(mean of 3 flasks)" in _say(*words, *SODA)


def test_below_the_blank_there_is_no_number() -> None:
    words = (*FREE, "--titre-ml", "0.2", "--blank-ml", "0.3", *IODINE)
    found = _json(*words)
    # As `leeside enter` gives it: less than twice its standard uncertainty.
    assert (found["so2_mg_l"], found["u_so2_mg_l"]) == (None, pytest.approx(1.83, abs=0.01))
    assert _say(*words).startswith("free SO2: < 4 mg/L\n")
    (warning,) = found["warnings"]
    assert warning.startswith("the titre of 0.2 mL is not above the blank of 0.3 mL: less than about 4 mg/L free SO2")


@pytest.mark.parametrize("method", [(*FREE, *IODINE), (*AERATION, *SODA)])
def test_red_wine_is_an_upper_bound(method: tuple[str, ...]) -> None:
    assert "upper bound" in _json(*method, "--titre-ml", "1", "--style", "red")["warnings"][0]


@pytest.mark.parametrize("style", ["white", "rosé", "rose", "sweet"])
def test_the_other_styles(style: str) -> None:
    assert _json(*FREE, *IODINE, "--titre-ml", "1", "--style", style)["warnings"] == []


def test_the_style_may_be_left_out_and_the_burette_said() -> None:
    words = ("--method", "aeration", "--quantity", "free", "--sample-ml", "50", *SODA, "--titre-ml", "26")
    assert ["style" in warning or "burette of 25 mL" in warning for warning in _json(*words)["warnings"]] == [True] * 2
    assert len(_json(*words, "--burette-ml", "50")["warnings"]) == 1


@pytest.mark.parametrize(
    ("words", "named", "told"),
    [
        ((*FREE, *IODINE), "--titre-ml", "Missing"),
        ((*FREE[2:], *IODINE, "--titre-ml", "1"), "--method", "Missing"),
        ((*FREE[:2], *FREE[4:], *IODINE, "--titre-ml", "1"), "--quantity", "Missing"),
        ((*FREE[:6], *IODINE, "--titre-ml", "1"), "--sample-ml", "Missing"),
        ((*FREE, "--titre-ml", "1"), STRENGTHS, "not 0"),
        ((*FREE, *IODINE, "--normality", "0.02", "--titre-ml", "1"), STRENGTHS, "exactly one of them, not 2"),
        ((*FREE, *SODA, "--titre-ml", "1"), "--naoh-molarity", "takes iodine or iodide-iodate"),
        ((*AERATION, *IODINE, "--titre-ml", "1"), "--iodine-molarity", "takes sodium hydroxide"),
        ((*AERATION, "--iodate-molarity", "0.003", "--titre-ml", "1"), "--iodate-molarity", "takes sodium hydroxide"),
        ((*FREE, *IODINE, "--titre-ml", "1", "--method", "guess"), "--method", "allowed: iodometric, aeration"),
        ((*FREE, *IODINE, "--titre-ml", "1", "--quantity", "all"), "--quantity", "allowed: free, total"),
        ((*FREE, *IODINE, "--titre-ml", "1", "--style", "blue"), "--style", "allowed: white, rosé, red, sweet"),
        ((*FREE, *IODINE, "--titre-ml", "-1"), "--titre-ml", "a titre of -1 mL cannot be"),
        ((*FREE, *IODINE, "--titre-ml", "1,2"), "--titre-ml", "decimal comma"),
        ((*FREE, *IODINE, "--titre-ml", "1", "--titre-ml", "nan"), "--titre-ml", "not finite"),
        ((*FREE, *IODINE, *["--titre-ml", "1"] * 11), "--titre-ml", "1 to 10 flasks"),
        ((*FREE, *IODINE, "--titre-ml", "1", "--blank-ml", "-0.1"), "--blank-ml", "cannot be"),
        ((*FREE, *IODINE, "--titre-ml", "1", "--blank-ml", "1 mL"), "--blank-ml", "without a unit"),
        ((*FREE, *IODINE, "--titre-ml", "1", "--sample-ml", "0"), "--sample-ml", "cannot be"),
        ((*FREE, *IODINE, "--titre-ml", "1", "--burette-ml", "0"), "--burette-ml", "cannot be"),
        ((*FREE, "--normality", "0", "--titre-ml", "1"), "--normality", "must be above 0"),
        ((*FREE, "--iodine-molarity", "-1", "--titre-ml", "1"), "--iodine-molarity", "must be above 0"),
        ((*FREE, "--iodate-molarity", "2", "--titre-ml", "1"), "--iodate-molarity", "at most 1.67 mol/L"),
        ((*AERATION, "--naoh-molarity", "x", "--titre-ml", "1"), "--naoh-molarity", "not a number"),
        ((*FREE, *IODINE, "--titre-ml", "1", "--factor", "97"), "--factor", "97 % is written 0.97"),
        ((*FREE, *IODINE, "--titre-ml", "1", "--factor", "0"), "--factor", "is not a factor"),
        ((*FREE, *IODINE, "--titre-ml", "1", "--factor", ""), "--factor", "empty"),
        ((*FREE, *IODINE, "--titr-ml", "1"), "--titr-ml", "No such option"),
    ],
)
def test_a_wrong_call_is_told_with_the_option(words: tuple[str, ...], named: str, told: str) -> None:
    result = leeside("bench", "titration", *words)
    assert result.returncode == 2
    (error,) = [line for line in result.stderr.splitlines() if line.startswith("Error: ")]
    assert named in error
    assert told in error
