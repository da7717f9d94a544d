"""`leeside listen`: samples as they arrive and what the probes make of them, for wiring up; and the serial devices."""

from __future__ import annotations

__all__ = ["listen"]

import logging
import os
import signal
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Event
from types import FrameType
from typing import Annotated, Final

import typer

from alerts.command.cellar_file import take_usual_file
from alerts.command.discovery import Discovery
from alerts.command.line_holder import held_by_leeside
from alerts.command.options import Duration
from alerts.command.sample_outcome import TrialDecoder, outcome_json, outcome_line
from ingest.cellar import Cellar, SerialSettings, load_cellar
from ingest.errors import SourceError
from ingest.json_text import json_text
from ingest.process import wall_ms
from ingest.sources.broker_address import guest_address
from ingest.sources.mqtt_source import MqttSource
from ingest.sources.ports import serial_ports
from ingest.sources.sample import Sample
from ingest.sources.serial_line import SerialLine
from ingest.sources.serial_port import try_line
from ingest.sources.topics import filter_problem
from ingest.sources.w1 import OneWireChips, chips_in
from ingest.times import iso_utc

EXAMPLE: Final = "leeside listen cellar.toml --topic 'cellar/#' --for 60s"

LOOK_UP_S = 0.25
LONGEST_CHIP_WAIT_S = 10.0
_EVERYTHING = ("#",)


def listen(
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="The cellar file; it may be left out (see `leeside --help`).")
    ] = None,
    ports: Annotated[
        bool, typer.Option("--ports", help="Show the serial devices of this machine, by their lasting names.")
    ] = False,
    topics: Annotated[
        list[str] | None,
        typer.Option("--topic", metavar="FILTER", help="Listen to these topics only; may be given several times."),
    ] = None,
    length_s: Duration = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object a line.")] = False,
) -> int:
    """Show samples as they arrive and what the probes make of them, with proposals for samples that no probe takes.

    Stops at Ctrl-C. Exit code 1 if nothing was heard, or no device was found.
    """
    for topic in topics or ():
        problem = filter_problem(topic)
        if problem:
            raise typer.BadParameter(f"'{topic}' is not a topic filter: {problem}", param_hint="--topic")
    if ports:
        return _print_ports(as_json)
    if file is None:
        file = take_usual_file()
    return _Listening(load_cellar(file), tuple(topics or _EVERYTHING), as_json).run(length_s)


def _print_ports(as_json: bool) -> int:
    serial_devices = serial_ports()
    if as_json:
        for port in serial_devices:
            print(
                json_text(
                    {
                        "kind": "port",
                        "device": port.names[0],
                        "other_names": port.names[1:],
                        "description": port.description,
                        "held_by": None if port.holder is None else str(port.holder),
                        "hint": port.hint,
                    }
                )
            )
        return 0 if serial_devices else 1
    for port in serial_devices:
        print(port.names[0] + (f"  ({port.description})" if port.description else ""))
        for name in port.names[1:]:
            print(f"    also {name}")
        if port.holder is not None:
            print(f"    in use by {port.holder}")
        if port.hint:
            print(f"    {port.hint}")
    if not serial_devices:
        print("No serial device is there. Is the adapter plugged in? `dmesg | tail` shows what the kernel saw of it.")
    return 0 if serial_devices else 1


class _StateLog(logging.Handler):
    """What the sources log becomes a line among the samples."""

    def __init__(self, events: SimpleQueue[Sample | str]) -> None:
        super().__init__(logging.INFO)
        self._events = events

    def emit(self, record: logging.LogRecord) -> None:
        self._events.put(record.getMessage())


