"""Samples from one-wire chips: read the kernel's files, each as often as its probe says, in a thread of its own.

Reading such a file starts a conversion and waits for it, 750 ms at 12 bits (data sheet DS18B20), one chip after the
other.
"""

from __future__ import annotations

__all__ = ["ChipState", "OneWireChips", "chips_in"]

import errno
import logging
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from ingest.backoff import GOES_ON
from ingest.sources.sample import Sample

_log = logging.getLogger(__name__)

# Family codes of thermometers: DS18S20, DS1822, DS18B20, DS1825, DS28EA00 (their data sheets).
_THERMOMETERS = ("10-", "22-", "28-", "3b-", "42-")
# The first that is there is read. The older one comes first because it also says whether the check sum was right.
_FILES = ("w1_slave", "temperature")
_LARGEST_BYTES = 512
_LONGEST_WAIT_S = 1.0  # so often the thread shows that it lives
_HANG_S = 120.0


@dataclass(frozen=True, slots=True)
class ChipState:
    """How things stand with a chip.

    open: its file could be read the last time. since_mono: ``time.monotonic()`` since when that is so, seconds.
    last_error: the last trouble in plain words, empty while the chip is read. The rest are counts since the start:
    times its file was read, times it could not be, readings that ``deliver`` failed to take.
    """

    open: bool
    since_mono: float
    last_error: str
    reads: int
    failures: int
    delivery_failures: int


def chips_in(folder: Path) -> list[str]:
    """Return the ids of the thermometers in the kernel's folder, in order; [] where there is none, or no folder."""
    try:
        return sorted(entry.name for entry in folder.iterdir() if entry.name.startswith(_THERMOMETERS))
    except OSError:
        return []


class OneWireChips:
    """Delivers what each chip's file holds as a sample of source ``w1``; the address is the chip's id.

    folder: where the kernel shows the chips, ``/sys/bus/w1/devices``. every_s: chip id -> seconds between two readings.
    deliver: called in the reading thread; it must be quick. clock: UTC milliseconds. monotonic: seconds.
    """

    def __init__(
        self,
        *,
        folder: Path,
        every_s: Mapping[str, float],
        deliver: Callable[[Sample], None],
        clock: Callable[[], int],
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._folder = folder
        self._every_s = dict(every_s)
        self._deliver = deliver
        self._clock = clock
        self._monotonic = monotonic
        now = monotonic()
        self._states = dict.fromkeys(every_s, ChipState(False, now, "", 0, 0, 0))
        self._due_mono: dict[str, float] = {}
        self._turn_mono = now
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    # ---- start, stop, state ------------------------------------------------------------------------------------

    def start(self) -> None:
        """Start the reading thread; it may also be called after ``stop``, or when ``alive`` says no."""
        if self._thread is not None and self._thread.is_alive() and not self._stop.is_set():
            raise RuntimeError("the one-wire chips are being read already")
        # An event of its own: a thread that hangs in the kernel and comes back must find itself stopped.
        self._stop = threading.Event()
        self._turn_mono = self._monotonic()
        self._due_mono = dict.fromkeys(self._every_s, self._turn_mono)
        self._thread = threading.Thread(target=self._run, args=(self._stop,), name="one-wire", daemon=True)
        self._thread.start()

    def stop(self, timeout: float = 5.0) -> bool:
        """End the thread; False if it did not end within ``timeout`` seconds, because the kernel still reads a chip."""
        self._stop.set()
        if self._thread is None:
            return True
        self._thread.join(timeout)
        return not self._thread.is_alive()

    def alive(self) -> bool:
        """Whether the reading thread is there and took a turn within the last two minutes."""
        thread = self._thread
        return thread is not None and thread.is_alive() and self._monotonic() - self._turn_mono < _HANG_S

    def state(self) -> dict[str, ChipState]:
        """How things stand with each chip; may be asked from any thread."""
        return dict(self._states)

    # ---- the reading thread ------------------------------------------------------------------------------------

    def _run(self, stop: threading.Event) -> None:
        while not stop.is_set():
            now = self._turn_mono = self._monotonic()
            chip = min(self._due_mono, key=self._due_mono.__getitem__)
            wait_s = self._due_mono[chip] - now
            if wait_s > 0:
                stop.wait(min(wait_s, _LONGEST_WAIT_S))
                continue
            try:
                self._read(chip, stop)
            except Exception as error:  # noqa: BLE001 - top of this thread's turn: logged, and tried again later
                _log.exception("reading one-wire chip %s failed", chip)
                self._failed(chip, f"{chip} cannot be read: {type(error).__name__}: {error}.")
            # Readings that were missed because others took long are skipped, not made up for.
            self._due_mono[chip] = max(self._due_mono[chip] + self._every_s[chip], self._monotonic())

    def _read(self, chip: str, stop: threading.Event) -> None:
        try:
            payload = self._content(chip)
        except OSError as error:
            self._failed(chip, _trouble_words(error, chip, self._folder))
            return
        if stop.is_set():
            return
        state = self._states[chip]
        now = self._monotonic()
        since = state.since_mono if state.open else now
        failures = state.delivery_failures
        try:
            self._deliver(Sample("w1", chip, payload, self._clock(), now))
        except Exception:  # noqa: BLE001 - one reading that is not taken must not end the reading
            failures += 1
            if failures.bit_count() == 1:  # the 1st, 2nd, 4th, 8th ...: a flood fills no disk
                _log.exception("a reading of one-wire chip %s was not taken: %r", chip, payload)
        self._states[chip] = ChipState(True, since, "", state.reads + 1, state.failures, failures)

    def _content(self, chip: str) -> bytes:
        folder = self._folder / chip
        for name in _FILES:
            try:
                with (folder / name).open("rb", buffering=0) as file:
                    return file.read(_LARGEST_BYTES)
            except FileNotFoundError:
                continue
        raise FileNotFoundError(errno.ENOENT, "no such chip", str(folder))

    def _failed(self, chip: str, trouble: str) -> None:
        """Keep the trouble for ``state()``, and log it unless it is the same as before."""
        state = self._states[chip]
        error = f"{trouble} {GOES_ON}"
        if error != state.last_error:
            _log.warning("%s", error)
        since = self._monotonic() if state.open else state.since_mono
        self._states[chip] = ChipState(False, since, error, state.reads, state.failures + 1, state.delivery_failures)


def _trouble_words(error: OSError, chip: str, folder: Path) -> str:
    """Explain why a chip cannot be read, and what to do."""
    if isinstance(error, FileNotFoundError):
        if not folder.is_dir():
            return (
                f"There is no folder {folder}: is the one-wire bus switched on (on a Raspberry Pi "
                f"`dtoverlay=w1-gpio`), and is [w1] path right?"
            )
        return f"There is no one-wire chip {chip}: is it plugged in? `ls {folder}` shows what is there."
    if isinstance(error, PermissionError):
        return f"No permission to read one-wire chip {chip} below {folder}: look at the files' owner and mode."
    why = error.strerror or type(error).__name__
    return f"One-wire chip {chip} does not answer ({why}): look at cable, plug and pull-up resistor."
