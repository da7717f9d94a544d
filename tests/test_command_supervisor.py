"""The supervisor: children that die are restarted, one that cannot start ends all, and systemd gets reports."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from cellar_text import SITE, write_cellar
from eventually import eventually

from alerts.command.supervisor import Child, supervise

READY = "import sdnotify, sys, time, signal\nsdnotify.SystemdNotifier().notify('READY=1')\n"
STAYS = READY + "signal.sigwait([signal.SIGTERM])\n"


def child(role: str, program: str, note: Path | None = None) -> Child:
    text = program if note is None else f"open({str(note)!r}, 'a').write('started\\n')\n{program}"
    return Child(role, [sys.executable, "-c", text], os.environ)


class Supervised:
    """Supervises in a thread, so that a test can look on."""

    def __init__(self, *children: Child, manager: str | None = None, watchdog: float | None = None) -> None:
        self.stopping = threading.Event()
        self.code: int | None = None
        self._thread = threading.Thread(target=self._run, args=(children, manager, watchdog))
        self._thread.start()

    def _run(self, children: tuple[Child, ...], manager: str | None, watchdog: float | None) -> None:
        self.code = supervise(children, self.stopping.is_set, manager, watchdog)

    def stop(self) -> int | None:
        self.stopping.set()
        self._thread.join(30)
        return self.code

    def wait(self) -> int | None:
        self._thread.join(30)
        return self.code


def starts(note: Path) -> int:
    return note.read_text().count("started") if note.exists() else 0


def test_a_child_that_dies_is_started_anew(tmp_path: Path) -> None:
    note = tmp_path / "note"
    watch = Supervised(child("dying", READY + "sys.exit(1)", note), child("living", STAYS))
    eventually(lambda: starts(note) >= 2)
    assert watch.stop() == 0


def test_a_child_that_is_killed_is_started_anew(tmp_path: Path) -> None:
    note = tmp_path / "note"
    victim = child("victim", STAYS, note)
    watch = Supervised(victim)
    eventually(lambda: victim.was_ready)
    assert victim.process is not None
    victim.process.kill()
    eventually(lambda: starts(note) == 2)
    assert watch.stop() == 0


def test_the_wait_between_starts_grows(tmp_path: Path) -> None:
    dying = child("growing", READY + "sys.exit(1)")
    waits = []
    now = 100.0
    for _ in range(8):
        dying.start(now)
        assert dying.process is not None
        dying.process.wait()
        dying.listen(now)
        assert dying.look(now) is None
        waits.append(dying.due - now)
        now += 1.0
    dying.socket.close()
    assert waits == [1, 2, 4, 8, 16, 32, 60, 60]


def test_one_that_says_at_its_first_start_that_it_cannot_work_ends_the_whole() -> None:
    watch = Supervised(child("hopeless", "import sys; sys.exit(2)"), child("other", STAYS))
    assert watch.wait() == 2


def test_one_that_is_not_needed_and_cannot_work_is_tried_again_while_the_others_go_on(tmp_path: Path) -> None:
    note = tmp_path / "note"
    page = child("page", "import sys; sys.exit(2)", note)
    page.needed = False
    address = str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(address)
        manager.settimeout(20)
        watch = Supervised(page, child("steady", STAYS), manager=address, watchdog=0.05)
        assert [manager.recv(100) for _ in range(2)] == [b"READY=1", b"WATCHDOG=1"]
        eventually(lambda: starts(note) >= 2)
        assert watch.stop() == 0


def test_one_that_was_ready_once_is_tried_again_whatever_its_exit_code(tmp_path: Path) -> None:
    note = tmp_path / "note"
    watch = Supervised(child("later", READY + "sys.exit(2)", note))
    eventually(lambda: starts(note) >= 2)
    assert watch.stop() == 0


def test_one_that_falls_silent_is_ended_and_started_anew(tmp_path: Path) -> None:
    note = tmp_path / "note"
    silent = child("silent", STAYS, note)
    silent.start(0.0)

    def ready() -> bool:
        silent.listen(0.0)
        return silent.was_ready

    eventually(ready)
    assert silent.look(119.0) is None
    assert silent.process is not None
    assert silent.process.poll() is None
    assert silent.look(121.0) is None
    assert silent.process.wait(10) == -signal.SIGKILL
    assert silent.look(122.0) is None
    assert silent.look(124.0) is None
    eventually(lambda: starts(note) == 2)
    silent.terminate()
    silent.await_end(0.0)
    silent.socket.close()


def test_systemd_is_told_ready_when_both_are_and_stopping_at_the_end(tmp_path: Path) -> None:
    address = str(tmp_path / "notify")
    gate = tmp_path / "gate"
    waits = f"import os, time\nwhile not os.path.exists({str(gate)!r}): time.sleep(0.01)\n{STAYS}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(address)
        manager.settimeout(10)
        first, second = child("first", STAYS), child("second", waits)
        watch = Supervised(first, second, manager=address)
        eventually(lambda: first.was_ready)
        manager.setblocking(False)
        with pytest.raises(BlockingIOError):
            manager.recv(100)
        manager.settimeout(10)
        gate.touch()
        assert manager.recv(100) == b"READY=1"
        assert watch.stop() == 0
        assert manager.recv(100) == b"STOPPING=1"


def test_what_another_process_writes_to_the_socket_is_not_the_child_s(tmp_path: Path) -> None:
    """Nobody can keep a silent child alive, or call one ready, by writing to its socket."""
    silent = child("alone", "import signal\nsignal.sigwait([signal.SIGTERM])\n")
    silent.start(0.0)
    name = silent.socket.getsockname()
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as stranger:
        stranger.connect(name)
        stranger.send(b"READY=1\nWATCHDOG=1")
    silent.listen(100.0)
    assert not silent.was_ready
    assert silent.heard == 0.0
    silent.terminate()
    silent.await_end(0.0)
    silent.socket.close()


def test_systemd_hears_as_often_as_it_asks(tmp_path: Path) -> None:
    address = str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(address)
        manager.settimeout(20)
        watch = Supervised(child("steady", STAYS), manager=address, watchdog=0.05)
        assert [manager.recv(100) for _ in range(4)] == [b"READY=1", b"WATCHDOG=1", b"WATCHDOG=1", b"WATCHDOG=1"]
        assert watch.stop() == 0


def test_children_end_when_the_supervisor_is_killed(tmp_path: Path) -> None:
    """What `leeside run` started must not go on alone and hold the store against the next start."""
    file = write_cellar(tmp_path, SITE)
    process = subprocess.Popen(
        [sys.executable, "-m", "alerts.command.supervisor", str(file)], stderr=subprocess.DEVNULL
    )
    locks = [tmp_path / f"cellar.db.{role}.lock" for role in ("ingest", "alerts")]
    eventually(lambda: all(lock.exists() and lock.read_text() for lock in locks))
    children = [int(lock.read_text().split()[1]) for lock in locks]
    process.kill()
    process.wait()
    eventually(lambda: not any(Path(f"/proc/{pid}").exists() and _lives(pid) for pid in children))


def _lives(pid: int) -> bool:
    try:
        return "State:\tZ" not in Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return False
