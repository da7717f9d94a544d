"""Instruments that speak only when asked, and lines full of noise, over pseudo-terminals."""

from __future__ import annotations

import os
import queue
import threading
import time
import tty
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest
from eventually import eventually
from samples import NOW, a_binding

from ingest.backoff import Backoff
from ingest.cellar import LinePattern, SerialSettings
from ingest.probes.decode import Decoder
from ingest.sources.framing import DEFAULT_LINE_LIMIT, LineFramer
from ingest.sources.sample import Sample
from ingest.sources.serial_line import SerialLine

ANSWERS = {b"T?\r\n": b"T=12.5\r\n", b"P?\r\n": b"P=55.2\r\n"}


class Asked:
    """The far end of a pseudo-terminal that answers what it is asked; an empty answer is none."""

    def __init__(self, answers: Mapping[bytes, bytes]) -> None:
        self._near, self._far = os.openpty()
        tty.setraw(self._far)
        self.device = os.ttyname(self._far)
        self.answers = dict(answers)
        self.heard: queue.Queue[bytes] = queue.Queue()
        self._unplugged = False
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def say(self, text: bytes) -> None:
        os.write(self._near, text)

    def _run(self) -> None:
        heard = b""
        while not heard.endswith(b"off"):
            heard += os.read(self._near, 100)
            while b"\n" in heard:
                question, heard = heard.split(b"\n", 1)
                self.heard.put(question + b"\n")
                self.say(self.answers.get(question + b"\n", b""))

    def unplug(self) -> None:
        if not self._unplugged:
            self._unplugged = True
            os.write(self._far, b"off")  # ends the thread before its descriptor is closed
            self._thread.join(10)
            os.close(self._near)
            os.close(self._far)


class Bench:
    """A line whose samples land in a queue."""

    def __init__(self, device: str, questions: Sequence[bytes] = (), every_s: float = 0.1, settle_s: float = 0) -> None:
        self.samples: queue.Queue[Sample] = queue.Queue()
        line = SerialSettings.model_validate({"id": "bench", "device": device})
        asked = {"settle_s": settle_s, "poll": [text.decode() for text in questions], "poll_every_s": every_s}
        self.line = SerialLine(
            line.model_copy(update=asked),
            deliver=self.samples.put,
            clock=lambda: NOW,
            backoff=Backoff(0.02, 0.05),
        )

    def next(self) -> bytes:
        return self.samples.get(timeout=10).payload


@contextmanager
def running(bench: Bench) -> Iterator[SerialLine]:
    bench.line.start()
    try:
        yield bench.line
    finally:
        assert bench.line.stop(10)


@pytest.fixture
def instrument() -> Iterator[Asked]:
    far_end = Asked(ANSWERS)
    yield far_end
    far_end.unplug()


# ---- asking --------------------------------------------------------------------------------------------------------


def test_an_instrument_is_asked_and_its_first_answer_is_no_fragment(instrument: Asked) -> None:
    bench = Bench(instrument.device, [b"T?\r\n"])
    with running(bench) as line:
        assert [bench.next() for _ in range(3)] == [b"T=12.5"] * 3
        state = line.state()
        assert state.asked >= 3
        assert (state.unanswered, state.dropped_fragments) == (0, 0)


def test_several_questions_are_asked_in_turn(instrument: Asked) -> None:
    bench = Bench(instrument.device, list(ANSWERS), 1.0)
    with running(bench):
        assert [bench.next() for _ in range(6)] == [b"T=12.5", b"P=55.2"] * 3


def test_several_questions_are_spread_over_the_interval(instrument: Asked) -> None:
    bench = Bench(instrument.device, list(ANSWERS), 60.0)
    with running(bench) as line:
        assert bench.next() == b"T=12.5"
        read = line.state().bytes_read
        instrument.say(b"\n")  # the reader has taken another turn once it has read this
        eventually(lambda: line.state().bytes_read > read)
        assert line.state().asked == 1  # the other question is due after 30 s


def test_what_stands_in_the_line_before_a_question_is_thrown_away(instrument: Asked) -> None:
    """Half a line, a late answer: neither is joined to the answer, or taken for it."""
    bench = Bench(instrument.device, [b"T?\r\n"], 0.3)
    with running(bench) as line:
        assert bench.next() == b"T=12.5"
        instrument.say(b"T=9")
        read = line.state().bytes_read
        eventually(lambda: line.state().bytes_read > read or line.state().asked > 1)
        assert [bench.next() for _ in range(2)] == [b"T=12.5"] * 2


def test_silence_is_counted_and_asking_goes_on(instrument: Asked) -> None:
    instrument.answers[b"T?\r\n"] = b""
    bench = Bench(instrument.device, [b"T?\r\n"])
    with running(bench) as line:
        eventually(lambda: line.state().unanswered >= 2)
        assert bench.samples.empty()
        instrument.answers[b"T?\r\n"] = b"T=12.5\r\n"
        assert bench.next() == b"T=12.5"
        assert line.state().open


def test_nothing_is_asked_while_the_instrument_settles(instrument: Asked) -> None:
    bench = Bench(instrument.device, [b"T?\r\n"], settle_s=0.3)
    before = time.monotonic()
    with running(bench) as line:
        eventually(lambda: line.state().open)
        instrument.say(b"boot 1.0\r\nready\r\n")
        instrument.heard.get(timeout=10)
        assert time.monotonic() - before >= 0.3
        assert bench.next() == b"T=12.5"


