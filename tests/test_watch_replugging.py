"""A serial line that is unplugged and plugged in again: a real line on a pseudo terminal, with a made-up clock."""

from __future__ import annotations

import os
import time
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from eventually import eventually
from watch_limits import Rig, a_silence

from alerts.watch.own_limits import line_key
from ingest.backoff import Backoff
from ingest.cellar import SerialSettings
from ingest.sources.serial_line import SerialLine

LINE = a_silence(key=line_key("bench-line"), at="leeside", quantity="line bench-line", probe="", setpoint=100.0)
PROBE = a_silence(suppressed_by=(LINE.key,))


@contextmanager
def _plugged_in(link: Path) -> Iterator[None]:
    near, far = os.openpty()
    tty.setraw(far)
    link.unlink(missing_ok=True)
    link.symlink_to(os.ttyname(far))
    try:
        yield
    finally:
        os.close(near)
        os.close(far)


def test_replugging_a_line_raises_nothing_that_had_returned_before(tmp_path: Path) -> None:
    link = tmp_path / "line"
    settings = SerialSettings.model_validate({"id": "bench-line", "device": str(link), "settle": "0 s"})
    line = SerialLine(
        settings, deliver=lambda sample: None, clock=lambda: 0, monotonic=time.monotonic, backoff=Backoff(0.02, 0.05)
    )
    rig = Rig(LINE, PROBE)
    told: list[str] = []

    def turns(until: float, *values: float) -> None:
        while rig.second < until:
            well = [LINE.key] if line.state().open else []
            result = rig.at(rig.second + 10.0, *values, well=well)
            told.extend(f"{step.key}: {step.occasion}" for step in result.transitions if step.occasion)

    try:
        with _plugged_in(link):
            line.start()
            eventually(lambda: line.state().open)
            turns(130)
            turns(140, 12.0)
            # Raised, returned, and nobody has acknowledged it.
            assert told == [f"{PROBE.key}: raised", f"{PROBE.key}: returned"]
        eventually(lambda: not line.state().open)
        turns(400)
        assert told[2:] == [f"{LINE.key}: raised"]
        with _plugged_in(link):
            eventually(lambda: line.state().open)
            turns(500)
            turns(520, 12.0)
            assert told[3:] == [f"{LINE.key}: returned"]
    finally:
        assert line.stop()
