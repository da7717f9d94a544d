"""SenML records on their way to the disk: times counted from the arrival, and repeats."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from samples import NOW, a_binding, a_sample

from ingest.cellar import Dimension
from ingest.probes.decode import Decoder
from ingest.sources.sample import Sample
from ingest.store import Store, create_or_open
from ingest.writing.writer import Writer

GAS = a_binding(address="box", form="senml", name="gas", dimension=Dimension.PRESSURE, unit="kPa")
HISTORY = '[{"bn":"gas","bu":"kPa","t":-60,"v":1},{"t":-30,"v":2},{"v":3}]'
DATED = f'[{{"n":"gas","u":"kPa","t":{NOW // 1000},"v":4}}]'


@dataclass(frozen=True)
class Desk:
    store: Store
    writer: Writer

    def rows(self, *samples: Sample) -> list[tuple[int, float]]:
        for sample in samples:
            self.writer.offer(sample)
        assert self.writer.turn(NOW)
        return self.store.connection.execute("SELECT at - ?, number FROM fresh ORDER BY id", (NOW,)).fetchall()


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    store = create_or_open(tmp_path / "cellar.db", NOW)
    yield Desk(store, Writer(store, Decoder([GAS]), lambda _: None, lambda: 1000))
    store.close()


def test_what_a_pack_tells_of_the_past_is_stored_with_its_times(desk: Desk) -> None:
    assert desk.rows(a_sample(HISTORY, "box", packet=1)) == [(-60_000, 1.0), (-30_000, 2.0), (0, 3.0)]


def test_a_repeat_is_stored_once_although_its_times_now_count_from_later(desk: Desk) -> None:
    first = a_sample(HISTORY, "box", packet=1)
    again = a_sample(HISTORY, "box", packet=1, repeat=True, arrival_ms=NOW + 5000)
    assert len(desk.rows(first, again)) == 3
    assert len(desk.rows(again)) == 3
    assert desk.writer.counters.repeats == 6
    # The same words once more, but not as a repeat: newer readings.
    assert len(desk.rows(a_sample(HISTORY, "box", packet=1, arrival_ms=NOW + 90_000))) == 6


def test_a_repeat_with_times_of_its_own_needs_no_packet_id(desk: Desk) -> None:
    assert desk.rows(a_sample(DATED, "box", packet=1), a_sample(DATED, "box", packet=9, repeat=True)) == [(0, 4.0)]
