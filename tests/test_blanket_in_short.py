"""The gas over a wine at an earlier hour, of which only the history of judgements is left."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_gas_cellar import BEGIN_MS, DAY, HOUR, GasCellar
from cellar_text import carboy, keg

from alerts.view.places.vessel_card import vessel_cards
from ingest.judgement import Judgement
from ingest.store.judgements import keep_judgements

COMPENSATED = "compensated_pressure"


@pytest.mark.parametrize(
    ("vessel", "kpa", "finding", "without_blanket"),
    [
        ("C1", None, "sound", True),
        ("C1", 3.0, "gas rising", True),
        # The journal named a gas then.
        ("C1", 12.0, "sound", False),
        ("K1", None, "cannot tell yet", False),
        ("K1", 50.0, "sound", False),
    ],
)
def test_an_earlier_hour_of_a_vessel_without_a_blanket_is_not_said_to_have_one(
    tmp_path: Path, vessel: str, kpa: float | None, finding: str, without_blanket: bool
) -> None:
    cellar = GasCellar(tmp_path, carboy("C1"), usual=(keg("K1"),), filled=False)
    for at in (HOUR, DAY):
        row = Judgement(vessel, COMPENSATED, BEGIN_MS + at, kpa, finding=finding)
        with cellar.store.write() as connection:
            keep_judgements(connection, "gas", [row])
    with cellar.store.read():
        (card,) = vessel_cards(cellar.cellar, cellar.store, BEGIN_MS + HOUR + 1000, [vessel])
    assert card.blanket is not None
    assert card.blanket.without_blanket is without_blanket
    assert card.blanket.finding == finding
