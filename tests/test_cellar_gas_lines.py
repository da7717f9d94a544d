"""Gas lines in the cellar file: what joins, and each mistake with its text."""

from __future__ import annotations

from pathlib import Path

import pytest
from cellar_text import CARBOY, KEG, SITE, carboy, cellar, cylinder, gas_line, keg, problems, write_cellar

from alerts.command.checks.check_warnings import check_warnings
from ingest.cellar import load_cellar

_SOUND = SITE + KEG + cylinder()


def test_a_line_joins_cylinder_regulator_relief_and_vessels() -> None:
    lines = cellar(_SOUND, keg("K2"), gas_line(relief="15 psi", vessels=["K1", "K2"])).gas_line
    assert [(line.id, line.cylinder, line.regulator_kpa, line.vessels) for line in lines] == [
        ("N2-line", "N2", 55.0, ("K1", "K2"))
    ]
    assert lines[0].relief_kpa == pytest.approx(103.42, abs=0.01)


def test_a_cylinder_may_feed_several_lines() -> None:
    lines = cellar(_SOUND, keg("K2"), gas_line(), gas_line("low", regulator="20 kPa", vessels=["K2"])).gas_line
    assert [line.cylinder for line in lines] == ["N2", "N2"]


def test_another_gas_is_taken_with_its_reason() -> None:
    line = cellar(SITE, keg(gas="argon"), cylinder(), gas_line(other_gas="pushes only"))
    assert line.gas_line[0].other_gas == "pushes only"