class _Listening:
    """The sources that are listened to, and one queue into which all of them put what they have."""

    def __init__(self, cellar: Cellar, topics: Sequence[str], as_json: bool) -> None:
        self._cellar = cellar
        self._topics = topics
        self._as_json = as_json
        self._events: SimpleQueue[Sample | str] = SimpleQueue()
        self._decoder = TrialDecoder(cellar)
        self._discovery = Discovery(cellar, time.monotonic())
        self._stop = Event()
        self._samples = 0

    def run(self, length_s: float | None) -> int:
        """Listen; exit code 1 if nothing was heard."""
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, self._on_signal)
        log = logging.getLogger("ingest")
        log.setLevel(logging.INFO)
        log.propagate = False
        log.addHandler(_StateLog(self._events))
        possible = [self._broker(), self._chips(), *map(self._line, self._cellar.serial)]
        sources = [source for source in possible if source is not None]
        if not sources:
            self._drain()
            print(
                "There is nothing to listen to: no [mqtt], no [[serial]] that can be read, no one-wire chip.",
                file=sys.stderr,
            )
            return 1
        deadline = None if length_s is None else time.monotonic() + length_s
        for source in sources:
            source.start()
        try:
            while not self._stop.is_set() and (deadline is None or time.monotonic() < deadline):
                self._turn(deadline)
        finally:
            for source in sources:
                source.stop()
        self._drain()
        self._propose(at_end=True)
        if not self._samples:
            print("Nothing was heard.", file=sys.stderr)
        return 0 if self._samples else 1

    def _on_signal(self, number: int, frame: FrameType | None) -> None:
        self._stop.set()

    def _turn(self, deadline: float | None) -> None:
        left_s = LOOK_UP_S if deadline is None else max(0.0, min(LOOK_UP_S, deadline - time.monotonic()))
        try:
            self._show(self._events.get(timeout=left_s))
        except Empty:
            pass  # nothing came; a proposal may have fallen due all the same
        self._propose()

    def _drain(self) -> None:
        while not self._events.empty():
            self._show(self._events.get())

    # ---- sources -----------------------------------------------------------------------------------------------

    def _broker(self) -> MqttSource | None:
        settings = self._cellar.mqtt
        if settings is None:
            return None
        try:
            address = guest_address(settings, os.environ, self._cellar.base)
        except SourceError as error:
            self._events.put(str(error))
            return None
        return MqttSource(address=address, topics=self._topics, deliver=self._events.put, clock=wall_ms)

    def _line(self, settings: SerialSettings) -> SerialLine | None:
        trial = try_line(settings)
        if trial.in_use:
            pid = held_by_leeside(self._cellar, settings.id, trial, wall_ms())
            whose = f" It is leeside itself: `leeside now {self._cellar.file}` shows what it reads." if pid else ""
            self._events.put(f"line {settings.id} is left out: {trial.error}{whose}")
            return None
        return SerialLine(settings, deliver=self._events.put, clock=wall_ms)

    def _chips(self) -> OneWireChips | None:
        """The chips of the cellar file and those that the kernel shows, each at least once in ten seconds."""
        folder = self._cellar.base / self._cellar.w1.path
        every_s = dict.fromkeys(chips_in(folder), LONGEST_CHIP_WAIT_S)
        for probe in self._cellar.probe:
            if probe.w1 is not None:
                every_s[probe.w1] = min(probe.every_s, LONGEST_CHIP_WAIT_S)
        if not every_s:
            return None
        return OneWireChips(folder=folder, every_s=every_s, deliver=self._events.put, clock=wall_ms)

    # ---- showing -----------------------------------------------------------------------------------------------

    def _show(self, event: Sample | str) -> None:
        if isinstance(event, str):
            if self._as_json:
                self._print_json({"kind": "state", "at": iso_utc(wall_ms()), "text": event})
            else:
                print(event, file=sys.stderr, flush=True)
            return
        self._samples += 1
        outcome = self._decoder.decode(event)
        if outcome.unclaimed:
            self._discovery.add(event)
        if self._as_json:
            self._print_json(outcome_json(outcome))
        else:
            print(outcome_line(outcome, self._cellar.site.zone, self._cellar.site.units), flush=True)

    def _propose(self, *, at_end: bool = False) -> None:
        for proposal in self._discovery.proposals(time.monotonic(), wall_ms(), at_end=at_end):
            if self._as_json:
                self._print_json({"kind": "proposal", **proposal._asdict()})
                continue
            print('\n# No probe takes this. For the cellar file, once the lines that begin with "# " are decided:\n')
            print(proposal.toml, flush=True)
        if at_end and self._discovery.left_out:
            left_out = self._discovery.left_out
            self._show(f"{left_out} samples of further addresses got no proposal; select some with --topic")

    def _print_json(self, value: object) -> None:
        print(json_text(value), flush=True)
