"""What `leeside run` becomes: ingest, alerts and page as children, kept alive. Standard library only, to stay small.

A child says over its own notification socket (the protocol of sd_notify(3), as systemd speaks it) that it is ready and,
every ten seconds, that its work goes on. One that dies, or is silent for two minutes, is restarted after a
growing wait. One that says at its very first start that it cannot work (exit code 2) ends the whole.
"""

from __future__ import annotations

__all__ = ["MODULES", "Child", "main", "supervise"]

import os
import selectors
import signal
import socket
import struct
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from types import FrameType

from ingest.watchdog import WATCHDOG_NAMES, watchdog_s

FIRST_WAIT_S = 1.0
LONGEST_WAIT_S = 60.0
# After this long in good health the wait begins at its shortest again.
HEALTHY_S = 300.0
SILENCE_S = 120.0
# A child is heard every ten seconds; one that was not for so long is not called alive to systemd.
HEARD_LATELY_S = 60.0
STOP_S = 20.0
LOOK_UP_S = 0.5

CANNOT_START = 2

# Role -> the module that is its process.
MODULES = {"ingest": "ingest.daemon", "alerts": "alerts.daemon", "page": "alerts.page.serving"}
MOST_NOTES = 100

# struct ucred of unix(7): process, user and group id.
_CREDENTIALS = struct.Struct("3i")


def say(text: str) -> None:
    """A line for the terminal or the system's journal."""
    print(text, file=sys.stderr, flush=True)


class Child:
    """One role's process and its notification socket.

    needed: nothing is watched without it. The page is not: whatever becomes of it, the watch goes on.
    """

    def __init__(self, role: str, command: Sequence[str], environ: Mapping[str, str], *, needed: bool = True) -> None:
        self.role = role
        self.needed = needed
        self._command = list(command)
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        # An abstract name: it belongs to no folder and goes with the process.
        self.socket.bind(f"\0leeside-{os.getpid()}-{role}")
        self.socket.setblocking(False)
        # Anyone on this machine can write to an abstract name; the kernel says who did (unix(7)).
        self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_PASSCRED, 1)
        self._environ = dict(environ)
        self._environ["NOTIFY_SOCKET"] = f"@leeside-{os.getpid()}-{role}"
        self._environ["LEESIDE_PARENT"] = str(os.getpid())
        for name in WATCHDOG_NAMES:
            # What systemd asks for is asked of this process.
            self._environ.pop(name, None)
        self.process: subprocess.Popen[bytes] | None = None
        self.was_ready = False
        self.heard = 0.0
        self._started = 0.0
        self._wait_s = FIRST_WAIT_S
        self.due = 0.0

    def start(self, now: float) -> None:
        """Start the process."""
        self.process = subprocess.Popen(self._command, env=self._environ, stdin=subprocess.DEVNULL)
        self._started = self.heard = now

    def listen(self, now: float) -> None:
        """Take what the child has said; what another process writes to the socket is passed over."""
        # As many as one turn may take, so that a process that writes without end holds nothing up.
        for _ in range(MOST_NOTES):
            try:
                data, ancillary, _, _ = self.socket.recvmsg(4096, socket.CMSG_SPACE(_CREDENTIALS.size))
            except BlockingIOError:
                return
            if self.process is None or _sender(ancillary) != self.process.pid:
                continue
            lines = data.decode("utf-8", "replace").splitlines()
            if "READY=1" in lines:
                self.was_ready = True
            if "READY=1" in lines or "WATCHDOG=1" in lines:
                self.heard = now

    def look(self, now: float) -> int | None:
        """Restart the child where needed; an exit code when the whole must end."""
        if self.process is None:
            if now >= self.due:
                self.start(now)
            return None
        code = self.process.poll()
        if code is None:
            if now - self.heard > SILENCE_S:
                say(f"{self.role} has not responded for {SILENCE_S:g} s and is restarted")
                self.process.kill()
            return None
        if not self.was_ready and code == CANNOT_START and self.needed:
            return code
        if now - self._started > HEALTHY_S:
            self._wait_s = FIRST_WAIT_S
        say(f"{self.role} ended ({_ending(code)}); restarted in {self._wait_s:g} s")
        self.process = None
        self.due = now + self._wait_s
        self._wait_s = min(2 * self._wait_s, LONGEST_WAIT_S)
        return None

    def terminate(self) -> None:
        """Pass SIGTERM on."""
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()

    def await_end(self, deadline: float) -> None:
        """Wait for the end, and enforce it at the deadline."""
        if self.process is None:
            return
        try:
            self.process.wait(max(0.1, deadline - time.monotonic()))
        except subprocess.TimeoutExpired:
            say(f"{self.role} did not stop in time and was ended")
            self.process.kill()
            self.process.wait()


