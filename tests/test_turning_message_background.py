"""What stands in a message beside the alarm: what was judged an hour and a day before."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from a_cellar_on_disk import NOW, CellarOnDisk

from alerts.message import Ago
from alerts.turning.message_background import StoredBackground, judged_ago
from ingest.judgement import Judgement
from ingest.store.judgements import keep_judgements

HOUR_MS = 3_600_000


@pytest.fixture
def on_disk(tmp_path: Path) -> Iterator[CellarOnDisk]:
    made = CellarOnDisk(tmp_path)
    yield made
    made.store.close()


def judge(cellar: CellarOnDisk, hours_ago: float, value: float | None, name: str = "leak_rate", lot: str = "") -> None:
    judgement = Judgement("K1", name, NOW - round(hours_ago * HOUR_MS), value, lot=lot)
    with cellar.store.write() as connection:
        keep_judgements(connection, "test", [judgement])


def test_the_judgements_closest_to_an_hour_and_a_day_ago_are_given(on_disk: CellarOnDisk) -> None:
    for hours_ago, value in ((40, 9.0), (24.2, 0.1), (22.9, 0.2), (3, 7.0), (1.4, 0.3), (0, 0.5)):
        judge(on_disk, hours_ago, value)
    assert judged_ago(on_disk.store, "K1/leak_rate", NOW) == [Ago("an hour ago", 0.3), Ago("a day ago", 0.1)]
    background = StoredBackground(on_disk.cellar, on_disk.store, on_disk.series)
    assert background.earlier("K1/leak_rate", NOW) == judged_ago(on_disk.store, "K1/leak_rate", NOW)


def test_of_wine_it_is_what_was_judged_of_the_lot_that_lies_there(on_disk: CellarOnDisk) -> None:
    judge(on_disk, 24, 25.0, "free_so2", "old")
    judge(on_disk, 1, 21.0, "free_so2", "ries")
    judge(on_disk, 0, 20.0, "free_so2", "ries")
    assert judged_ago(on_disk.store, "K1/free_so2", NOW) == [Ago("an hour ago", 21.0)]


def test_what_was_not_judged_then_is_left_out(on_disk: CellarOnDisk) -> None:
    assert judged_ago(on_disk.store, "K1/leak_rate", NOW) == []
    judge(on_disk, 1, None)
    judge(on_disk, 2, 3.0)
    assert judged_ago(on_disk.store, "A1/titration", NOW) == []
    assert judged_ago(on_disk.store, "K1/leak_rate", NOW) == []
