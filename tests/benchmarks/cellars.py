"""Cellar files for benchmarks, and the real ``leeside run`` on one of them."""

from __future__ import annotations

__all__ = ["cellar_text", "leeside_run", "running"]

import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_LONGEST_S = 60.0


def cellar_text(port: int, probes: int, *, client_id: str, payload: str = "plain", more: str = "") -> str:
    """So many rooms, each with a thermometer on the topic ``cellar/R<number>/air`` in degrees Celsius.

    payload: ``plain``, or ``json`` with the value at ``/c`` and the time at ``/at``. more: further tables.
    """
    form = 'payload = "json"\npointer = "/c"\ntime_pointer = "/at"\n' if payload == "json" else ""
    head = f"""
[site]
name = "benchmark"
timezone = "Europe/Ljubljana"
[store]
path = "cellar.db"
[mqtt]
host = "127.0.0.1"
port = {port}
client_id = "{client_id}"
"""
    places = "".join(
        f"""
[[room]]
id = "R{number}"
volume = "30 m3"
[[probe]]
id = "r{number}"
at = "R{number}"
quantity = "temperature"
mounted = "air"
topic = "cellar/R{number}/air"
unit = "degC"
every = "10 s"
{form}"""
        for number in range(probes)
    )
    return head + places + more


@contextmanager
def running(command: list[str]) -> Iterator[subprocess.Popen[str]]:
    """A process that is stopped at the end; its standard output can be read."""
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        yield process
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(_LONGEST_S)
        if process.stdout is not None:
            process.stdout.close()


def leeside_run(file: Path) -> list[str]:
    """The command line of ``leeside run`` of this environment."""
    return [str(Path(sys.executable).with_name("leeside")), "run", str(file)]
