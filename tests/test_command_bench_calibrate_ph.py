"""`leeside bench calibrate-ph`: what it prints, its exit code, and wrong calls that name the option."""

from __future__ import annotations

import json
from typing import Any

import pytest
from running import leeside

AT_25 = ("--temperature", "25")
TWO = ("--buffer", "7.00", "--mv", "-6.0", "--buffer", "4.01", "--mv", "168.5", *AT_25)
SHOWN = ("--buffer", "7.00", "--reads", "7.05", "--buffer", "4.01", "--reads", "4.03", *AT_25)


def _say(*words: str, code: int = 0) -> str:
    result = leeside("bench", "calibrate-ph", *words)
    assert result.returncode == code, result.stderr
    return result.stdout + result.stderr


def _json(*words: str, code: int = 0) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(_say(*words, "--json", code=code))
    return found


def test_two_buffers() -> None:
    """174.5 mV over 2.99 pH: -58.361 mV, 98.65 % of 59.159."""
    found = _json(*TWO)
    assert found["slope_mv_per_ph"] == pytest.approx(-174.5 / 2.99)
    assert found["nernst_mv_per_ph"] == pytest.approx(59.1593, abs=1e-4)
    assert found["slope_percent"] == pytest.approx(98.65, abs=0.01)
    assert (found["offset_mv"], found["grade"], found["warnings"]) == (pytest.approx(-6.0), "good", [])
    assert found["zero_point_ph"] == pytest.approx(7.0 - 6.0 * 2.99 / 174.5)
    assert found["buffers_ph"] == [7.0, 4.01]
    assert (found["gain"], found["wine_ph"], found["drift_ph"], found["u_ph_at"]) == (None, None, None, 3.4)
    assert 0.01 < found["u_ph"] < 0.03
    assert _say(*TWO) == (
        "slope 98.7 % (-58.36 mV per pH at 25 °C), offset at pH 7 -6.0 mV: good\n"
        "standard uncertainty near pH 3.4: 0.019\n"
    )


def test_buffers_have_their_ph_at_the_temperature() -> None:
    """At 12 °C 7.0498 and, of the standard phthalate, 3.9974: 98.434 %; printed 7.00 and 4.01 make 100.488 %."""
    mv = ("--mv", "-2", "--mv", "168", "--temperature", "12")
    printed = _json("--buffer-set", "printed", "--buffer", "7.0498", "--buffer", "3.9974", *mv)
    assert printed["slope_percent"] == pytest.approx(98.434, abs=1e-3)
    wrong = _json("--buffer-set", "printed", "--buffer", "7.00", "--buffer", "4.01", *mv)
    assert wrong["slope_percent"] == pytest.approx(100.488, abs=1e-3)
    technical = _json("--buffer", "7.00", "--buffer", "4.01", *mv)
    assert technical["buffers_ph"] == [pytest.approx(7.0498), pytest.approx(4.00)]
    standard = _json("--buffer-set", "nist", "--buffer", "phosphate", "--buffer", "4.005", *mv)
    assert standard["buffers_ph"] == [pytest.approx(6.9138), pytest.approx(3.9974)]
    assert standard["u_ph"] < technical["u_ph"]


def test_the_wine_s_ph() -> None:
    """-6 mV in 7.000, 168.5 mV in 4.005: 200 mV are 3.4644 at 25 °C, and 3.3032 at 12 °C."""
    words = ("--buffer-set", "printed", "--buffer", "7", "--buffer", "4.005", *TWO[2:4], *TWO[6:8], *AT_25)
    warm, cold = (
        _json(*words, "--wine-mv", "200"),
        _json(*words, "--wine-mv", "200", "--wine-temperature", "12"),
    )
    assert (warm["wine_ph"], cold["wine_ph"]) == (pytest.approx(3.4644, abs=1e-4), pytest.approx(3.3032, abs=1e-4))
    assert warm["u_ph_at"] == warm["wine_ph"]
    assert cold["u_ph"] > warm["u_ph"]
    assert "the wine has pH 3.303, standard uncertainty 0.023\n" in _say(
        *words, "--wine-mv", "200", "--wine-temperature", "12"
    )


def test_a_meter_that_shows_ph() -> None:
    """True = 2.99 / 3.02 x shown + (7 - 2.99 / 3.02 x 7.05); the meter's own line leaves 3.02 / 2.99 = 101.0 %."""
    found = _json(*SHOWN, "--wine-reads", "3.45")
    gain = 2.99 / 3.02
    assert (found["gain"], found["offset_ph"]) == (pytest.approx(gain), pytest.approx(7.0 - gain * 7.05))
    assert found["slope_percent"] == pytest.approx(100.0 / gain)
    assert found["wine_ph"] == pytest.approx(gain * 3.45 + 7.0 - gain * 7.05)
    # A shown pH has its temperature compensated already.
    cold = _json(*SHOWN, "--wine-reads", "3.45", "--wine-temperature", "12")
    assert cold["wine_ph"] == found["wine_ph"]
    assert "shown pH becomes 0.9901 x shown +0.020" in _say(*SHOWN)


