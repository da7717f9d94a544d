"""The arithmetic of SO2 on every red wine of the open Wine Quality data."""

from __future__ import annotations

from statistics import median

import pytest
from open_wines import OpenWine, open_wines

from alerts.wine.dose import dose_between
from alerts.wine.dose_outlook import BeforeDose, usual_u_so2
from alerts.wine.dose_plan import plan_dose
from alerts.wine.legal import RULE_SETS, legal_limit
from alerts.wine.molecular import TRADE_PK, Pk, free_needed, molecular_so2, oiv_pk
from ingest.journal.titration import Style


def test_these_are_the_wines() -> None:
    """1,599 rows; median share of free SO2 in total 0.375, as counted from the original file."""
    wines = open_wines()
    assert len(wines) == 1599
    assert median(wine.free_mg_l / wine.total_mg_l for wine in wines) == pytest.approx(0.375, abs=0.005)


def _models(wine: OpenWine) -> list[Pk]:
    return [TRADE_PK, *(oiv_pk(wine.alcohol_percent_vol, celsius) for celsius in (-5.0, 12.0, 20.0, 27.0, 40.0))]


def test_molecular_is_part_of_free_and_free_of_total_in_both_models() -> None:
    for wine in open_wines():
        for pk in _models(wine):
            found = molecular_so2(wine.free_mg_l, wine.ph, pk, u_free_mg_l=usual_u_so2(wine.free_mg_l), u_ph=0.05)
            assert 0.0 <= found.mg_l <= wine.free_mg_l <= wine.total_mg_l, wine
            assert 0.0 < found.u_mg_l < wine.free_mg_l + 1.5, wine
            assert free_needed(max(found.mg_l, 0.01), wine.ph, pk).mg_l == pytest.approx(
                wine.free_mg_l if found.mg_l >= 0.01 else 0.01 / found.fraction
            )


def test_a_dose_to_the_trade_s_target_is_never_more_than_nose_and_law_allow() -> None:
    dosed = 0
    for wine in open_wines():
        target = free_needed(0.5, wine.ph, TRADE_PK).mg_l
        if target < wine.free_mg_l:
            continue
        before = BeforeDose(
            free_mg_l=wine.free_mg_l, u_free_mg_l=1.5, total_mg_l=wine.total_mg_l, ph=wine.ph, pk=TRADE_PK
        )
        legal = legal_limit(RULE_SETS["eu"], Style.RED, wine.sugar_g_l)
        plan = plan_dose(before, dose_between(19.0, wine.free_mg_l, target), target, style=Style.RED, legal=legal)
        raised = plan.advised.raise_total_mg_l
        assert wine.free_mg_l + raised <= max(50.0, wine.free_mg_l) + 1e-6, wine
        assert wine.total_mg_l + raised <= max(legal.total_mg_l, wine.total_mg_l) + 1e-6, wine
        dosed += raised > 0.0
    assert dosed > 800
