"""How often systemd hears from a process that it started by itself."""

from __future__ import annotations

import os
import socket
import subprocess
from pathlib import Path

import pytest
from cellar_text import watched_keg, write_cellar
from running import COMMAND

from ingest.simulation.loopback import free_port
from ingest.watchdog import Watchdog, watchdog_s


@pytest.mark.parametrize(
    ("environ", "seconds"),
    [
        ({}, None),
        ({"WATCHDOG_USEC": "30000000"}, 15.0),
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": ""}, 15.0),
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "77"}, 15.0),
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "78"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
    ],
)
def test_how_often_systemd_wants_to_hear(environ: dict[str, str], seconds: float | None) -> None:
    """sd_watchdog_enabled(3): half of WATCHDOG_USEC, if WATCHDOG_PID is this process or not set."""
    assert watchdog_s(environ, 77) == seconds


@pytest.mark.parametrize(
    ("environ", "every_s"), [({}, 10.0), ({"WATCHDOG_USEC": "60000000"}, 10.0), ({"WATCHDOG_USEC": "4000000"}, 2.0)]
)
def test_a_daemon_is_heard_every_ten_seconds_or_more_often(environ: dict[str, str], every_s: float) -> None:
    watchdog = Watchdog(environ, 77, 100.0)
    assert not watchdog.due(100.0 + every_s - 0.1)
    assert watchdog.due(100.0 + every_s)
    assert not watchdog.due(100.0 + 2 * every_s - 0.1)
    assert watchdog.due(100.0 + 2 * every_s)


@pytest.mark.whole
@pytest.mark.parametrize("role", ["ingest", "alerts", "page"])
def test_a_unit_of_its_own_is_heard_as_often_as_systemd_asks(tmp_path: Path, role: str) -> None:
    page = f'\n[page]\naddress = "127.0.0.1:{free_port()}"\n'
    file = write_cellar(tmp_path, watched_keg(free_port(), free_port()) + page)
    address = str(tmp_path / "notify")
    environ = {**os.environ, "NOTIFY_SOCKET": address, "WATCHDOG_USEC": "2000000"}
    # The shell becomes the daemon, so its id is the one that systemd would name.
    words = ["sh", "-c", 'WATCHDOG_PID=$$ exec "$@"', "sh", *COMMAND, "run", str(file), "--only", role]
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(address)
        manager.settimeout(20)
        process = subprocess.Popen(words, env=environ, stderr=subprocess.DEVNULL)
        try:
            assert manager.recv(100) == b"READY=1"
            # By the usual ten seconds, not one would come in this time.
            manager.settimeout(5)
            assert [manager.recv(100) for _ in range(2)] == [b"WATCHDOG=1"] * 2
        finally:
            process.terminate()
            assert process.wait(20) == 0