def test_three_buffers_that_are_not_on_a_line() -> None:
    """s = -1015.47 / 18.00 = -56.415 mV; at pH 7 the line has -2.12 mV, the probe -6: 3.876 / 56.415 = 0.0687."""
    found = _json(*TWO, "--buffer", "10.01", "--mv", "-170")
    assert max(map(abs, found["residuals_ph"])) == pytest.approx(0.0687, abs=1e-4)
    assert "not on one line" in found["warnings"][0]


def test_drift() -> None:
    words = (*TWO, "--earlier-slope-percent", "100", "--earlier-offset-mv", "0", "--earlier-days", "60")
    found = _json(*words)
    assert found["drift_slope_percent"] == pytest.approx(-1.35, abs=0.01)
    assert found["drift_offset_mv"] == pytest.approx(-6.0)
    assert found["drift_ph"] == pytest.approx(0.150, abs=1e-3)
    assert found["drift_ph_per_30_days"] == pytest.approx(0.075, abs=1e-3)
    assert "in 60 days the slope went from 100.0 to 98.7 %" in _say(*words)


def test_a_probe_that_is_not_to_be_used_is_an_answer_of_no() -> None:
    words = ("--buffer", "7.00", "--mv", "0", "--buffer", "4.01", "--mv", "120", *AT_25)
    found = _json(*words, code=1)
    assert (found["grade"], found["slope_percent"]) == ("refused", pytest.approx(67.84, abs=0.01))
    assert "offset at pH 7 +0.0 mV: not to be used\n" in _say(*words, code=1)


@pytest.mark.parametrize(
    ("words", "named", "told"),
    [
        (
            ("--buffer", "4.01", "--mv", "-6", "--buffer", "7.00", "--mv", "168.5", *AT_25),
            "--buffer",
            "the buffers are swapped: what was read in 4.01 belongs to 7",
        ),
        (
            ("--buffer", "4.01", "--reads", "7.02", "--buffer", "7.00", "--reads", "4.03", *AT_25),
            "--buffer",
            "the buffers are swapped",
        ),
        (
            ("--buffer", "7.00", "--mv", "6", "--buffer", "4.01", "--mv", "-168.5", *AT_25),
            "--mv, --reads",
            "the voltage has the wrong sign",
        ),
        (TWO[:4] + AT_25, "--buffer", "2 to 5 buffers, not 1"),
        ((*TWO[:4], *TWO[:4], *AT_25), "--buffer", "0.00 pH apart"),
        (TWO[:-2], "--temperature", "Missing"),
        (("--mv", "0", *AT_25), "--buffer", "Missing"),
        (("--buffer", "7.00", "--buffer", "4.01", *AT_25), "--mv, --reads", "either in mV, or the pH"),
        ((*TWO, "--reads", "7"), "--mv, --reads", "either in mV, or the pH"),
        ((*TWO, "--mv", "7"), "--buffer, --mv", "2 --buffer and 3 --mv"),
        ((*TWO[:-1], "60"), "--temperature", "has no pH at 60 °C"),
        ((*TWO, "--buffer-set", "mine"), "--buffer-set", "allowed: technical, nist, printed"),
        (("--buffer", "5", *TWO[2:]), "--buffer", "there are: 4.01, 7.00, 10.01"),
        (("--buffer", "-1", *TWO[2:], "--buffer-set", "printed"), "--buffer", "0 to 14"),
        (("--buffer", "7.00", "--mv", "x", *TWO[4:]), "--mv", "not a number"),
        (("--buffer", "7.00", "--mv", "6000", *TWO[4:]), "--mv", "no pH probe gives 6000 mV"),
        ((*TWO, "--wine-reads", "3.4"), "--wine-mv", "read in mV"),
        ((*SHOWN, "--wine-mv", "200"), "--wine-reads", "read in pH"),
        ((*TWO, "--wine-mv", "1000"), "--wine-mv", "a probe reads 0 to 14"),
        ((*TWO, "--wine-mv", "200", "--wine-temperature", "60"), "--wine-temperature", "-5 to 50"),
        ((*TWO, "--earlier-days", "30"), "--earlier-slope-percent", "needs all three"),
        (
            (*TWO, "--earlier-slope-percent", "98", "--earlier-offset-mv", "0", "--earlier-days", "0"),
            "--earlier-days",
            "more than 0",
        ),
        (
            (*TWO, "--earlier-slope-percent", "9", "--earlier-offset-mv", "0", "--earlier-days", "9"),
            "--earlier-slope-percent",
            "50 to 150",
        ),
        ((*TWO, "--mvv", "7"), "--mvv", "No such option"),
    ],
)
def test_a_wrong_call_names_the_option(words: tuple[str, ...], named: str, told: str) -> None:
    result = leeside("bench", "calibrate-ph", *words)
    assert result.returncode == 2
    (error,) = [line for line in result.stderr.splitlines() if line.startswith("Error: ")]
    assert named in error
    assert told in error
