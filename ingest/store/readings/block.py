"""A day of one series packed into bytes, without loss to the last bit. Pure.

Times and decimal numbers become whole numbers, what a simple prediction misses of them is kept, and zlib squeezes that.

* Times: against an even grid, or against the step before; whichever comes out smaller. Probes with a clock of their own
  scatter around a grid, those without one walk away from it.
* Numbers: instruments print decimals. If one power of ten makes whole numbers of all of a day's numbers, and dividing
  gives each back bit for bit, the whole numbers are kept; else the eight bytes of each number are.
* Qualities: as they are; they hardly ever change.

Layout, version 1 (little endian): version, row count (4 bytes), first time (8 bytes), then per stream one byte of
method and four bytes of length, and the streams. A prediction's misses are zigzag-coded and stored by planes of their
bytes, low bytes first, because each plane compresses best by itself.
"""

from __future__ import annotations

__all__ = ["Arrays", "BlockUnreadable", "pack", "unpack"]

import struct
import zlib
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from ingest.errors import StoreError

_VERSION: Final = 1
_HEAD: Final = struct.Struct("<BIq")
_STREAM: Final = struct.Struct("<BI")
_LEVEL: Final = 6

# The most digits after the point that are tried; 10^9 times a number still has to fit a double's 53 bits.
_MOST_DIGITS: Final = 9
_EXACT: Final = float(2**53)

_GRID, _STEP, _STEP_OF_STEP = 0, 1, 2
_PLAIN_DOUBLES: Final = 100


class BlockUnreadable(StoreError):
    """Bytes that are not a block of this version, or are damaged."""


class Arrays(NamedTuple):
    """Readings in order of time: at_ms (UTC ms, int64), number or value (float64), quality (uint16)."""

    at_ms: npt.NDArray[np.int64]
    number: npt.NDArray[np.float64]
    quality: npt.NDArray[np.uint16]

    @classmethod
    def empty(cls) -> Arrays:
        """No readings."""
        return cls(np.empty(0, np.int64), np.empty(0, np.float64), np.empty(0, np.uint16))

    @classmethod
    def of(cls, rows: Sequence[tuple[int, float, int]]) -> Arrays:
        """Rows of (at_ms, number, quality) as columns."""
        if not rows:
            return cls.empty()
        times, numbers, qualities = zip(*rows, strict=True)
        return cls(np.array(times, np.int64), np.array(numbers, np.float64), np.array(qualities, np.uint16))

    @classmethod
    def joined(cls, pieces: Sequence[Arrays]) -> Arrays:
        """Pieces one behind the other."""
        return cls._make(map(np.concatenate, zip(*pieces, strict=True))) if pieces else cls.empty()

    def part(self, where: slice | npt.NDArray[np.intp] | npt.NDArray[np.bool_]) -> Arrays:
        """The readings in a slice, at some indices, or where a mask is true."""
        return Arrays._make(column[where] for column in self)


def pack(readings: Arrays) -> bytes:
    """Readings as bytes; times must strictly rise. Any finite or infinite double, and NaN, come back bit for bit."""
    count = len(readings.at_ms)
    first = int(readings.at_ms[0]) if count else 0
    streams = [_pack_times(readings.at_ms), _pack_numbers(readings.number), _pack_quality(readings.quality)]
    body = b"".join(_STREAM.pack(method, len(data)) + data for method, data in streams)
    return _HEAD.pack(_VERSION, count, first) + body


def unpack(data: bytes) -> Arrays:
    """The readings again. Raises BlockUnreadable."""
    try:
        version, count, first = _HEAD.unpack_from(data)
        if version != _VERSION:
            raise BlockUnreadable(f"a settled block of form {version}; this leeside knows form {_VERSION}")
        streams: list[tuple[int, bytes]] = []
        place = _HEAD.size
        for _ in range(3):
            method, length = _STREAM.unpack_from(data, place)
            place += _STREAM.size
            streams.append((method, zlib.decompress(data[place : place + length])))
            place += length
        return Arrays(
            _unpack_times(*streams[0], count, first),
            _unpack_numbers(*streams[1], count),
            np.frombuffer(streams[2][1], "<u2", count).astype(np.uint16),
        )
    except (struct.error, zlib.error, ValueError) as error:
        raise BlockUnreadable(f"a settled block is damaged: {error}") from error


# ---- times ---------------------------------------------------------------------------------------------------------


def _pack_times(times: npt.NDArray[np.int64]) -> tuple[int, bytes]:
    if len(times) < 2:
        return _STEP, _squeeze(np.empty(0, np.int64))
    steps = np.diff(times)
    step = int(np.median(steps))
    grid = times - (times[0] + step * np.arange(len(times), dtype=np.int64))
    # The grid's step goes in front of its misses.
    candidates = [
        (_GRID, _squeeze(np.concatenate(([step], grid[1:])))),
        (_STEP, _squeeze(np.concatenate(([step], steps - step)))),
    ]
    return min(candidates, key=lambda candidate: len(candidate[1]))


