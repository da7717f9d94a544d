"""The command as a user calls it: in this process, in one of its own, and `leeside run` with its daemons."""

from __future__ import annotations

__all__ = ["COMMAND", "Leeside", "leeside", "leeside_process"]

import io
import os
import signal
import subprocess
import sys
from collections.abc import Mapping
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from types import TracebackType
from typing import Final
from unittest.mock import patch

from eventually import eventually

from alerts.command.main import main
from ingest.store import open_existing
from ingest.store.pulse_rows import pulses

# Tests that were started in the background may ignore these signals, and so would their children.
COMMAND: Final = ("env", "--default-signal=INT,HUP", sys.executable, "-m", "alerts.command.main")


def leeside(*arguments: object) -> subprocess.CompletedProcess[str]:
    """Run one command to its end in this process, without a terminal, which is half a second faster than a new process.

    Not for `demo` and `listen`, which set signal handlers, nor for a `run` that gets as far as starting the daemons.
    """
    words = [str(argument) for argument in arguments]
    out, errors = (io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True) for _ in range(2))
    code: object = 0
    with (
        Path(os.devnull).open(encoding="utf-8") as nothing,
        patch.object(sys, "argv", ["leeside", *words]),
        patch.object(sys.modules["__main__"], "__package__", None),  # otherwise the usage line would name pytest
        patch.object(sys, "stdin", nothing),
        patch.object(os, "execv", side_effect=AssertionError("the daemons start in a process of their own")),
        redirect_stdout(out),
        redirect_stderr(errors),
    ):
        try:
            main()
        except SystemExit as end:
            code = end.code or 0
    assert isinstance(code, int)
    said, complaints = (stream.buffer.getvalue().decode() for stream in (out, errors))
    return subprocess.CompletedProcess(words, code, said, complaints)


def leeside_process(*arguments: object, timeout: float = 60.0) -> subprocess.CompletedProcess[str]:
    """Run one command to its end in a process of its own, without a terminal."""
    return subprocess.run(
        [*COMMAND, *map(str, arguments)], stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=timeout,
        check=False,
    )  # fmt: skip


class Leeside:
    """A running `leeside run FILE`. Entering the block waits until both daemons have written a pulse.

    environ: further variables; before: words in front of the command, such as those of faketime.
    """

    def __init__(self, file: Path, *, environ: Mapping[str, str] | None = None, before: tuple[str, ...] = ()) -> None:
        self.file = file
        self.log = file.with_suffix(".log")
        self._environ = {**os.environ, **(environ or {})}
        self._before = before
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def store_path(self) -> Path:
        return self.file.parent / "cellar.db"

    def start(self) -> None:
        """Start it and wait for the pulses of this start."""
        old = self._starts()
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                [*self._before, *COMMAND, "run", str(self.file)],
                stdout=log,
                stderr=log,
                env=self._environ,
            )
        eventually(lambda: self._ended() or self._both_new(old))
        assert not self._ended(), self.said()

    def _ended(self) -> bool:
        return self._process is None or self._process.poll() is not None

    def _starts(self) -> dict[str, int]:
        if not self.store_path.exists():
            return {}
        try:
            with open_existing(self.store_path) as store:
                ingest, alerts = pulses(store)
        except Exception:  # noqa: BLE001  the store may just be being created
            return {}
        return {role: pulse.pid for role, pulse in (("ingest", ingest), ("alerts", alerts)) if pulse is not None}

    def _both_new(self, old: Mapping[str, int]) -> bool:
        new = self._starts()
        return all(role in new and new[role] != old.get(role) for role in ("ingest", "alerts"))

    def pid_of(self, role: str) -> int:
        """Return the process id of a daemon."""
        return self._starts()[role]

    def said(self) -> str:
        """Return what it has logged."""
        return self.log.read_text("utf-8", "replace")

    def stop(self) -> int:
        """Send SIGTERM; return the exit code."""
        assert self._process is not None
        self._process.send_signal(signal.SIGTERM)
        code = self._process.wait(30)
        self._process = None
        return code

    def __enter__(self) -> Leeside:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._process is not None and self._process.poll() is None:
            self.stop()
