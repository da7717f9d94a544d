"""docs/chemistry.md: its tables say what the arithmetic says."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

import pytest

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
        assert float(kio3_g_l) / 214.00 == pytest.approx(strength.number, rel=2e-4)  # M(KIO3) = 214.00 g/mol
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
