"""The ways of a message in DEVELOPERS.md, from the broker to a row and from there to a mail, held against the calls."""

from __future__ import annotations

import re
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC
from pathlib import Path
from types import CodeType, FrameType
from typing import Any, NamedTuple

import pytest
from a_store import NOW
from brokers import Mosquitto
from cellar_text import keg, limit, mail, mqtt, probe, site, table
from eventually import eventually
from mail_server import Inbox, mail_server

from alerts.message import MailChannel, Outbox
from alerts.turning.turner import Turner
from alerts.watch import Now
from ingest.cellar import Cellar, parse_cellar
from ingest.daemon import IngestDaemon
from ingest.simulation.loopback import free_port
from ingest.store import create_or_open, open_existing
from ingest.store.readings.fresh import Appender

TOP = Path(__file__).parent.parent
TO_ROW = "From the broker to a committed row"
TO_MAIL = "From a committed row to a mail"

# These call the next step when its time has come; what goes the way does not pass through them.
TIMERS = {"ingest/daemon.py", "ingest/writing/clock_guard.py", "alerts/daemon.py"}


class Step(NamedTuple):
    """A row of a table: a file and its functions, the one by which the step begins first."""

    file: str
    functions: tuple[str, ...]


class Call(NamedTuple):
    """A function that was called, and the file of the function in leeside that called it, "" where there is none."""

    file: str
    function: str
    caller: str


def way(heading: str) -> list[Step]:
    """The steps of a table in DEVELOPERS.md."""
    text = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8").split(f"## {heading}\n")[1].split("\n## ")[0]
    cells = [[cell.strip() for cell in line.split("|")[1:-1]] for line in text.splitlines() if line.startswith("| ")]
    assert cells[0] == ["step", "file", "function", "goes in", "comes out"]
    return [Step(row[1].strip("`"), tuple(re.findall(r"`([\w.]+)`", row[2]))) for row in cells[1:]]


@dataclass
class Tracer:
    """The first call of each function of leeside while it is on, in order, in each thread that begins under it."""

    on: bool = False
    calls: dict[tuple[str, str], Call] = field(default_factory=dict)

    def __call__(self, frame: FrameType, event: str, argument: Any) -> None:
        if event != "call" or not self.on:
            return
        file = _file(frame.f_code)
        if not file:
            return
        above = frame.f_back
        while above is not None and not _file(above.f_code):
            above = above.f_back
        name = frame.f_code.co_qualname
        self.calls.setdefault((file, name), Call(file, name, "" if above is None else _file(above.f_code)))

    @contextmanager
    def following(self) -> Iterator[None]:
        threading.setprofile(self)
        sys.setprofile(self)
        try:
            yield
        finally:
            sys.setprofile(None)
            threading.setprofile(None)


def _file(code: CodeType) -> str:
    """The file of a function of leeside, as DEVELOPERS.md has it; "" for any other."""
    path = Path(code.co_filename)
    if not path.is_relative_to(TOP / "ingest") and not path.is_relative_to(TOP / "alerts"):
        return ""
    return path.relative_to(TOP).as_posix()


def _cellar(folder: Path, *tables: str) -> Cellar:
    return parse_cellar("\n".join((site(), *tables, keg())), file="cellar.toml", base=folder)


def _assert_taken(steps: list[Step], calls: list[Call]) -> None:
    """The steps were taken in this order, each called by a file of the way, and no file in between was left out."""
    places = {(call.file, call.function): place for place, call in enumerate(calls)}
    for step in steps:
        assert {(step.file, function) for function in step.functions} <= set(places), step
    begins = [places[step.file, step.functions[0]] for step in steps]
    assert begins == sorted(begins)
    passed = {"", steps[0].file, *TIMERS}
    for step, place in zip(steps, begins, strict=True):
        assert calls[place].caller in passed, f"{step.file} is called from {calls[place].caller}"
        passed.add(step.file)


@pytest.mark.parametrize(("heading", "most"), [(TO_ROW, 8), (TO_MAIL, 10)])
def test_a_way_is_short_and_passes_each_file_once(heading: str, most: int) -> None:
    files = [step.file for step in way(heading)]
    assert len(files) <= most
    assert len(set(files)) == len(files)


@pytest.mark.parametrize(
    ("keys", "payload", "parser"),
    [
        ({}, "12.5", Step("ingest/sources/number.py", ("parse_number",))),
        ({"payload": "json", "pointer": "/v"}, '{"v": 12.5}', Step("ingest/sources/json_form.py", ("decode_json",))),
    ],
)
def test_a_message_takes_the_way_to_a_row(tmp_path: Path, keys: dict[str, str], payload: str, parser: Step) -> None:
    tracer = Tracer()
    with Mosquitto(tmp_path) as broker:
        cellar = _cellar(tmp_path, table("[store]", path="cellar.db"), mqtt(broker.port), probe(**keys))
        daemon = IngestDaemon(cellar, {})
        with tracer.following():
            daemon.start()
        try:
            eventually(lambda: daemon._mqtt is not None and daemon._mqtt.state().subscribed)
            tracer.on = True
            broker.publish("k1/p", payload)
            eventually(daemon._writer.wake.is_set)
            with tracer.following():
                daemon._turn(with_pulse=False, now=0.0)
            tracer.on = False
        finally:
            daemon.stop()
    with open_existing(cellar.store_path) as store:
        assert store.connection.execute("SELECT number FROM fresh").fetchall() == [(12.5,)]
    steps = [parser if step.file == "ingest/sources/number.py" else step for step in way(TO_ROW)]
    assert len(steps) == len(way(TO_ROW))
    _assert_taken(steps, list(tracer.calls.values()))


def test_a_row_takes_the_way_to_a_mail(tmp_path: Path) -> None:
    tracer, inbox, port = Tracer(), Inbox(), free_port()
    low = limit(at="K1", quantity="pressure", low="5 kPa", on_delay="0 s", consequence="Air.", action="Look.")
    cellar = _cellar(tmp_path, table("[store]", path="cellar.db"), mqtt(), mail(port=port), probe(), low)
    assert cellar.mail is not None
    with create_or_open(cellar.store_path, NOW) as store, mail_server(inbox, port):
        turner = Turner(cellar, store, Now(NOW, 0.0))
        outbox = Outbox(store, MailChannel(cellar.mail, lambda: None, UTC).deliver, lambda: 0.5)
        appender = Appender(store)
        appender.append([(1, NOW, 12.0, 0)])
        turner.turn(Now(NOW, 0.0))
        appender.append([(1, NOW + 1000, 3.0, 0)])
        tracer.on = True
        with tracer.following():
            assert turner.turn(Now(NOW + 1000, 1.0)) == 1
            assert outbox.work(NOW + 2000) == 1
    assert "K1 pressure 3.0 kPa" in inbox.mails[0]["Subject"]
    _assert_taken(way(TO_MAIL), list(tracer.calls.values()))


def test_a_step_that_is_left_out_or_in_another_place_is_found() -> None:
    calls = [Call("a.py", "one", ""), Call("b.py", "two", "a.py"), Call("c.py", "three", "b.py")]
    right = [Step("a.py", ("one",)), Step("b.py", ("two",)), Step("c.py", ("three",))]
    _assert_taken(right, calls)
    for wrong in ([right[0], right[2]], [right[1], right[0], right[2]], [*right, Step("d.py", ("four",))]):
        with pytest.raises(AssertionError):
            _assert_taken(wrong, calls)
