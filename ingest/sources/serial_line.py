"""Samples from a serial line: open it, read lines, and open it again for ever when it goes away."""

from __future__ import annotations

__all__ = ["SerialLine", "SerialState"]

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from ingest.backoff import GOES_ON, Backoff
from ingest.cellar import SerialSettings
from ingest.sources.framing import DEFAULT_LINE_LIMIT, LineFramer
from ingest.sources.sample import Sample
from ingest.sources.serial_port import PORT_ERRORS, closed_port, trouble_words

_log = logging.getLogger(__name__)

_READ_TIMEOUT_S = 1.0  # the stop event is looked at this often, should the read not be cancellable
_WRITE_TIMEOUT_S = 1.0  # a question has a few bytes; a line that takes them no sooner is stuck
_CHUNK_BYTES = 4096
# After a chunk the reader rests this long, so that a line at 9600 baud wakes it 50 times a second and not 960 times;
# a sample is later by at most that. The kernel holds 4096 bytes for us meanwhile (Linux, n_tty), 35 ms at 1 Mbaud.
_REST_S = 0.02
# A line that stayed open this long went well: the next wait is short again. Common practice, no source.
_WENT_WELL_S = 30.0
_HANG_S = 120.0


@dataclass(frozen=True, slots=True)
class SerialState:
    """How things stand with a line.

    since_mono: ``time.monotonic()`` since when ``open`` is as it is, seconds. last_error: the last trouble in plain
    words; empty while the line is open. The rest are counts since the start: times opened, whole lines, bytes,
    fragments dropped after opening, lines that were too long, lines that ``deliver`` failed to take, questions asked,
    and questions to which no line came before the next one.
    """

    open: bool
    since_mono: float
    last_error: str
    opens: int
    lines: int
    bytes_read: int
    dropped_fragments: int
    overlong: int
    delivery_failures: int
    asked: int
    unanswered: int


