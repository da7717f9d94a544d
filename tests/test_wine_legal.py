"""Legal limits of total SO2: each rule set at its bounds, and totals too near to a limit to say."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.errors import OutOfRange
from alerts.wine.legal import RULE_SETS, WineKind, legal_limit, legal_verdict
from ingest.journal.titration import Style

STYLES = st.sampled_from([None, *Style])


@pytest.mark.parametrize(
    ("rules", "style", "sugar", "total"),
    [
        # Regulation (EU) 2019/934, annex I part B: 5 g/L of glucose + fructose raise the limit.
        ("eu", Style.RED, 4.99, 150),
        ("eu", Style.RED, 5.0, 200),
        ("eu", Style.WHITE, 4.99, 200),
        ("eu", Style.WHITE, 5.0, 250),
        ("eu", Style.ROSE, 4.99, 200),
        ("eu", Style.ROSE, 5.0, 250),
        # 203/2012: below 2 g/L; all others 30 less than usual.
        ("eu-organic", Style.RED, 1.99, 100),
        ("eu-organic", Style.RED, 2.0, 120),
        ("eu-organic", Style.RED, 4.99, 120),
        ("eu-organic", Style.RED, 5.0, 170),
        ("eu-organic", Style.WHITE, 1.99, 150),
        ("eu-organic", Style.WHITE, 2.0, 170),
        ("eu-organic", Style.ROSE, 5.0, 220),
        # OIV, annex C: 4 g/L of reducing substances still is dry.
        ("oiv", Style.RED, 4.0, 150),
        ("oiv", Style.RED, 4.01, 300),
        ("oiv", Style.WHITE, 4.0, 200),
        ("oiv", Style.WHITE, 4.01, 300),
        # 27 CFR 4.22(b)(1)
        ("us", Style.RED, 0.0, 350),
        ("us", Style.WHITE, 100.0, 350),
    ],
)
def test_each_bound_of_sugar(rules: str, style: Style, sugar: float, total: float) -> None:
    found = legal_limit(RULE_SETS[rules], style, sugar)
    assert found.total_mg_l == total
    assert found.assumed == ()


@pytest.mark.parametrize(
    ("kind", "sugar", "total"),
    [("quality sparkling", 0.0, 185), ("other sparkling", 0.0, 235), ("liqueur", 4.9, 150), ("liqueur", 5.0, 200)],
)
def test_other_kinds_in_the_european_union(kind: WineKind, sugar: float, total: float) -> None:
    assert legal_limit(RULE_SETS["eu"], Style.WHITE, sugar, kind).total_mg_l == total


def test_what_is_not_known_lowers_the_limit_and_is_said() -> None:
    eu = RULE_SETS["eu"]
    dry, sweet, unknown = legal_limit(eu, Style.WHITE), legal_limit(eu, Style.SWEET), legal_limit(eu, None)
    assert (dry.total_mg_l, dry.assumed) == (200, ("the sugar is not known: taken as dry",))
    assert (sweet.total_mg_l, sweet.assumed[0]) == (200, "the sugar is not known: taken as sweet")
    assert (unknown.total_mg_l, len(unknown.assumed)) == (150, 2)
    assert "colour is not known" in sweet.assumed[1]
    assert legal_limit(RULE_SETS["us"], None).assumed == ()
    assert dry.wine == "still rosé or white wine, glucose + fructose below 5 g/L"


@given(style=STYLES, sugar=st.one_of(st.none(), st.floats(0.0, 1000.0)), rules=st.sampled_from(sorted(RULE_SETS)))
def test_every_still_wine_has_exactly_one_limit(style: Style | None, sugar: float | None, rules: str) -> None:
    found = legal_limit(RULE_SETS[rules], style, sugar)
    assert 100 <= found.total_mg_l <= 350
    if style in (Style.RED, Style.WHITE, Style.ROSE) and sugar is not None:
        of_it = [
            limit
            for limit in RULE_SETS[rules].limit
            if limit.kind == "still" and style.value in limit.colours and sugar in limit.sugar
        ]
        assert len(of_it) == 1


@given(sugar=st.one_of(st.none(), st.floats(0.0, 1000.0)), rules=st.sampled_from(sorted(RULE_SETS)))
def test_what_is_not_known_never_raises_a_limit(sugar: float | None, rules: str) -> None:
    lowest = min(legal_limit(RULE_SETS[rules], style, sugar).total_mg_l for style in (Style.RED, Style.WHITE))
    assert legal_limit(RULE_SETS[rules], None, sugar).total_mg_l == lowest


def test_each_rule_set_has_its_day_and_its_source() -> None:
    assert set(RULE_SETS) == {"eu", "eu-organic", "oiv", "us"}
    for rules in RULE_SETS.values():
        assert rules.as_of >= date(2026, 11, 25)
        assert rules.source


@pytest.mark.parametrize(
    ("rules", "at_ten", "above_ten"), [("eu", False, True), ("us", True, True), ("oiv", None, None)]
)
def test_the_label_names_sulfites(rules: str, at_ten: bool | None, above_ten: bool | None) -> None:
    """EU: more than 10 mg/L (Regulation 1169/2011); US: 10 ppm or more (27 CFR 4.32(e)). At exactly 10 they differ."""
    assert RULE_SETS[rules].must_declare(10.0) is at_ten
    assert RULE_SETS[rules].must_declare(10.1) is above_ten
    assert not RULE_SETS[rules].must_declare(9.9)


@pytest.mark.parametrize(
    ("total", "u", "above", "told_apart"),
    [
        (150.0, 0.0, False, False),
        (150.1, 0.0, True, True),
        (149.9, 0.0, False, True),
        # Total by aeration: R = 15 mg/L (Regulation (EEC) 2676/90), u = 15 / 2.8.
        (158.0, 15.0 / 2.8, True, False),
        (164.9, 15.0 / 2.8, True, False),
        (166.0, 15.0 / 2.8, True, True),
        (140.0, 15.0 / 2.8, False, False),
        (134.0, 15.0 / 2.8, False, True),
    ],
)
def test_a_total_against_a_limit_of_150(total: float, u: float, above: bool, told_apart: bool) -> None:
    verdict = legal_verdict(total, u, legal_limit(RULE_SETS["eu"], Style.RED, 1.0))
    assert (verdict.above, verdict.told_apart) == (above, told_apart)
    assert ("cannot be told apart from the limit" in verdict.words) is not told_apart
    assert ("mg/L total SO2 is above" in verdict.words) is above


def test_refusals() -> None:
    with pytest.raises(OutOfRange, match="sugar -1 g/L is out of range"):
        legal_limit(RULE_SETS["eu"], Style.RED, -1.0)
    with pytest.raises(OutOfRange, match=r"oiv \(OIV\) has no limit for liqueur wine"):
        legal_limit(RULE_SETS["oiv"], Style.RED, 1.0, "liqueur")
    with pytest.raises(OutOfRange, match="total SO2 nan"):
        legal_verdict(float("nan"), 5.0, legal_limit(RULE_SETS["eu"], Style.RED, 1.0))
