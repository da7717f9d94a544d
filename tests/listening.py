"""`leeside listen` as a user starts it, with what it has printed so far; and a serial cable with a free end."""

from __future__ import annotations

__all__ = ["Cable", "Listener"]

import os
import pty
import signal
import subprocess
import threading
import tty
from collections.abc import Callable
from types import TracebackType
from typing import IO

from eventually import eventually
from running import COMMAND


class Cable:
    """A pseudo terminal whose near end is ours; ``device`` is not open until a program opens it."""

    def __init__(self) -> None:
        self._near, far = pty.openpty()
        tty.setraw(far)
        self.device = os.ttyname(far)
        os.close(far)

    def say(self, text: bytes) -> None:
        os.write(self._near, text)

    def say_until(self, text: bytes, holds: Callable[[], object]) -> None:
        """Send it repeatedly: what arrives before the reader has flushed its input is discarded."""

        def said_and_holds() -> object:
            self.say(text)
            return holds()

        eventually(said_and_holds)

    def __enter__(self) -> Cable:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        os.close(self._near)


class Listener:
    """A running `leeside listen`; ``lines`` and ``states`` grow as it prints."""

    def __init__(self, *arguments: object) -> None:
        self.lines: list[str] = []
        self.states: list[str] = []
        self._arguments = [str(argument) for argument in arguments]

    def __enter__(self) -> Listener:
        command = [*COMMAND, "listen", *self._arguments]
        self._process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        assert self._process.stdout is not None
        assert self._process.stderr is not None
        self._readers = [
            threading.Thread(target=self._read, args=(pipe, into))
            for pipe, into in ((self._process.stdout, self.lines), (self._process.stderr, self.states))
        ]
        for reader in self._readers:
            reader.start()
        return self

    @staticmethod
    def _read(pipe: IO[str], into: list[str]) -> None:
        for line in pipe:
            into.append(line.rstrip("\n"))

    def said(self, words: str) -> bool:
        return any(words in line for line in [*self.lines, *self.states])

    def await_words(self, words: str) -> None:
        eventually(lambda: self.said(words) or self._process.poll() is not None)
        assert self.said(words), [*self.lines, *self.states]

    @property
    def pid(self) -> int:
        return self._process.pid

    def interrupt(self) -> int:
        """Send SIGINT, as Ctrl-C does; return the exit code."""
        self._process.send_signal(signal.SIGINT)
        return self.end()

    def end(self) -> int:
        code = self._process.wait(30)
        for reader in self._readers:
            reader.join(10)
        return code

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._process.poll() is None:
            self._process.kill()
        self.end()
        for pipe in (self._process.stdout, self._process.stderr):
            if pipe is not None:
                pipe.close()
