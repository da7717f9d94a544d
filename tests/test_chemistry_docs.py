"""docs/chemistry.md: its tables say what the arithmetic says."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

import pytest

from alerts.wine.legal import RULE_SETS
from alerts.wine.molecular import TRADE_PK, calorimetric_shift, free_needed, oiv_pk
from alerts.wine.so2_history import LOSS_BY_KIND
from alerts.wine.targets import Stage, style_target
from ingest.journal.titrant import EQUIVALENTS, Bottle, Meaning, Titrant, TitrantStrength
from ingest.journal.titration import Method, So2Quantity, Style, Titration

PAGE = (Path(__file__).resolve().parent.parent / "docs" / "chemistry.md").read_text(encoding="utf-8")
TITRANTS = {
    "mol/L iodine": (Method.IODOMETRIC, Titrant.IODINE, Meaning.IODINE_MOLARITY),
    "eq/L iodine": (Method.IODOMETRIC, Titrant.IODINE, Meaning.NORMALITY),
    "mol/L iodate": (Method.IODOMETRIC, Titrant.IODATE, Meaning.IODATE_MOLARITY),
    "mol/L sodium hydroxide": (Method.AERATION, Titrant.NAOH, Meaning.NAOH_MOLARITY),
}
ROWS = re.findall(
    r"^\| ([0-9./]+) ((?:mol|eq)/L [a-z ]+?)(?: \(([0-9.]+) g/L KIO3\))? \| ([0-9.]+) \| (.+) \|$", PAGE, re.MULTILINE
)


def test_the_rows_are_found() -> None:
    assert len(ROWS) == 9


@pytest.mark.parametrize(("number", "unit", "kio3_g_l", "eq_l", "cells"), ROWS)
def test_the_factor_tables(number: str, unit: str, kio3_g_l: str, eq_l: str, cells: str) -> None:
    method, titrant, meaning = TITRANTS[unit]
    strength = TitrantStrength(float(Fraction(number)), meaning)
    assert strength.normality_eq_l == pytest.approx(float(eq_l), rel=3e-4)
    if kio3_g_l:
        assert float(kio3_g_l) / 214.00 == pytest.approx(
            strength.number, rel=2e-4
        )  # M(KIO3) = 39.098 + 126.904 + 3 x 15.999 (IUPAC)
    for sample_ml, cell in zip((10.0, 20.0, 25.0, 50.0), cells.split(" | "), strict=True):
        done = Titration(
            method=method,
            quantity=So2Quantity.FREE,
            style=Style.WHITE,
            titres_ml=(1.0,),
            sample_ml=sample_ml,
            bottle=Bottle(titrant, strength),
        )
        assert f"{done.mg_l_per_ml:.1f}" == cell


def test_the_equivalents_of_each_option() -> None:
    told = dict(re.findall(r"\| `--([a-z-]+)` \| ([0-9])", PAGE))
    options = {
        "normality": Meaning.NORMALITY,
        "iodine-molarity": Meaning.IODINE_MOLARITY,
        "iodate-molarity": Meaning.IODATE_MOLARITY,
        "naoh-molarity": Meaning.NAOH_MOLARITY,
    }
    assert {option: float(told[option]) for option in told} == {
        option: EQUIVALENTS[meaning] for option, meaning in options.items()
    }


def test_the_table_of_free_so2_needed() -> None:
    rows = re.findall(r"^\| (\d\.\d) \| ([0-9.]+) % \| ([0-9.]+) \| ([0-9.]+) \| ([0-9.]+) \|$", PAGE, re.MULTILINE)
    assert len(rows) == 6
    for ph, percent, *cells in rows:
        assert f"{100.0 * TRADE_PK.fraction(float(ph)):.2f}" == percent
        needed = [f"{free_needed(target, float(ph), TRADE_PK).mg_l:.1f}" for target in (0.5, 0.6, 0.8)]
        assert needed == cells


def test_the_table_of_oiv() -> None:
    rows = re.findall(r"^\| (\d+) % vol \| (.+) \|$", PAGE, re.MULTILINE)
    assert len(rows) == 5
    for alcohol, cells in rows:
        assert [f"{oiv_pk(float(alcohol), at).value:.3f}" for at in (20, 25, 30, 35, 40)] == cells.split(" | ")


def test_the_calorimetric_shifts() -> None:
    found = re.search(r"^\| wine at \| (.+) \|$\n.*\n^\| shift of the pK \| (.+) \|$", PAGE, re.MULTILINE)
    assert found is not None
    celsius = [float(cell.removesuffix(" °C")) for cell in found[1].split(" | ")]
    assert [f"{calorimetric_shift(at):.3f}" for at in celsius] == found[2].split(" | ")


def test_the_targets() -> None:
    rows = re.findall(r"^\| ([a-zé, ]+) \| ([0-9.]+) to ([0-9.]+) \| (\d+) \|", PAGE, re.MULTILINE)
    told = {wine: tuple(map(float, numbers)) for wine, *numbers in rows}
    assert told == {
        "white, rosé in bulk": _target(Style.WHITE, Stage.BULK),
        "white, rosé at bottling": _target(Style.ROSE, Stage.BOTTLING),
        "red, after malolactic": _target(Style.RED, Stage.BULK),
        "sweet": _target(Style.SWEET, Stage.BULK),
        "unknown": _target(None, Stage.BULK),
    }


def _target(style: Style | None, stage: Stage) -> tuple[float, float, float]:
    target = style_target(style, stage)
    return target.molecular_low_mg_l, target.molecular_high_mg_l, target.free_low_mg_l


def test_the_usual_losses() -> None:
    told = dict(re.findall(r"^  \| (barrel|tank|carboy|keg|bottle) \| ([0-9.]+) \|", PAGE, re.MULTILINE))
    assert {kind: float(mg_l) for kind, mg_l in told.items()} == {
        kind: loss.mg_l_per_30_days for kind, loss in LOSS_BY_KIND.items()
    }


def test_the_legal_limits() -> None:
    told: list[tuple[str, str, float, float]] = []
    rules = ""
    for name, sugar, red, white in re.findall(
        r"^\| (?:`([a-z-]+)`: [^|]+)?\|? ?([^|]+) \| (\d+) \| (\d+) \|$",
        PAGE.partition("## Legal limits")[2],
        re.MULTILINE,
    ):
        rules = name or rules
        told.append((rules, sugar.strip(" |"), float(red), float(white)))
    in_code = []
    for key, rule_set in RULE_SETS.items():
        for limit in rule_set.limit:
            if limit.kind == "still" and "red" in limit.colours:
                white = [
                    other.total_mg_l
                    for other in rule_set.limit
                    if other.kind == "still" and "white" in other.colours and other.sugar == limit.sugar
                ]
                in_code.append((key, limit.sugar.words or "any", limit.total_mg_l, *white))
    assert [(key, red, white) for key, _, red, white in told] == [(key, red, white) for key, _, red, white in in_code]
    assert [row[1].endswith(words[1]) for row, words in zip(told, in_code, strict=True)] == [True] * len(told)


def test_the_day_of_the_rule_sets() -> None:
    assert {rules.as_of.isoformat() for rules in RULE_SETS.values()} == set(re.findall(r"2026-\d\d-\d\d", PAGE))