def test_a_line_that_is_not_asked_is_never_written_to(instrument: Asked) -> None:
    bench = Bench(instrument.device)
    with running(bench) as line:
        eventually(lambda: line.state().open)
        say_until(instrument, b"x\n21.5\n", lambda: not bench.samples.empty())
        assert line.state().asked == 0
    assert instrument.heard.empty()


def test_an_instrument_that_vanishes_is_asked_again_when_it_returns(tmp_path: Path) -> None:
    device = tmp_path / "adapter"
    bench = Bench(str(device), [b"T?\r\n"])
    with running(bench) as line:
        for times_opened in (1, 2):
            far_end = Asked(ANSWERS)
            device.symlink_to(far_end.device)
            assert bench.next() == b"T=12.5"
            assert line.state().opens == times_opened
            device.unlink()
            far_end.unplug()
            eventually(lambda: not line.state().open)
            while not bench.samples.empty():
                bench.samples.get_nowait()
        assert line.alive()


def test_a_line_that_takes_no_question_does_not_hang() -> None:
    """Nobody reads at the far end, so the terminal's buffer fills up."""
    near, far = os.openpty()
    tty.setraw(far)
    bench = Bench(os.ttyname(far), [b"?" * 4096 + b"\n"] * 4, 0.4)
    try:
        with running(bench) as line:
            eventually(lambda: "Write timeout" in line.state().last_error or line.state().opens > 1)
            assert line.alive()
    finally:
        os.close(near)
        os.close(far)


def test_the_first_bytes_after_a_question_begin_a_line() -> None:
    framer = LineFramer()
    framer.feed(b"1.5")
    framer.restart(fresh=False)
    assert framer.feed(b"21.5\n") == [b"21.5"]
    framer.restart()
    assert framer.feed(b"1.5\n21.5\n") == [b"21.5"]
    assert framer.dropped_fragments == 1


# ---- noise ---------------------------------------------------------------------------------------------------------


def say_until(instrument: Asked, text: bytes, holds: Callable[[], object]) -> None:
    def said_and_holds() -> object:
        instrument.say(text)
        return holds()

    eventually(said_and_holds)


@pytest.fixture
def open_bench(instrument: Asked) -> Iterator[Bench]:
    """A line that is open and past its first terminator."""
    bench = Bench(instrument.device)
    with running(bench) as line:
        say_until(instrument, b"\n", lambda: line.state().bytes_read)
        yield bench


@pytest.mark.parametrize(
    ("encoding", "noise", "reason"),
    [
        ("utf-8", b"\x00\x00\x00T=9.9", "no probe's pattern takes this line"),
        ("utf-8", b"T=9\x00.9", "no probe's pattern takes this line"),
        ("utf-8", b"\xff\xfe\x80 T=9.9", "not text in the line's encoding"),
        ("utf-8", b"T=9.9 \xb0C", "not text in the line's encoding"),
        ("latin-1", b"\xf8\x00\x80T=9.9", "no probe's pattern takes this line"),
        ("utf-8", "T=９.９".encode(), "no probe's pattern takes this line"),
        ("utf-8", b"T=9.9T=9.9", "no probe's pattern takes this line"),
        ("utf-8", b"T=.", "not a number"),
    ],
)
def test_noise_is_refused_and_the_next_line_is_read(
    instrument: Asked, open_bench: Bench, encoding: str, noise: bytes, reason: str
) -> None:
    binding = a_binding(
        source="bench",
        address="bench",
        form="line",
        pattern=LinePattern("T=(?P<value>[-+0-9.]+)(?: °C)?"),
        encoding=encoding,
    )
    decoder = Decoder([binding])
    instrument.say(noise + b"\r\n" + "T=12.5 °C".encode(encoding) + b"\r\n")
    refused, read = (decoder.decode(open_bench.samples.get(timeout=10)) for _ in range(2))
    assert refused.readings == []
    assert [refusal.reason for refusal in refused.refusals] == [reason]
    assert [reading.number for reading in read.readings] == [12.5]


def test_a_line_without_an_end_costs_no_memory_and_ends_some_day(instrument: Asked, open_bench: Bench) -> None:
    line = open_bench.line
    for _ in range(20):
        instrument.say(b"T=12.5 " * 150)
    read = line.state().bytes_read
    instrument.say(b"\nT=12.5\n")
    assert open_bench.next() == b"T=12.5"
    assert open_bench.samples.empty()
    assert line.state().overlong == 1
    assert line.state().bytes_read > read
    assert len(line._framer._partial) <= DEFAULT_LINE_LIMIT


def test_a_line_that_babbles_can_be_stopped(instrument: Asked, open_bench: Bench) -> None:
    stop = threading.Event()

    def babble() -> None:
        while not stop.is_set():
            instrument.say(b"T=12.5\n" * 50)

    babbler = threading.Thread(target=babble)
    babbler.start()
    try:
        for _ in range(1000):
            assert open_bench.next() == b"T=12.5"
        assert open_bench.line.alive()
        assert open_bench.line.stop(30)
    finally:
        stop.set()
        far = os.open(instrument.device, os.O_RDONLY | os.O_NONBLOCK | os.O_NOCTTY)
        while babbler.is_alive():  # it may stand in a write to a terminal that nobody reads any more
            try:
                os.read(far, 65536)
            except BlockingIOError:
                babbler.join(0.01)
        os.close(far)