class SerialLine:
    """Delivers each line of a serial instrument as a sample; source and address are both the line's id.

    settings: the line in the cellar file. deliver: called in the reading thread for each line; it must be quick.
    clock: UTC milliseconds. monotonic: seconds. limit: longest line in bytes. backoff: the waits before the line is
    opened again.

    For the settle time after opening everything is thrown away, because opening resets many small boards and they
    greet first. An instrument that speaks only when asked is sent each question once in ``poll_every``, spread evenly
    over it. What still stands in the line is thrown away before each question, so that an answer that came too late is
    not taken for the next one's.

    Raises SourceError for settings that no serial line has.
    """

    def __init__(
        self,
        settings: SerialSettings,
        *,
        deliver: Callable[[Sample], None],
        clock: Callable[[], int],
        monotonic: Callable[[], float] = time.monotonic,
        limit: int = DEFAULT_LINE_LIMIT,
        backoff: Backoff | None = None,
    ) -> None:
        self._id = settings.id
        self._device = settings.device
        self._deliver = deliver
        self._clock = clock
        self._monotonic = monotonic
        self._settle_s = settings.settle_s
        self._backoff = backoff or Backoff()
        self._framer = LineFramer(limit)
        self._questions = [question.encode(settings.encoding) for question in settings.poll]
        self._step_s = settings.poll_every_s / max(1, len(self._questions))
        self._ask_mono = monotonic()
        # Built once and unopened, so that wrong settings are found now and not in the thread.
        self._port = closed_port(
            settings,
            # While it waits for bytes it asks nothing, so a line that is asked waits less long.
            timeout_s=min(_READ_TIMEOUT_S, self._step_s / 4) if self._questions else _READ_TIMEOUT_S,
            write_timeout_s=_WRITE_TIMEOUT_S if self._questions else None,
        )
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._open = False
        self._since_mono = monotonic()
        self._turn_mono = monotonic()
        self._last_error = ""
        self._opens = 0
        self._lines = 0
        self._bytes_read = 0
        self._delivery_failures = 0
        self._asked = 0
        self._unanswered = 0
        self._lines_when_asked = -1

    # ---- start, stop, state ------------------------------------------------------------------------------------

    def start(self) -> None:
        """Start the reading thread; it may also be called after ``stop``, or when ``alive`` says no."""
        if self._thread is not None and self._thread.is_alive():
            raise RuntimeError(f"serial line {self._id!r} is being read already")
        self._stop.clear()
        self._turn_mono = self._monotonic()
        self._thread = threading.Thread(target=self._run, name=f"serial {self._id}", daemon=True)
        self._thread.start()

    def stop(self, timeout: float = 5.0) -> bool:
        """End the thread and close the line; False if it did not end within ``timeout`` seconds."""
        self._stop.set()
        if self._thread is None:
            return True
        self._cancel_read()
        self._thread.join(timeout)
        return not self._thread.is_alive()

    def _cancel_read(self) -> None:
        if self._open and hasattr(self._port, "cancel_read"):
            try:
                self._port.cancel_read()
            except (OSError, AttributeError, TypeError):
                pass  # closed by its thread in the same moment; the read then ends by itself

    def alive(self) -> bool:
        """Whether the reading thread is there and took a turn within the last two minutes, line open or not."""
        if self._thread is None or not self._thread.is_alive():
            return False
        return self._monotonic() - self._turn_mono < _HANG_S

    def state(self) -> SerialState:
        """How things stand; may be asked from any thread."""
        return SerialState(
            open=self._open,
            since_mono=self._since_mono,
            last_error="" if self._open else self._last_error,
            opens=self._opens,
            lines=self._lines,
            bytes_read=self._bytes_read,
            dropped_fragments=self._framer.dropped_fragments,
            overlong=self._framer.overlong,
            delivery_failures=self._delivery_failures,
            asked=self._asked,
            unanswered=self._unanswered,
        )

    # ---- the reading thread ------------------------------------------------------------------------------------

    def _run(self) -> None:
        while not self._stop.is_set():
            self._turn_mono = self._monotonic()
            try:
                self._read_until_trouble()
            except Exception as error:  # noqa: BLE001 - top of this thread's turn: logged, and tried again later
                _log.exception("reading serial line %s failed", self._id)
                self._report(f"{self._device} cannot be read: {type(error).__name__}: {error}.")
            self._stop.wait(self._backoff.next_wait_s())

    def _read_until_trouble(self) -> None:
        try:
            self._port.open()
            self._mark(is_open=True)
            self._opens += 1
            self._stop.wait(self._settle_s)
            self._port.reset_input_buffer()
            self._framer.restart()
            self._ask_mono = self._monotonic()
            self._lines_when_asked = -1
            while not self._stop.is_set():
                self._turn()
        except PORT_ERRORS as error:
            self._report(trouble_words(error, self._device))
        finally:
            if self._open and self._monotonic() - self._since_mono >= _WENT_WELL_S:
                self._backoff.reset()
            self._port.close()
            self._mark(is_open=False)

    def _turn(self) -> None:
        """Ask if it is time to, wait for bytes, take all that there are, deliver the lines that they complete."""
        if self._questions and self._monotonic() >= self._ask_mono:
            self._ask()
        data = self._port.read(max(1, min(self._port.in_waiting, _CHUNK_BYTES)))
        self._turn_mono = self._monotonic()
        if not data:
            return
        self._bytes_read += len(data)
        arrival_ms = self._clock()
        for line in self._framer.feed(data):
            self._lines += 1
            try:
                self._deliver(Sample(self._id, self._id, line, arrival_ms, self._turn_mono))
            except Exception:  # noqa: BLE001 - one line that is not taken must not end the reading
                self._delivery_failures += 1
                if self._delivery_failures.bit_count() == 1:  # the 1st, 2nd, 4th, 8th ...: a flood fills no disk
                    _log.exception("a line of %s was not taken: %r", self._id, line)
        if len(data) < _CHUNK_BYTES:
            self._stop.wait(_REST_S)

    def _ask(self) -> None:
        """Send the next question; its answer begins with the next byte."""
        if self._lines_when_asked == self._lines:
            self._unanswered += 1
        self._port.reset_input_buffer()
        self._framer.restart(fresh=False)
        self._port.write(self._questions[self._asked % len(self._questions)])
        self._asked += 1
        self._lines_when_asked = self._lines
        # Questions that were missed are not made up for.
        self._ask_mono = max(self._ask_mono, self._monotonic() - self._step_s) + self._step_s

    def _mark(self, *, is_open: bool) -> None:
        if is_open != self._open:
            self._open = is_open
            self._since_mono = self._monotonic()
            _log.info("serial line %s (%s) is %s", self._id, self._device, "open" if is_open else "closed")

    def _report(self, trouble: str) -> None:
        """Keep the trouble for ``state()``, and log it unless it is the same as before."""
        error = f"{trouble} {GOES_ON}"
        if error != self._last_error:
            _log.warning("%s", error)
        self._last_error = error
