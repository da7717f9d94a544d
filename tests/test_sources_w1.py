"""One-wire chips over a folder as the kernel makes one."""

from __future__ import annotations

import os
import queue
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import pytest
from eventually import eventually

from ingest.sources.sample import Sample
from ingest.sources.w1 import OneWireChips

NOW_MS = 1_795_595_400_000
CHIP, OTHER = "28-3c01f0964f2b", "28-000005e2fdc3"
TEXT = b"91 01 4b 46 7f ff 0c 10 70 : crc=70 YES\n91 01 4b 46 7f ff 0c 10 70 t=25062\n"


class Bus:
    """Chips whose samples land in a queue."""

    def __init__(self, folder: Path, every_s: Mapping[str, float]) -> None:
        self.folder = folder
        self.samples: queue.Queue[Sample] = queue.Queue()
        self.fail = False
        self.clock_ahead_s = 0.0
        self.chips = OneWireChips(
            folder=folder,
            every_s=every_s,
            deliver=self.deliver,
            clock=lambda: NOW_MS,
            monotonic=lambda: time.monotonic() + self.clock_ahead_s,
        )

    def plug_in(self, chip: str, text: bytes = TEXT, name: str = "w1_slave") -> None:
        (self.folder / chip).mkdir(exist_ok=True, parents=True)
        (self.folder / chip / name).write_bytes(text)

    def pull_out(self, chip: str) -> None:
        for file in (self.folder / chip).iterdir():
            file.unlink()
        (self.folder / chip).rmdir()

    def deliver(self, sample: Sample) -> None:
        if self.fail:
            raise MemoryError("no room for this one")
        self.samples.put(sample)

    def next(self) -> Sample:
        return self.samples.get(timeout=10)


@contextmanager
def running(bus: Bus) -> Iterator[OneWireChips]:
    bus.chips.start()
    try:
        yield bus.chips
    finally:
        assert bus.chips.stop(10)


def test_a_chip_is_read_at_once_and_then_every_so_often(tmp_path: Path) -> None:
    bus = Bus(tmp_path, {CHIP: 0.1})
    bus.plug_in(CHIP)
    with running(bus) as chips:
        before = time.monotonic()
        first, second, third = (bus.next() for _ in range(3))
        assert first[:4] == ("w1", CHIP, TEXT, NOW_MS)
        assert first.ticket is None
        assert second.arrival_mono - first.arrival_mono >= 0.09
        assert third.arrival_mono - first.arrival_mono >= 0.19
        assert before <= first.arrival_mono + 1
        state = chips.state()[CHIP]
        assert (state.open, state.last_error, state.failures) == (True, "", 0)
        assert state.reads >= 2


def test_each_chip_has_its_own_interval(tmp_path: Path) -> None:
    bus = Bus(tmp_path, {CHIP: 3600.0, OTHER: 0.02})
    bus.plug_in(CHIP)
    bus.plug_in(OTHER)
    with running(bus):
        seen = [bus.next().address for _ in range(6)]
    assert sorted(set(seen)) == [OTHER, CHIP]
    assert seen.count(CHIP) == 1


def test_a_newer_kernels_file_is_read_where_the_older_is_missing(tmp_path: Path) -> None:
    bus = Bus(tmp_path, {CHIP: 60.0, OTHER: 60.0})
    bus.plug_in(CHIP, b"25062\n", "temperature")
    bus.plug_in(OTHER, b"12000\n", "temperature")
    bus.plug_in(OTHER)
    with running(bus):
        assert {sample.address: sample.payload for sample in (bus.next(), bus.next())} == {
            CHIP: b"25062\n",
            OTHER: TEXT,
        }


def test_a_chip_that_is_missing_is_told_and_found_when_it_comes(tmp_path: Path) -> None:
    bus = Bus(tmp_path / "devices", {CHIP: 0.02})
    with running(bus) as chips:
        eventually(lambda: "is the one-wire bus switched on" in chips.state()[CHIP].last_error)
        bus.folder.mkdir()
        eventually(lambda: f"There is no one-wire chip {CHIP}: is it plugged in?" in chips.state()[CHIP].last_error)
        failures = chips.state()[CHIP].failures
        eventually(lambda: chips.state()[CHIP].failures > failures)
        assert not chips.state()[CHIP].open
        bus.plug_in(CHIP)
        assert bus.next().payload == TEXT
        eventually(lambda: chips.state()[CHIP].open)
        assert chips.state()[CHIP].last_error == ""
        bus.pull_out(CHIP)
        eventually(lambda: not chips.state()[CHIP].open)
        bus.plug_in(CHIP)
        eventually(lambda: chips.state()[CHIP].open)


def test_one_chips_trouble_does_not_stop_the_others(tmp_path: Path) -> None:
    bus = Bus(tmp_path, {CHIP: 0.02, OTHER: 0.02})
    bus.plug_in(CHIP)
    (tmp_path / OTHER / "w1_slave").mkdir(parents=True)  # cannot be read, as a chip that the kernel cannot reach
    with running(bus) as chips:
        assert [bus.next().address for _ in range(3)] == [CHIP] * 3
        eventually(lambda: "does not answer (Is a directory): look at cable" in chips.state()[OTHER].last_error)


def test_a_reading_that_is_not_taken_is_counted(tmp_path: Path) -> None:
    bus = Bus(tmp_path, {CHIP: 0.02})
    bus.plug_in(CHIP)
    bus.fail = True
    with running(bus) as chips:
        eventually(lambda: chips.state()[CHIP].delivery_failures)
        bus.fail = False
        assert bus.next().payload == TEXT


def test_a_kernel_that_never_answers_is_noticed_and_reading_starts_anew(tmp_path: Path) -> None:
    bus = Bus(tmp_path, {CHIP: 0.02})
    file = tmp_path / CHIP / "w1_slave"
    file.parent.mkdir()
    os.mkfifo(file)  # opening it blocks, as reading a chip on a dead bus can
    bus.chips.start()
    assert bus.chips.alive()
    assert not bus.chips.stop(0.05)
    bus.clock_ahead_s = 121.0
    assert not bus.chips.alive()
    bus.chips.start()
    assert bus.chips.alive()
    with file.open("wb"):  # the bus answers after all: both threads go on, and the old one finds itself stopped
        file.unlink()
        file.write_bytes(TEXT)
    while bus.next().payload != TEXT:
        pass
    assert bus.chips.stop(10)
    eventually(lambda: not any(thread.name == "one-wire" for thread in threading.enumerate()))


def test_what_is_read_after_the_stop_is_not_delivered(tmp_path: Path) -> None:
    (tmp_path / CHIP).mkdir()
    os.mkfifo(tmp_path / CHIP / "w1_slave")
    bus = Bus(tmp_path, {CHIP: 0.02})
    bus.chips.start()
    assert not bus.chips.stop(0.05)
    (tmp_path / CHIP / "w1_slave").write_bytes(TEXT)
    assert bus.chips.stop(10)
    assert bus.samples.empty()


def test_start_stop_and_start_again(tmp_path: Path) -> None:
    bus = Bus(tmp_path, {CHIP: 60.0})
    bus.plug_in(CHIP)
    assert not bus.chips.alive()
    assert bus.chips.stop()
    with running(bus):
        with pytest.raises(RuntimeError, match="being read already"):
            bus.chips.start()
        assert bus.next()
        assert bus.chips.stop(30)  # it reads once a minute
        assert not bus.chips.alive()
        bus.chips.start()
        assert bus.next()
