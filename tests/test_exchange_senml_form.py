"""SenML packs that leeside writes are read back by leeside's own reader as the same readings."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.cellar import QUANTITIES
from ingest.exchange.senml_form import RECORDS_A_PACK, UNITS, senml_packs
from ingest.probes.record_unit import value_in
from ingest.reading import Quality, quality_code
from ingest.sources.senml import decode_senml

NOW = 1_795_631_400_000
BAD = quality_code(Quality.BAD)


def _read(packs: list[str], quantity: str) -> list[tuple[str, int | None, float]]:
    row = QUANTITIES[quantity]
    return [
        (record.name, record.at_ms, value_in(record, row.dimension, row.unit, declared=False))
        for pack in packs
        for record in decode_senml(pack.encode(), NOW)
    ]


@pytest.mark.parametrize("quantity", UNITS)
@given(data=st.data())
def test_there_and_back(quantity: str, data: st.DataObject) -> None:
    times = sorted(data.draw(st.sets(st.integers(NOW - 10**10, NOW), max_size=20)))
    values = data.draw(st.lists(st.floats(-1e4, 1e4), min_size=len(times), max_size=len(times)))
    packs = list(senml_packs("k1", quantity, [(at, value, 0) for at, value in zip(times, values, strict=True)]))
    back = _read(packs, quantity)
    assert [(name, at) for name, at, _ in back] == [("k1", at) for at in times]
    assert [value for _, _, value in back] == pytest.approx(values, rel=1e-13, abs=1e-300)


def test_many_readings_make_packs_that_are_not_too_large_and_bad_ones_stay_out() -> None:
    readings = [
        (NOW - 10**9 + step * 10_007, -1234.567890123 + step / 3, BAD if step % 3 == 0 else 0) for step in range(6000)
    ]
    packs = list(senml_packs("k1-temperature", "temperature", readings))
    assert len(packs) == 4000 // RECORDS_A_PACK
    assert max(len(pack) for pack in packs) < 64 * 1024
    assert [row[1:] for row in _read(packs, "temperature")] == [row[:2] for row in readings if row[2] != BAD]


def test_a_pack_as_it_is_written() -> None:
    pack = next(senml_packs("k1", "pressure", [(NOW, 55.1, 0), (NOW + 10_050, 55.2, 1)]))
    assert json.loads(pack) == [{"bn": "k1", "bt": 1795631400.0, "bu": "Pa", "v": 55100.0}, {"t": 10.05, "v": 55200.0}]
    assert pack.endswith("]\n")