def test_a_plastic_keg_with_a_stamp_is_taken() -> None:
    assert cellar(SITE, keg(material="plastic"), cylinder(), gas_line()).gas_line[0].vessels == ("K1",)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        pytest.param(
            _SOUND + '[[gas_line]]\nid = "a"\n',
            [
                "[[gas_line]] a cylinder: is missing: the id of the cylinder that feeds it",
                '[[gas_line]] a regulator: is missing: the pressure that its regulator is set to, such as "55 kPa"',
                '[[gas_line]] a vessels: is missing: the ids of the vessels on it, such as ["K1", "K2"]',
            ],
            id="empty",
        ),
        pytest.param(
            _SOUND + gas_line(vessels=[]),
            [
                "[[gas_line]] N2-line vessels = []: must not be empty: the ids of the vessels on it, such as "
                '["K1", "K2"]'
            ],
            id="no vessels",
        ),
        pytest.param(
            _SOUND + gas_line(vessels="K1"),
            ['[[gas_line]] N2-line vessels = "K1": must be a list, such as ["..."]'],
            id="vessels no list",
        ),
        pytest.param(
            _SOUND + gas_line(regulator="55"),
            None,
            id="regulator without unit",
        ),
        pytest.param(
            _SOUND + gas_line(regulator="0 kPa"),
            ['[[gas_line]] N2-line regulator = "0 kPa": must be above 0 to 1000 kPa'],
            id="regulator at 0",
        ),
        pytest.param(
            _SOUND + gas_line(cylinder="N3"),
            ['[[gas_line]] N2-line cylinder = "N3": there is no cylinder with this id; known: N2'],
            id="cylinder unknown",
        ),
        pytest.param(
            _SOUND + gas_line(vessels=["K1", "X9"]),
            ['[[gas_line]] N2-line vessels = ["K1", "X9"]: X9: there is no vessel with this id; known: K1'],
            id="vessel unknown",
        ),
        pytest.param(
            _SOUND + gas_line(vessels=["K1", "K1"]),
            ['[[gas_line]] N2-line vessels = ["K1", "K1"]: K1 is listed 2 times; list it once'],
            id="vessel twice on a line",
        ),
        pytest.param(
            _SOUND + gas_line() + gas_line("other"),
            [
                '[[gas_line]] other vessels = ["K1"]: K1 is on [[gas_line]] N2-line already; a vessel hangs on one '
                "line at a time"
            ],
            id="vessel on two lines",
        ),
        pytest.param(
            _SOUND + keg("K2") + gas_line() + gas_line("n2-LINE", vessels=["K2"]),
            [
                '[[gas_line]] n2-LINE id = "n2-LINE": is taken by [[gas_line]] N2-line; ids of gas lines must differ '
                "in more than upper and lower case"
            ],
            id="id twice",
        ),
        pytest.param(
            SITE + keg(gas="argon") + keg("K2") + cylinder() + gas_line(vessels=["K1", "K2"]),
            [
                '[[gas_line]] N2-line cylinder = "N2": holds nitrogen, but K1 has argon; write the gas that it is, or '
                "say by other_gas why they differ"
            ],
            id="gases differ",
        ),
        pytest.param(
            _SOUND + gas_line(other_gas="pushes only"),
            [
                '[[gas_line]] N2-line other_gas = "pushes only": no vessel on this line has another gas than nitrogen; '
                "leave it out"
            ],
            id="reason without need",
        ),
        pytest.param(
            _SOUND + gas_line(relief="55 kPa"),
            [
                '[[gas_line]] N2-line regulator = "55 kPa": must be below 55 kPa, at which the relief valve opens; '
                "otherwise it never shuts"
            ],
            id="regulator at relief",
        ),
        pytest.param(
            _SOUND + keg("K2", max_pressure="90 kPa") + gas_line(relief="100 kPa", vessels=["K1", "K2"]),
            ['[[gas_line]] N2-line relief = "100 kPa": must be at most 90 kPa, the max_pressure of K2'],
            id="relief above the smallest stamp",
        ),
        pytest.param(
            _SOUND + gas_line(regulator="180 kPa"),
            [
                '[[gas_line]] N2-line regulator = "180 kPa": must be below 180 kPa, where the alarm before the stamp '
                "of K1 is raised"
            ],
            id="regulator at the alarm before the stamp",
        ),
        pytest.param(
            _SOUND + CARBOY + gas_line(vessels=["C1"]),
            [
                '[[gas_line]] N2-line vessels = ["C1"]: C1 is of glass, which bursts under pressure: never join it to '
                "gas"
            ],
            id="glass",
        ),
        pytest.param(
            _SOUND + carboy("B1", kind="barrel") + gas_line(vessels=["B1"]),
            [
                '[[gas_line]] N2-line vessels = ["B1"]: B1 is a barrel, which is not made for pressure; only kegs and '
                "tanks hang on a gas line"
            ],
            id="barrel",
        ),
        pytest.param(
            _SOUND + carboy("C2", material="plastic") + gas_line(vessels=["C2"]),
            [
                '[[gas_line]] N2-line vessels = ["C2"]: C2 is a carboy, which is not made for pressure; only kegs and '
                "tanks hang on a gas line"
            ],
            id="plastic carboy",
        ),
        pytest.param(
            _SOUND + keg("T1", kind="tank", material="wood") + gas_line(vessels=["T1"]),
            [
                '[[gas_line]] N2-line vessels = ["T1"]: T1 is a wooden tank, which is not made for pressure; only kegs '
                "and tanks hang on a gas line"
            ],
            id="wooden tank",
        ),
        pytest.param(
            SITE + keg(gas=None, max_pressure=None) + cylinder() + gas_line(),
            [
                '[[gas_line]] N2-line vessels = ["K1"]: K1 has no max_pressure: write in its table what is stamped on '
                'it, such as "200 kPa"'
            ],
            id="no stamp",
        ),
    ],
)
def test_each_mistake_has_its_text(text: str, expected: list[str] | None) -> None:
    found = problems(text)
    if expected is None:
        assert len(found) == 1
        assert '[[gas_line]] N2-line regulator = "55"' in found[0]
        assert "kPa" in found[0]
    else:
        assert found == expected


def test_a_line_without_relief_valve_and_a_plastic_keg_are_warned_of(tmp_path: Path) -> None:
    file = write_cellar(tmp_path, SITE, keg(material="plastic"), cylinder(), gas_line())
    assert list(check_warnings(load_cellar(file))) == [
        "gas line N2-line has no relief valve: a regulator that fails lets the pressure of the cylinder into K1. Fit "
        "one that opens at or below the smallest max_pressure of these, and write its relief.",
        "K1 on gas line N2-line is of plastic: gas passes through it, and warmth and age weaken it. Stay well below "
        "its stamp, and never use one that is scratched or past its date.",
    ]
    file = write_cellar(tmp_path, SITE, KEG, cylinder(), gas_line(relief="100 kPa"))
    assert list(check_warnings(load_cellar(file))) == []