def _unpack_times(method: int, data: bytes, count: int, first: int) -> npt.NDArray[np.int64]:
    if count == 0:
        return np.empty(0, np.int64)
    if count == 1:
        return np.array([first], np.int64)
    stored = _unsqueeze(data, count)
    step = stored[0]
    if method == _GRID:
        misses = np.concatenate((np.zeros(1, np.int64), stored[1:]))
        return np.asarray(first + step * np.arange(count, dtype=np.int64) + misses)
    return np.asarray(np.concatenate(([first], first + np.cumsum(stored[1:] + step))))


# ---- numbers -------------------------------------------------------------------------------------------------------


def _pack_numbers(numbers: npt.NDArray[np.float64]) -> tuple[int, bytes]:
    whole = _as_whole(numbers)
    if whole is None:
        # By planes of bytes: sign and exponent hardly change from reading to reading.
        planes = numbers.astype("<f8").view(np.uint8).reshape(-1, 8).T
        return _PLAIN_DOUBLES, _deflate(planes.tobytes())
    digits, values = whole
    middle = int(np.median(values)) if len(values) else 0
    candidates = [(_GRID, _squeeze(np.concatenate(([middle], values - middle))))]
    if len(values) > 1:
        steps = np.diff(values)
        candidates.append((_STEP, _squeeze(np.concatenate((values[:1], steps)))))
        candidates.append((_STEP_OF_STEP, _squeeze(np.concatenate((values[:1], steps[:1], np.diff(steps))))))
    method, data = min(candidates, key=lambda candidate: len(candidate[1]))
    return digits * 3 + method, data


def _as_whole(numbers: npt.NDArray[np.float64]) -> tuple[int, npt.NDArray[np.int64]] | None:
    """The fewest digits after the point that hold all numbers exactly, and the numbers times that power of ten."""
    if not np.all(np.isfinite(numbers)) or np.any((numbers == 0) & np.signbit(numbers)):
        return None
    for digits in range(_MOST_DIGITS + 1):
        power = float(10**digits)
        scaled = np.rint(numbers * power)
        if np.any(np.abs(scaled) >= _EXACT):
            return None
        if np.array_equal(scaled / power, numbers):
            return digits, scaled.astype(np.int64)
    return None


def _unpack_numbers(method: int, data: bytes, count: int) -> npt.NDArray[np.float64]:
    if method == _PLAIN_DOUBLES:
        planes = np.frombuffer(data, np.uint8, 8 * count).reshape(8, count)
        return np.ascontiguousarray(planes.T).reshape(-1).view("<f8").astype(np.float64)
    digits, prediction = divmod(method, 3)
    if prediction == _GRID:
        stored = _unsqueeze(data, count + 1)
        values = stored[1:] + stored[0]
    else:
        values = _unsqueeze(data, count)
        for level in range(prediction, 0, -1):
            values = np.concatenate((values[: level - 1], np.cumsum(values[level - 1 :])))
    return np.asarray(values.astype(np.float64) / float(10**digits))


# ---- quality -------------------------------------------------------------------------------------------------------


def _pack_quality(qualities: npt.NDArray[np.uint16]) -> tuple[int, bytes]:
    return 0, _deflate(qualities.astype("<u2").tobytes())


# ---- whole numbers by planes of bytes ------------------------------------------------------------------------------


def _deflate(raw: bytes) -> bytes:
    """The smallest of zlib's strategies. In plain noise a repeated run of bytes is chance, and to point back at it
    costs more than it saves; there Huffman's codes alone do best."""
    tries = []
    for strategy in (zlib.Z_DEFAULT_STRATEGY, zlib.Z_HUFFMAN_ONLY, zlib.Z_RLE):
        squeezer = zlib.compressobj(_LEVEL, strategy=strategy)
        tries.append(squeezer.compress(raw) + squeezer.flush())
    return min(tries, key=len)


def _squeeze(values: npt.NDArray[np.int64]) -> bytes:
    zigzag = ((values << 1) ^ (values >> 63)).view(np.uint64)
    widest = int(zigzag.max()) if len(zigzag) else 0
    planes = max(1, (widest.bit_length() + 7) // 8)
    raw = zigzag.astype("<u8").view(np.uint8).reshape(-1, 8)[:, :planes].T
    return _deflate(bytes([planes]) + raw.tobytes())


def _unsqueeze(raw: bytes, count: int) -> npt.NDArray[np.int64]:
    planes = raw[0]
    if len(raw) != 1 + planes * count:
        raise BlockUnreadable(f"a settled block is damaged: {len(raw) - 1} bytes for {count} values of {planes}")
    whole = np.zeros((count, 8), np.uint8)
    whole[:, :planes] = np.frombuffer(raw, np.uint8, offset=1).reshape(planes, count).T
    zigzag = whole.reshape(-1).view("<u8").astype(np.uint64)
    return np.asarray((zigzag >> np.uint64(1)).astype(np.int64) ^ -(zigzag & np.uint64(1)).astype(np.int64))
