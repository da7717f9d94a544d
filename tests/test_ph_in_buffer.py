"""Whether a pH probe stands still in its buffer: what counts, for how long, and what is said meanwhile."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from a_journal import FILE_TEXT
from cellar_text import probe

from ingest.cellar import parse_cellar
from ingest.ph_in_buffer import PhInBuffer, ph_in_buffer
from ingest.probes.binding import declarations
from ingest.reading import Quality, Reason, quality_code
from ingest.store import create_or_open
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare

NOW = 1_795_631_400_000
DOUBTED = quality_code(Quality.UNCERTAIN, Reason.JUMP)


class Dipped:
    """A pH probe that sends as often as is said, in a store of its own."""

    def __init__(self, folder: Path, every: str) -> None:
        text = f"{FILE_TEXT}\n{probe('k1-ph', 'K1', quantity='pH', topic='k1/ph', unit='pH', every=every)}"
        self.cellar = parse_cellar(text, file="cellar.toml", base=folder)
        self.store = create_or_open(self.cellar.store_path, NOW)
        self.probe = next(each for each in self.cellar.probe if each.id == "k1-ph")
        self.series = declare(self.store, declarations(self.cellar), NOW)["k1-ph"]

    def read(self, *readings: tuple[float, float], quality: int = 0) -> None:
        """Store readings: (seconds ago, pH)."""
        rows = [(self.series, NOW - round(1000 * ago), ph, quality) for ago, ph in readings]
        assert Appender(self.store).append(rows).stored == len(rows)

    def now(self, after_s: float | None = None) -> PhInBuffer:
        after_ms = None if after_s is None else NOW - round(1000 * after_s)
        return ph_in_buffer(self.store, self.probe, self.series, NOW, after_ms=after_ms)


@pytest.fixture
def dipped(tmp_path: Path) -> Iterator[Dipped]:
    dipped = Dipped(tmp_path, "10 s")
    yield dipped
    dipped.store.close()


@pytest.mark.parametrize(
    ("readings", "state", "says"),
    [
        ([], "no reading", "no good reading came in the last minute"),
        ([(61, 7.02), (120, 7.02)], "no reading", "no good reading came in the last minute"),
        ([(40, 7.02), (20, 7.03), (2, 7.04)], "still", ""),
        ([(40, 7.02), (20, 7.03), (2, 7.05)], "moves", "it still moves: 7.02 to 7.05 in the last minute"),
        # One that lies further back does not count: it was lifted out of another buffer then.
        ([(70, 4.01), (40, 7.02), (2, 7.03)], "still", ""),
        ([(2, 7.02)], "too short", "not stood still for half a minute"),
        ([(29.9, 7.02), (0, 7.02)], "too short", "not stood still for half a minute"),
        ([(30, 7.02), (0, 7.02)], "still", ""),
    ],
)
def test_it_stands_still_within_two_hundredths_for_half_a_minute(
    dipped: Dipped, readings: Sequence[tuple[float, float]], state: str, says: str
) -> None:
    dipped.read(*readings)
    now = dipped.now()
    assert (now.state, now.is_still) == (state, state == "still")
    assert says in now.wait
    assert bool(now.wait) == (not now.is_still)
    if readings and state != "no reading":
        newest = min(readings)
        assert now.at_ms == NOW - round(1000 * newest[0])
        assert now.ph == pytest.approx(newest[1])


def test_doubted_readings_do_not_count(dipped: Dipped) -> None:
    dipped.read((40, 7.02), (2, 7.02))
    dipped.read((20, 9.9), quality=DOUBTED)
    assert dipped.now().is_still
    dipped.read((1, 7.3), quality=DOUBTED)
    assert dipped.now().ph == pytest.approx(7.02)


def test_what_was_read_before_the_last_one_was_taken_does_not_count_for_the_next_buffer(dipped: Dipped) -> None:
    dipped.read((50, 7.02), (20, 7.02))
    assert dipped.now().is_still
    assert dipped.now(after_s=20).state == "no reading"
    dipped.read((10, 4.02))
    assert dipped.now(after_s=20).state == "too short"


def test_a_probe_that_sends_seldom_is_looked_at_for_longer(tmp_path: Path) -> None:
    slow = Dipped(tmp_path, "60 s")
    try:
        slow.read((65, 7.02))
        assert slow.now().state == "too short"
        slow.read((5, 7.04))
        assert slow.now().is_still
        slow.read((1, 7.1))
        assert "in the last 150 s" in slow.now().wait
    finally:
        slow.store.close()
