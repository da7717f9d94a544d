"""A shell with one command, leeside, at a pseudo terminal: as a person types, in a time that is only said.

Each line is a call of the command, in a process of its own that is forked from one which has loaded everything, so that
seventy of them take seconds. The clock stands still at the time that was said last (by libfaketime).
"""

from __future__ import annotations

__all__ = ["AtTheShell"]

import os
import select
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import TracebackType
from typing import Final

LIBRARY: Final = next(Path("/usr/lib").glob("*/faketime/libfaketime.so.1"))
PROMPT: Final = "cellar$ "
_WAIT_S: Final = 30.0


class AtTheShell:
    """A person at a terminal in a folder with a cellar file. began: local time, such as 2026-10-03 18:30."""

    def __init__(self, folder: Path, began: str) -> None:
        self._clock = folder / "clock"
        self.it_is(began)
        self._ours, theirs = os.openpty()
        environ = {
            **os.environ,
            "LD_PRELOAD": str(LIBRARY),
            "FAKETIME_TIMESTAMP_FILE": str(self._clock),
            "FAKETIME_NO_CACHE": "1",
            "FAKETIME_DONT_FAKE_MONOTONIC": "1",
            "TZ": "Europe/Ljubljana",
            "USER": "ana",
            "LOGNAME": "ana",
            "PYTHONPATH": os.pathsep.join((str(Path(__file__).parent.parent), os.environ.get("PYTHONPATH", ""))),
        }
        self._process = subprocess.Popen(
            [sys.executable, __file__], stdin=theirs, stdout=theirs, stderr=theirs, cwd=folder, env=environ,
            start_new_session=True,
        )  # fmt: skip
        os.close(theirs)
        self._until((PROMPT,))

    def it_is(self, local: str) -> None:
        """Set the clock; it stands still there."""
        self._clock.write_text(f"{local}:00\n", encoding="utf-8")

    def call(self, line: str, *answers: str) -> str:
        """Type a call, and an answer to each question as it comes; return what was seen, questions included."""
        self._write(line)
        seen = ""
        left = list(answers)
        while True:
            seen += self._until((PROMPT, "? ", "] ", ") ", ": "))
            if seen.endswith(PROMPT):
                break
            if self._quiet():
                assert left, f"a question that nobody expected: {seen}"
                answer = left.pop(0)
                self._write(answer)
        assert not left, f"never asked for {left}: {seen}"
        return seen.removesuffix(PROMPT).replace("\r\n", "\n")

    def _write(self, line: str) -> None:
        os.write(self._ours, f"{line}\n".encode())

    def _quiet(self) -> bool:
        """Whether the other end waits for an answer: nothing more comes, and it stands in a question."""
        return not select.select([self._ours], [], [], 0.05)[0]

    def _until(self, ends: tuple[str, ...]) -> str:
        seen = ""
        deadline = time.monotonic() + _WAIT_S
        while not seen.endswith(ends):
            ready, _, _ = select.select([self._ours], [], [], max(0.0, deadline - time.monotonic()))
            assert ready, f"nothing more came after: {seen}"
            seen += os.read(self._ours, 65536).decode("utf-8", "replace")
        return seen

    def close(self) -> None:
        """Leave the shell."""
        if self._process.poll() is None:
            os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait(_WAIT_S)
        os.close(self._ours)

    def __enter__(self) -> AtTheShell:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _shell() -> None:
    """Read calls from the terminal, run each, until "exit"."""
    from alerts.command.main import COMMANDS, main

    for target, _ in COMMANDS.values():
        __import__(target.partition(":")[0])
    while True:
        sys.stdout.write(PROMPT)
        sys.stdout.flush()
        words = shlex.split(sys.stdin.readline())
        if words[:1] != ["leeside"]:
            return
        child = os.fork()
        if not child:
            sys.argv = words
            try:
                main()
                code = 0
            except SystemExit as end:
                code = end.code if isinstance(end.code, int) else 0
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
        _, status = os.waitpid(child, 0)
        code = os.waitstatus_to_exitcode(status)
        if code:
            sys.stdout.write(f"[exit code {code}]\n")


if __name__ == "__main__":
    _shell()