def _sender(ancillary: Sequence[tuple[int, int, bytes]]) -> int | None:
    """The process that wrote a datagram, as the kernel says; None where it does not."""
    for level, kind, data in ancillary:
        if (level, kind) == (socket.SOL_SOCKET, socket.SCM_CREDENTIALS) and len(data) >= _CREDENTIALS.size:
            return int(_CREDENTIALS.unpack_from(data)[0])
    return None


def _ending(code: int) -> str:
    if code < 0:
        return f"signal {signal.Signals(-code).name}" if -code in set(signal.Signals) else f"signal {-code}"
    return f"exit code {code}"


def _notify(text: str, address: str | None) -> None:
    if not address:
        return
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sender:
        # A manager that does not read must not hold up the watch.
        sender.setblocking(False)
        try:
            sender.connect("\0" + address[1:] if address.startswith("@") else address)
            sender.sendall(text.encode())
        except OSError as error:
            say(f"{text} cannot be reported to systemd: {error}")


def supervise(
    children: Sequence[Child], stopped: Callable[[], bool], manager: str | None, watchdog: float | None = None
) -> int:
    """Keep the children alive until ``stopped()``; give the exit code.

    manager: systemd's own notification socket, or None. It gets READY=1 once all are ready, and every ``watchdog``
    seconds WATCHDOG=1 while all have been heard lately.
    """
    with selectors.DefaultSelector() as selector:
        for child in children:
            selector.register(child.socket, selectors.EVENT_READ, child)
            child.start(time.monotonic())
        told_ready = False
        told_alive = time.monotonic()
        code = 0
        while not stopped():
            for key, _ in selector.select(LOOK_UP_S if watchdog is None else min(LOOK_UP_S, watchdog)):
                key.data.listen(time.monotonic())
            now = time.monotonic()
            codes = [given for given in (child.look(now) for child in children) if given is not None]
            if codes:
                code = codes[0]
                break
            if not told_ready and all(child.was_ready for child in children if child.needed):
                told_ready = True
                _notify("READY=1", manager)
            due = watchdog is not None and now - told_alive >= watchdog
            if told_ready and due and all(now - child.heard < HEARD_LATELY_S for child in children if child.needed):
                told_alive = now
                _notify("WATCHDOG=1", manager)
        _notify("STOPPING=1", manager)
        for child in children:
            child.terminate()
        deadline = time.monotonic() + STOP_S
        for child in children:
            child.await_end(deadline)
            child.socket.close()
    return code


def main(arguments: Sequence[str]) -> int:
    """``python -m alerts.command.supervisor FILE ROLE...``: run these roles, by default the two daemons."""
    file, *roles = arguments
    stopping = False

    def on_signal(number: int, frame: FrameType | None) -> None:
        nonlocal stopping
        stopping = True

    signal.signal(signal.SIGTERM, on_signal)
    signal.signal(signal.SIGINT, on_signal)
    children = [
        Child(role, [sys.executable, "-m", MODULES[role], str(Path(file))], os.environ, needed=role != "page")
        for role in roles or ("ingest", "alerts")
    ]
    return supervise(children, lambda: stopping, os.environ.get("NOTIFY_SOCKET"), watchdog_s(os.environ, os.getpid()))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
