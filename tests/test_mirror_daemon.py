"""The mirror inside the ingest daemon: it sends, tells how it stands, and ends with the daemon."""

from __future__ import annotations

import sys
import threading
from pathlib import Path

import pytest
from a_cellar_on_disk import CellarOnDisk
from a_store import NOW
from cellar_text import KEG, PROBE, SITE, mqtt, write_cellar
from eventually import eventually
from influx_server import InfluxServer

from alerts.command.now import now
from ingest.cellar import load_cellar
from ingest.daemon import IngestDaemon, main
from ingest.pulse import IngestPulse, MirrorPulse
from ingest.store import open_existing
from ingest.store.pulse_rows import pulses, write_pulse
from ingest.store.readings.fresh import Appender

# Nobody listens there; the mirror works without a broker.


def _file(folder: Path, mirror: str) -> Path:
    return write_cellar(folder, SITE, mqtt(port=9), KEG, PROBE, mirror)


def test_the_daemon_mirrors_and_says_so(tmp_path: Path) -> None:
    with InfluxServer() as server:
        mirror = f'[mirror]\nurl = "{server.url}"\norg = "o"\nbucket = "b"\ntoken_env = "TOKEN"\nevery = "1 s"\n'
        daemon = IngestDaemon(load_cellar(_file(tmp_path, mirror)), {"TOKEN": "abc"})
        daemon.start()
        thread = threading.Thread(target=daemon.run)
        thread.start()
        try:
            with open_existing(tmp_path / "cellar.db") as store:
                Appender(store).append([(1, NOW, 55.5, 0)])
                eventually(lambda: server.points)
        finally:
            daemon.stop_event.set()
            thread.join(10)
            daemon.stop()
        ((head, at),) = server.points
        assert head == r"reading,place=K1,probe=k1-pressure,quantity=pressure,site=Mill\ Lane\ cellar"
        assert at == NOW * 1_000_000
        assert server.requests[0].token == "Token abc"
        assert not [each for each in threading.enumerate() if each.name == "mirror"]
        with open_existing(tmp_path / "cellar.db") as store:
            pulse = pulses(store).ingest
    assert pulse is not None
    state = pulse.body.mirror
    assert state is not None
    assert (state.state, state.sent, state.behind, state.last_error) == ("up to date", 1, 0, None)


def test_without_the_library_the_start_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setitem(sys.modules, "ingest.mirror.influx", None)
    file = _file(tmp_path, '[mirror]\nurl = "http://localhost"\norg = "o"\nbucket = "b"\n')
    assert main([str(file)]) == 2
    assert "pip install 'leeside[mirror]'" in caplog.text


def _now(folder: Path, mirror: dict[str, object], capsys: pytest.CaptureFixture[str]) -> list[str]:
    cellar = CellarOnDisk(folder)
    (folder / "cellar.toml").write_text(cellar.cellar.text, encoding="utf-8")
    with cellar.store.write() as connection:
        write_pulse(connection, IngestPulse(mirror=MirrorPulse.model_validate(mirror)), NOW, NOW)
    cellar.store.close()
    now(folder / "cellar.toml")
    return [line.strip() for line in capsys.readouterr().out.splitlines() if line.strip().startswith("mirror:")]


def test_now_tells_a_mirror_that_is_away(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    state = {"state": "waiting", "last_error": "no answer in time", "behind": 3, "spans": 0, "refused": 2}
    assert _now(tmp_path, state, capsys) == [
        "mirror: nothing gets through; no answer in time",
        "mirror: still to send: 3 new readings and changes",
        "mirror: the server refused 2 times since the start; see docs/operations.md",
    ]


def test_now_tells_a_mirror_that_keeps_up(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert _now(tmp_path, {"state": "up to date", "newest_sent_ms": None}, capsys) == ["mirror: up to date"]
