"""Values become numbers that give the values back, short where that is possible."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from ingest.exchange.numbers import imported_quality, numbers_behind
from ingest.reading import Quality, Reason, Scale, quality_class, quality_code, quality_reason
from ingest.store.readings.block import Arrays
from ingest.store.readings.scaling import scaled

PSI = Scale(0, 6.894757293168361, 0.0, "psi")
FAHRENHEIT = Scale(1000, 5.0 / 9.0, -160.0 / 9.0, "degF")


def _back(at_ms: list[int], values: list[float], dated: list[Scale]) -> tuple[list[float], list[float]]:
    times, wanted = np.array(at_ms, np.int64), np.array(values)
    numbers = numbers_behind(times, wanted, dated)
    again = scaled(Arrays(times, numbers, np.zeros(len(times), np.uint16)), dated).number
    return numbers.tolist(), again.tolist()


@given(st.integers(-99_999, 99_999), st.integers(0, 3), st.sampled_from([0, 999, 1000, 5000]))
def test_what_an_instrument_printed_is_found_again(digits: int, decimals: int, at_ms: int) -> None:
    number = digits / 10**decimals
    dated = [PSI, FAHRENHEIT]
    scale = FAHRENHEIT if at_ms >= 1000 else PSI
    value = scale.gain * number + scale.offset
    numbers, again = _back([at_ms], [value], dated)
    assert numbers == [number]
    assert again == [value]


@given(st.floats(-1e6, 1e6))
def test_any_value_comes_back_to_a_rounding(value: float) -> None:
    _, again = _back([0, 2000], [value, value], [PSI, FAHRENHEIT])
    assert np.allclose(again, value, rtol=1e-14, atol=1e-13)


def test_without_a_scale_the_value_is_the_number() -> None:
    assert _back([0], [5.5], [])[0] == [5.5]


def test_qualities_tell_that_they_were_imported_and_what_cannot_be() -> None:
    made = imported_quality(np.array([0, 1, 2, 0], np.uint8), np.array([5.0, 5.0, 5.0, -127.0]), -30.0, 60.0)
    assert [quality_class(code) for code in made.tolist()] == [
        Quality.GOOD,
        Quality.UNCERTAIN,
        Quality.BAD,
        Quality.BAD,
    ]
    assert [quality_reason(code) for code in made.tolist()[:3]] == [Reason.IMPORTED] * 3
    assert made[3] == quality_code(Quality.BAD, Reason.OUT_OF_RANGE)
