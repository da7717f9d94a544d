"""Settled blocks: every bit comes back, and ordinary instruments' days come out small."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays_of

from ingest.store.readings.block import Arrays, BlockUnreadable, pack, unpack


def same(first: Arrays, second: Arrays) -> bool:
    return (
        np.array_equal(first.at_ms, second.at_ms)
        and first.number.tobytes() == second.number.tobytes()
        and np.array_equal(first.quality, second.quality)
    )


def readings(times: list[int], numbers: list[float], qualities: list[int] | None = None) -> Arrays:
    return Arrays(
        np.array(times, np.int64),
        np.array(numbers, np.float64),
        np.array(qualities if qualities is not None else [0] * len(times), np.uint16),
    )


_TIMES = st.lists(st.integers(-(2**40), 2**45), unique=True, max_size=60).map(sorted)
_DOUBLES = st.floats(allow_nan=True, allow_infinity=True, width=64)
_DECIMALS = st.decimals(-9999, 9999, places=3, allow_nan=False).map(float)


@given(st.data(), _TIMES, st.sampled_from([_DOUBLES, _DECIMALS]))
def test_every_bit_comes_back(data: st.DataObject, times: list[int], numbers_of: st.SearchStrategy[float]) -> None:
    count = len(times)
    numbers = data.draw(st.lists(numbers_of, min_size=count, max_size=count))
    qualities = data.draw(st.lists(st.integers(0, 511), min_size=count, max_size=count))
    given_readings = readings(times, numbers, qualities)
    assert same(unpack(pack(given_readings)), given_readings)


@given(arrays_of.arrays(np.uint64, st.integers(1, 200)))
def test_any_pattern_of_bits_comes_back(bits: npt.NDArray[np.uint64]) -> None:
    numbers = bits.view(np.float64)
    given_readings = Arrays(np.arange(len(numbers), dtype=np.int64), numbers, np.zeros(len(numbers), np.uint16))
    assert unpack(pack(given_readings)).number.tobytes() == numbers.tobytes()


@pytest.mark.parametrize("number", [0.0, -0.0, 1e300, 5e-324, 0.1, 1 / 3, float(2**53), -(2.0**53) - 2, 12.345678901])
def test_awkward_numbers_come_back(number: float) -> None:
    given_readings = readings([1, 2, 3], [number, 12.5, number])
    assert same(unpack(pack(given_readings)), given_readings)


def test_an_empty_block_and_one_of_a_single_reading() -> None:
    assert same(unpack(pack(Arrays.empty())), Arrays.empty())
    assert same(unpack(pack(readings([1_790_000_000_123], [12.5], [5]))), readings([1_790_000_000_123], [12.5], [5]))


def test_a_day_of_an_ordinary_probe_takes_less_than_two_bytes_a_reading() -> None:
    """10 s cadence, time jitter of 50 ms, noise of 0.02 at a resolution of 0.01: what a small pressure probe sends.
    tests/benchmarks/settled.py measures it over a year."""
    chance = np.random.default_rng(1)
    count = 8640
    times = 1_790_000_000_000 + np.arange(count) * 10_000 + np.rint(chance.normal(0, 50, count)).astype(np.int64)
    numbers = np.round(55 + np.sin(np.arange(count) / 1375) + chance.normal(0, 0.02, count), 2)
    day = Arrays(times, numbers, np.zeros(count, np.uint16))
    packed = pack(day)
    assert same(unpack(packed), day)
    assert len(packed) / count < 2.0


@given(st.binary(max_size=200))
def test_bytes_that_are_no_block_are_told(data: bytes) -> None:
    try:
        unpack(data)
    except BlockUnreadable:
        return


def test_a_block_with_a_flipped_byte_or_cut_short_is_told_or_differs_nowhere_unnoticed() -> None:
    day = readings(list(range(0, 100_000, 1000)), [12.5 + index / 10 for index in range(100)])
    packed = pack(day)
    for cut in range(1, len(packed)):
        with pytest.raises(BlockUnreadable):
            unpack(packed[:-cut])
    with pytest.raises(BlockUnreadable, match="form 9"):
        unpack(b"\x09" + packed[1:])
