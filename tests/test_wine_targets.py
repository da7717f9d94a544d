"""Targets of SO2 by style and stage."""

from __future__ import annotations

import pytest

from alerts.wine.molecular import SIMPLE_PK, MolecularModel, free_needed
from alerts.wine.targets import SENSORY_MOLECULAR_MG_L, Stage, most_free_mg_l, style_target
from ingest.journal.titration import Style

STYLES = (None, *Style)


@pytest.mark.parametrize("stage", Stage)
@pytest.mark.parametrize("style", STYLES)
def test_every_style_and_stage_has_a_target_of_the_trade_s_model(style: Style | None, stage: Stage) -> None:
    target = style_target(style, stage)
    assert 0.0 < target.molecular_low_mg_l <= target.molecular_high_mg_l < SENSORY_MOLECULAR_MG_L
    assert 0.0 < target.free_low_mg_l < most_free_mg_l(style)
    assert (target.pk.model, target.pk.value) == (MolecularModel.SIMPLE, SIMPLE_PK)
    assert target.source


@pytest.mark.parametrize(
    ("style", "stage", "low", "high"),
    [
        (Style.WHITE, Stage.BULK, 0.5, 0.8),  # Practical Winery & Vineyard 2009
        (Style.WHITE, Stage.BOTTLING, 0.7, 0.8),
        (Style.RED, Stage.BULK, 0.4, 0.6),  # a laboratory handout after University of California 1982
        (Style.SWEET, Stage.BULK, 0.8, 1.5),  # Bordeaux practice
        (None, Stage.BULK, 0.5, 0.8),  # Cornell extension
    ],
)
def test_published_targets(style: Style | None, stage: Stage, low: float, high: float) -> None:
    target = style_target(style, stage)
    assert (target.molecular_low_mg_l, target.molecular_high_mg_l) == (low, high)


def test_at_high_ph_the_target_asks_for_more_than_the_nose_takes() -> None:
    """Between pH 3.5 and 3.7 (0.8 mg/L: 40 and 63 mg/L free) the ceiling of 50 mg/L is passed."""
    high = style_target(Style.WHITE).molecular_high_mg_l
    needed = {ph: free_needed(high, ph, style_target(Style.WHITE).pk).mg_l for ph in (3.5, 3.7)}
    assert needed[3.5] < most_free_mg_l(Style.WHITE) < needed[3.7]
