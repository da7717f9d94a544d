"""Serial lines over pseudo-terminals: a real device name, real locks, real unplugging."""

from __future__ import annotations

import errno
import os
import queue
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import serial
from eventually import eventually

from ingest.backoff import Backoff
from ingest.cellar import SerialSettings
from ingest.errors import SourceError
from ingest.sources.sample import Sample
from ingest.sources.serial_line import SerialLine
from ingest.sources.serial_port import trouble_words

NOW_MS = 1_795_595_400_000


class Instrument:
    """The far end of a pseudo-terminal: what is written here arrives at ``device``."""

    def __init__(self) -> None:
        self._near, self._far = os.openpty()
        tty.setraw(self._far)
        self.device = os.ttyname(self._far)
        self._plugged_in = True

    def say(self, text: bytes) -> None:
        os.write(self._near, text)

    def say_until(self, text: bytes, holds: Callable[[], object]) -> None:
        """Say it again and again: what comes before the reader has flushed its input is thrown away."""

        def said_and_holds() -> object:
            self.say(text)
            return holds()

        eventually(said_and_holds)

    def unplug(self) -> None:
        if self._plugged_in:
            os.close(self._near)
            os.close(self._far)
            self._plugged_in = False


def settings(**changes: object) -> SerialSettings:
    """A line whose settings need not be possible."""
    line = SerialSettings.model_validate({"id": "bench-line", "device": "/dev/ttyUSB0"})
    return line.model_copy(update=changes)


class Bench:
    """A line whose samples land in a queue."""

    def __init__(self, device: str, *, limit: int = 256, settle_s: float = 0.0) -> None:
        self.samples: queue.Queue[Sample] = queue.Queue()
        self.fail_on = b""
        self.clock_ahead_s = 0.0
        self.release = threading.Event()
        self.line = SerialLine(
            settings(device=device, settle_s=settle_s),
            deliver=self.deliver,
            clock=lambda: NOW_MS,
            limit=limit,
            monotonic=lambda: time.monotonic() + self.clock_ahead_s,
            backoff=Backoff(0.02, 0.05),
        )

    def deliver(self, sample: Sample) -> None:
        if sample.payload == self.fail_on:
            raise MemoryError("no room for this one")
        self.samples.put(sample)
        if sample.payload == b"hang":
            self.release.wait(10)

    def next(self) -> bytes:
        return self.samples.get(timeout=10).payload


@contextmanager
def running(bench: Bench, *, opened: bool = True) -> Iterator[SerialLine]:
    bench.line.start()
    try:
        if opened:
            eventually(lambda: bench.line.state().open)
        yield bench.line
    finally:
        assert bench.line.stop(10)


def start_of_lines(bench: Bench, instrument: Instrument) -> None:
    """Send empty lines until the reader is past its settling and its first terminator."""
    read_before = bench.line.state().bytes_read
    bench.line.start()
    instrument.say_until(b"\n", lambda: bench.line.state().bytes_read > read_before)


@pytest.fixture
def instrument() -> Iterator[Instrument]:
    far_end = Instrument()
    yield far_end
    far_end.unplug()


@pytest.fixture
def bench(instrument: Instrument) -> Iterator[Bench]:
    """A line that is open and past its first terminator."""
    built = Bench(instrument.device, limit=32)
    start_of_lines(built, instrument)
    yield built
    assert built.line.stop(10)


def test_a_line_becomes_a_sample(instrument: Instrument, bench: Bench) -> None:
    before = time.monotonic()
    instrument.say(b"K1 T=12.5\r\n")
    sample = bench.samples.get(timeout=10)
    assert sample[:4] == ("bench-line", "bench-line", b"K1 T=12.5", NOW_MS)
    assert before <= sample.arrival_mono <= time.monotonic()
    assert sample.ticket is None


