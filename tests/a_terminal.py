"""A leeside command at a pseudo-terminal, as a person has it."""

from __future__ import annotations

__all__ = ["AtTheTerminal", "start_at_a_terminal"]

import os
import select
import subprocess
import time
from pathlib import Path

from running import COMMAND

_WAIT_S = 30.0


class AtTheTerminal:
    """A leeside command with a pseudo-terminal of its own."""

    def __init__(self, *words: str) -> None:
        self._ours, theirs = os.openpty()
        self.process = subprocess.Popen(
            [*COMMAND, *words], stdin=theirs, stdout=theirs, stderr=theirs, cwd=Path(__file__).parent.parent,
            start_new_session=True,
        )  # fmt: skip
        os.close(theirs)
        self.seen = ""

    def until(self, text: str) -> None:
        """Wait until something new says this."""
        begun = len(self.seen)
        deadline = time.monotonic() + _WAIT_S
        while text not in self.seen[begun:]:
            assert self._read(deadline - time.monotonic()), f"'{text}' never came: {self.seen}"

    def _read(self, timeout_s: float) -> bool:
        ready, _, _ = select.select([self._ours], [], [], max(timeout_s, 0.0))
        if not ready:
            return False
        try:
            data = os.read(self._ours, 4096)
        except OSError:  # Linux says so once the other end is shut
            return False
        self.seen += data.decode()
        return bool(data)

    def say(self, line: str) -> None:
        """Type a line."""
        os.write(self._ours, f"{line}\n".encode())

    def end(self) -> int:
        """Its exit code, with all that it said read."""
        while self._read(_WAIT_S):
            pass
        return self.process.wait(_WAIT_S)

    def close(self) -> None:
        """End it if it still runs."""
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(_WAIT_S)
        os.close(self._ours)


def start_at_a_terminal(opened: list[AtTheTerminal], *words: str) -> AtTheTerminal:
    """Start a command with a terminal of its own, and note it among the opened ones, which the test closes."""
    opened.append(AtTheTerminal(*words))
    return opened[-1]
