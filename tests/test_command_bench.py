"""`leeside bench`: arithmetic without a cellar, and wrong calls that name what is wrong."""

from __future__ import annotations

import json
from typing import Any

import pytest
from running import leeside


def _say(*words: str) -> str:
    result = leeside("bench", *words)
    assert result.returncode == 0, result.stderr
    return result.stdout + result.stderr


def _json(*words: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(_say(*words, "--json"))
    return found


@pytest.mark.parametrize(
    ("typed", "hint"),
    [
        ("12,5", ': "12.5"'),
        ("1,250", ": write it with a decimal point and without a unit"),
        ("12.5mA", ": write it with a decimal point and without a unit"),
    ],
)
def test_a_number_that_is_none_is_put_right_or_nothing_is_suggested(typed: str, hint: str) -> None:
    result = leeside("bench", "signal", "4-20 mA = 0-30 psi", typed)
    assert result.returncode == 2
    assert f"{hint}\n" in result.stderr.replace("  ", " ")


# ---- signal --------------------------------------------------------------------------------------------------------


def test_a_current() -> None:
    """(12.5 - 4) / 16 x 30 psi = 15.9375 psi; 1 psi = 6.894757 kPa, so 109.885 kPa."""
    assert _say("signal", "4-20 mA = 0-30 psi", "12.5") == "12.5 mA: 15.938 psi (109.89 kPa), good\n"
    assert _json("signal", "4-20 mA = 0-30 psi", "12.5") == {
        "value": 15.9375,
        "unit": "psi",
        "quality": "good",
        "reason": "none",
        "warnings": [],
    }


def test_a_supply_and_counts() -> None:
    """2.45 V of 4.90 V on 0-6 bar are 3.000 bar; of an assumed 5 V 2.925 bar, with a warning."""
    label = "0.5-4.5 V of 5 V = 0-6 bar"
    measured, assumed = _json("signal", label, "2.45", "--supply", "4.9"), _json("signal", label, "2.45")
    assert (measured["value"], measured["warnings"]) == (pytest.approx(3.0), [])
    assert assumed["value"] == pytest.approx(2.925)
    assert "the supply was taken as 5 V" in assumed["warnings"][0]
    counted = _json("signal", label, "2000", "--counts", "0-4000 = 0-5 V", "--supply", "5")
    assert (counted["value"], counted["quality"]) == (pytest.approx(3.0), "good")


def test_a_temperature_is_also_told_in_celsius() -> None:
    found = _json("signal", "0-10 V = 32-212 °F", "5")
    assert (found["value"], found["unit"], found["temperature_c"]) == (122.0, "°F", pytest.approx(50.0))
    assert "°F (50 °C), good" in _say("signal", "0-10 V = 32-212 °F", "5")


@pytest.mark.parametrize(
    ("words", "quality", "reason", "warning"),
    [
        (("4-20 mA = 0-4 bar", "3.5"), "bad", "fault", "at 3.6 mA and less, or 21 mA and more"),
        (("4-20 mA = 0-4 bar", "-0.1"), "bad", "fault", "NAMUR NE 43"),
        (("4-20 mA = 0-4 bar", "20.8"), "uncertain", "saturated", "outside what is measured, 3.8 to 20.5 mA"),
        (("0.5-4.5 V of 5 V = 0-4 bar", "0.1", "--supply", "5"), "bad", "fault", "below 5 % or above 95 %"),
        (
            ("0.5-4.5 V of 5 V = 0-4 bar", "2", "--supply", "4"),
            "uncertain",
            "fault",
            "the supply is more than 10 % from",
        ),
        (("0-10 V = 0-4 bar", "0", "--counts", "0-4095 = 0-10 V"), "bad", "rail", "the converter is at its end"),
        (("Pt100", "9000"), "bad", "fault", "no temperature has this resistance"),
    ],
)
def test_what_cannot_be_trusted_is_shown_with_its_reason(
    words: tuple[str, ...], quality: str, reason: str, warning: str
) -> None:
    found = _json("signal", *words)
    assert (found["quality"], found["reason"]) == (quality, reason)
    assert [warning in told for told in found["warnings"]] == [True]
    assert f"{quality} ({reason})\nwarning: " in _say("signal", *words)


# ---- pt100 ---------------------------------------------------------------------------------------------------------


def test_platinum_both_ways() -> None:
    """IEC 60751: 107.7935 ohm of a Pt100 are 20 °C; class B may be off by 0.4 °C there."""
    found = _json("pt100", "107.7935")
    assert (found["value"], found["unit"], found["quality"]) == (found["temperature_c"], "°C", "good")
    assert found["temperature_c"] == pytest.approx(20.0, abs=1e-3)
    assert found["tolerance_c"]["B"] == pytest.approx(0.4, abs=1e-5)
    back = _json("pt100", "--celsius", "20")
    assert (back["value"], back["unit"], back["temperature_c"]) == (pytest.approx(107.7935, abs=5e-5), "ohm", 20.0)
    assert _json("pt100", "1077.935", "--ohms-at-zero", "1000")["value"] == pytest.approx(20.0, abs=1e-3)
    assert _json("pt100", "--celsius", "-10")["value"] == pytest.approx(96.0859, abs=5e-5)
    assert _say("pt100", "107.7935").startswith("107.7935 ohm: 20.00 °C\nmay be off by: class AA 0.13 °C")


def test_a_temperature_that_no_cellar_has_is_doubted() -> None:
    assert "a cellar has -30 to 60 °C" in _say("pt100", "138.5055")


# ---- pressure ------------------------------------------------------------------------------------------------------


def test_gauge_and_absolute_at_an_altitude() -> None:
    """A keg charged to 55 kPa at sea level has 156.325 kPa absolute; at 1500 m its gauge says 71.8 kPa.

    The air at 1500 m: 101.325 x (1 - 0.0065 x 1500 / 288.15)^5.25588 = 84.556 kPa, the standard atmosphere of ISO 2533.
    """
    absolute = _json("pressure", "55", "--unit", "kPa", "--gauge", "--altitude", "0 m")
    assert (absolute["value"], absolute["unit"], absolute["reference"]) == (pytest.approx(156.325), "kPa", "absolute")
    gauge = _json("pressure", "156.325", "--unit", "kPa", "--absolute", "--altitude", "1500 m")
    assert (gauge["value"], gauge["reference"]) == (pytest.approx(71.8, abs=0.05), "gauge")
    assert gauge["barometer_kpa"] == pytest.approx(84.56, abs=0.01)
    assert "the weather moves the air" in gauge["warnings"][0]


def test_a_barometer_goes_before_the_altitude() -> None:
    """98.2 kPa are 14.243 psi (1 psi = 6.894757 kPa)."""
    words = ("pressure", "-5", "--unit", "psig", "--gauge", "--barometer", "982 hPa", "--altitude", "340 m")
    found = _json(*words)
    assert (found["value"], found["unit"], found["warnings"]) == (pytest.approx(9.2427, abs=1e-4), "psi", [])
    assert _say(*words) == "-5 psi gauge: 9.2427 psi absolute\nthe air has 98.20 kPa (barometer)\n"


def test_a_pressure_at_sea_level_is_not_taken_for_that_at_the_place() -> None:
    found = _json("pressure", "5", "--unit", "kPa", "--gauge", "--barometer", "1013 hPa", "--altitude", "1500 m")
    assert "weather services report the pressure at sea level" in found["warnings"][0]


# ---- wrong calls ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "named", "told"),
    [
        (("signal",), "SIGNAL", ""),
        (("signal", "4-20 mA = 0-30 psi"), "NUMBER", ""),
        (("signal", "4-20 = 0-30 psi", "5"), "SIGNAL", "write a range in mA or V"),
        (("signal", "4-20 mA = 0-30 pis", "5"), "SIGNAL", 'there is no unit "pis"'),
        (("signal", "4-20 mA = 0-30 psi", "12,5"), "NUMBER", "decimal comma"),
        (("signal", "4-20 mA = 0-30 psi", "nan"), "NUMBER", "not finite"),
        (("signal", "4-20 mA = 0-3000 psi", "1e307"), "NUMBER", "too large"),
        (
            ("signal", "4-20 mA = 0-30 psi", "5", "--supply", "5"),
            "--supply",
            "only for a signal that follows its supply",
        ),
        (("signal", "1-4 V of 5 V = 0-30 psi", "2", "--supply", "5 V"), "--supply", "without a unit"),
        (("signal", "1-4 V of 5 V = 0-30 psi", "2", "--supply", "0"), "--supply", "must be above 0 V"),
        (("signal", "1-4 V = 0-30 psi", "2", "--counts", "4095"), "--counts", '"0-4095 = 0-5 V"'),
        (("signal", "1-4 V = 0-30 psi", "2", "--counts", "0-9 = 0-20 mA"), "--counts", "must end in V"),
        (("signal", "4-20 mA = 0-30 psi", "5", "--suply", "5"), "--suply", ""),
        (("pt100",), "OHMS, --celsius", "give either"),
        (("pt100", "100", "--celsius", "5"), "OHMS, --celsius", "give either"),
        (("pt100", "1077.9"), "OHMS", "a Pt1000 needs --ohms-at-zero 1000"),
        (("pt100", "--celsius", "900"), "--celsius", "outside -200 to 850 °C"),
        (("pt100", "100", "--ohms-at-zero", "-1"), "--ohms-at-zero", "must be above 0 ohm"),
        (("pressure", "5", "--gauge"), "--unit", ""),
        (("pressure", "5", "--unit", "kPa"), "--gauge, --absolute", "one of"),
        (("pressure", "5", "--unit", "kPa", "--gauge", "--absolute"), "--gauge, --absolute", "one of"),
        (("pressure", "5", "--unit", "°C", "--gauge"), "--unit", "allowed for a pressure"),
        (("pressure", "5", "--unit", "psia", "--gauge"), "--unit", "is absolute pressure, but --gauge was given"),
        (("pressure", "5", "--unit", "kPa", "--gauge"), "--altitude, --barometer", "the pressure of the air is needed"),
        (("pressure", "5", "--unit", "kPa", "--gauge", "--altitude", "340"), "--altitude", "the unit is missing"),
        (("pressure", "5", "--unit", "kPa", "--gauge", "--altitude", "20000 m"), "--altitude", "outside -500 to 11000"),
        (("pressure", "5", "--unit", "kPa", "--gauge", "--barometer", "5 kPa"), "--barometer", "50 to 110 kPa"),
        (("pressure", "5", "--unit", "kPa", "--gauge", "--barometer", "9 kPa gauge"), "--barometer", "gauge pressure"),
        (("pressure", "-99", "--unit", "kPa", "--gauge", "--barometer", "98 kPa"), "NUMBER", "less than vacuum"),
        (
            ("pressure", "-1", "--unit", "kPa", "--absolute", "--barometer", "98 kPa"),
            "NUMBER",
            "at least 0 kPa absolute",
        ),
    ],
)
def test_a_wrong_call_names_the_option_or_argument(words: tuple[str, ...], named: str, told: str) -> None:
    result = leeside("bench", *words)
    assert result.returncode == 2
    error = result.stderr.partition("Error: ")[2]
    assert named in error
    assert told in error