@pytest.mark.parametrize("terminator", [b"\n", b"\r\n", b"\r", b"\n\r"])
def test_every_terminator_ends_a_line(instrument: Instrument, bench: Bench, terminator: bytes) -> None:
    instrument.say(b"21.50" + terminator + b"21.60" + terminator)
    assert [bench.next(), bench.next()] == [b"21.50", b"21.60"]


def test_a_pause_inside_a_line_does_not_split_it(instrument: Instrument, bench: Bench) -> None:
    read = bench.line.state().bytes_read
    instrument.say(b"21.")
    eventually(lambda: bench.line.state().bytes_read >= read + 3)
    instrument.say(b"50\n")
    assert bench.next() == b"21.50"


def test_the_first_fragment_after_opening_is_dropped(instrument: Instrument) -> None:
    bench = Bench(instrument.device)
    with running(bench):
        instrument.say_until(b"1.", lambda: bench.line.state().bytes_read)
        instrument.say(b"50\n21.60\n")
        assert bench.next() == b"21.60"
        assert bench.line.state().dropped_fragments == 1


def test_a_boot_banner_within_the_settle_time_is_thrown_away(instrument: Instrument) -> None:
    bench = Bench(instrument.device, settle_s=0.3)
    with running(bench):
        instrument.say(b"boot 1.0\r\nready\r\n")
        instrument.say_until(b"21.5\n", lambda: not bench.samples.empty())
        assert bench.next() == b"21.5"


def test_an_overlong_line_is_dropped_and_counted(instrument: Instrument, bench: Bench) -> None:
    instrument.say(b"x" * 1000 + b"\n21.5\n")
    assert bench.next() == b"21.5"
    assert bench.line.state().overlong == 1


def test_a_line_that_is_not_taken_is_counted_and_the_next_is_read(instrument: Instrument, bench: Bench) -> None:
    bench.fail_on = b"poison"
    instrument.say(b"poison\n21.5\n")
    assert bench.next() == b"21.5"
    assert bench.line.state().delivery_failures == 1


def test_a_babbling_line_is_read_in_large_pieces(instrument: Instrument, bench: Bench) -> None:
    def babble() -> None:
        for _ in range(200):
            instrument.say(b"21.5\n" * 50)

    writer = threading.Thread(target=babble)
    writer.start()
    for _ in range(10_000):
        assert bench.next() == b"21.5"
    writer.join(10)
    assert bench.line.state().lines == 10_000


def test_unplugging_is_told_and_plugging_in_again_is_found(tmp_path: Path) -> None:
    device = tmp_path / "adapter"
    bench = Bench(str(device))
    with running(bench, opened=False) as line:
        eventually(lambda: "is the adapter plugged in?" in line.state().last_error)
        for times_opened in (1, 2):
            with adapter(device) as far_end:
                eventually(lambda opens=times_opened: line.state().opens == opens)  # type: ignore[misc]  # bound per round
                assert line.state().last_error == ""
                far_end.say_until(b"\n21.5\n", lambda: not bench.samples.empty())
                assert bench.next() == b"21.5"
            eventually(lambda: not line.state().open)
            assert line.state().last_error != ""
            while not bench.samples.empty():
                bench.samples.get_nowait()
        assert line.alive()


@contextmanager
def adapter(device: Path) -> Iterator[Instrument]:
    """An instrument under a name of its own, as udev makes one; the name goes when it is unplugged."""
    instrument = Instrument()
    device.symlink_to(instrument.device)
    try:
        yield instrument
    finally:
        device.unlink()
        instrument.unplug()


def test_a_line_in_use_names_its_holder(instrument: Instrument) -> None:
    with (
        serial.Serial(instrument.device, exclusive=True),
        running(Bench(instrument.device), opened=False) as line,
    ):
        eventually(lambda: f"is in use by process {os.getpid()} (" in line.state().last_error)


def test_nobody_else_can_open_a_line_that_we_read(instrument: Instrument, bench: Bench) -> None:
    assert bench.line.state().open
    with pytest.raises(serial.SerialException, match="exclusive"):
        serial.Serial(instrument.device, exclusive=True)


def test_a_loop_url_is_a_line_too() -> None:
    bench = Bench("loop://")
    with running(bench) as line:
        # The far end of this URL is the port itself; a terminator first, until the input has been flushed.
        eventually(lambda: line._port.write(b"\n") and line.state().bytes_read)
        line._port.write(b"21.5\r\n")
        assert bench.next() == b"21.5"


def test_alive_tells_a_thread_that_hangs(instrument: Instrument, bench: Bench) -> None:
    instrument.say(b"hang\n")
    assert bench.next() == b"hang"
    assert bench.line.alive()
    bench.clock_ahead_s = 121.0
    assert not bench.line.alive()
    bench.release.set()
    eventually(bench.line.alive)


def test_a_quiet_line_stops_at_once_and_starts_again(instrument: Instrument, monkeypatch: pytest.MonkeyPatch) -> None:
    # Only a read that is cancelled ends before its time.
    monkeypatch.setattr("ingest.sources.serial_line._READ_TIMEOUT_S", 3600.0)
    bench = Bench(instrument.device, limit=32)
    start_of_lines(bench, instrument)
    with pytest.raises(RuntimeError, match="being read already"):
        bench.line.start()
    threading.Event().wait(0.1)  # nothing announces that the reader waits for the next byte; it does by then
    assert bench.line.stop(30)
    assert not bench.line.alive()
    start_of_lines(bench, instrument)
    instrument.say(b"21.5\n")
    assert bench.next() == b"21.5"
    assert bench.line.stop(30)


def test_a_line_that_began_before_a_break_is_not_joined_to_what_comes_after(
    instrument: Instrument, bench: Bench
) -> None:
    read_before = bench.line.state().bytes_read
    instrument.say(b"21.")
    eventually(lambda: bench.line.state().bytes_read >= read_before + 3)
    assert bench.line.stop(10)
    read_before = bench.line.state().bytes_read
    bench.line.start()
    instrument.say_until(b"5", lambda: bench.line.state().bytes_read > read_before)
    instrument.say(b"0\n9\n")
    assert bench.next() == b"9"
    assert bench.samples.empty()


@pytest.mark.parametrize(
    ("device", "says"),
    [("/dev/null", "cannot be read"), ("socket://127.0.0.1:1", "cannot be read"), ("/no/such/device", "no device")],
)
def test_what_is_no_serial_device_is_told(device: str, says: str) -> None:
    with running(Bench(device), opened=False) as line:
        eventually(lambda: says in line.state().last_error)


def test_a_rate_that_the_device_does_not_have_is_reported_and_tried_again(instrument: Instrument) -> None:
    """pyserial raises ValueError for it, and only when the port is opened."""
    bench = Bench(instrument.device)

    def refuse() -> None:
        raise ValueError("Failed to set custom baud rate (250001)")

    bench.line._port.open = refuse  # type: ignore[method-assign]  # no pseudo-terminal refuses a rate
    with running(bench, opened=False) as line:
        eventually(lambda: "cannot be set up: Failed to set custom baud rate" in line.state().last_error)
        assert line.alive()


def test_no_permission_names_the_group() -> None:
    words = trouble_words(PermissionError(errno.EACCES, "Permission denied"), "/dev/ttyUSB0")
    assert "No permission to open /dev/ttyUSB0" in words
    assert "dialout" in words


@pytest.mark.parametrize(
    "wrong", [{"baud": -1}, {"bytesize": 9}, {"parity": "X"}, {"stopbits": 3}, {"device": "nonsense://x"}]
)
def test_settings_that_no_line_has_are_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(SourceError, match=r"Serial line 'bench-line' .* cannot be set up"):
        SerialLine(settings(**wrong), deliver=lambda _: None, clock=lambda: 0)
