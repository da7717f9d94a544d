"""A command's hold of the store's write lock, watched from outside; the command can be killed meanwhile.

In WAL mode a writer holds a POSIX lock on byte 120 of the store's -shm file (SQLite's file format, "WAL-Index
Format"). Asking who holds it changes nothing. This runs in a process of its own that opens no database, since a process
that closes a file loses its locks on it.

    python write_lock.py SHM DELAY COMMAND...

DELAY: seconds from when the command first takes the lock until it is killed; below 0, it is not. Prints a JSON object:
span_s (from when the lock was first taken until it was last held), inside (whether it was held when the command was
killed), said (the command's output).
"""

from __future__ import annotations

__all__ = ["Watched", "watched"]

import json
import subprocess
import sys
from fcntl import F_GETLK, F_UNLCK, F_WRLCK, fcntl
from pathlib import Path
from struct import pack, unpack
from time import monotonic, perf_counter
from typing import Any, Final, NamedTuple

_BYTE: Final = 120
# struct flock of Linux on 64 bits: type, whence, start, length, process.
_FLOCK: Final = "hhqqi4x"
_WAIT_S: Final = 60.0


class Watched(NamedTuple):
    """The JSON object above."""

    span_s: float
    inside: bool
    said: str


def watched(shm: Path, command: list[str], delay_s: float = -1.0) -> Watched:
    """Run a command in the top folder and watch it from a third process."""
    done = subprocess.run(
        [sys.executable, __file__, str(shm), repr(delay_s), *command],
        capture_output=True, text=True, check=True, timeout=2 * _WAIT_S, cwd=Path(__file__).parent.parent,
    )  # fmt: skip
    return Watched(**json.loads(done.stdout))


def _watch(shm: Path, delay_s: float, command: list[str]) -> dict[str, Any]:
    first = last = 0.0
    inside = False
    wanted = pack(_FLOCK, F_WRLCK, 0, _BYTE, 1, 0)
    deadline = monotonic() + _WAIT_S
    with (
        shm.open("rb") as file,
        subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT) as child,
    ):
        while child.poll() is None and monotonic() < deadline:
            kind, _, _, _, holder = unpack(_FLOCK, fcntl(file, F_GETLK, wanted))
            holds = kind != F_UNLCK and holder == child.pid
            now = perf_counter()
            if holds:
                first, last = first or now, now
            if first and 0.0 <= delay_s <= now - first:
                inside = holds
                child.kill()
                break
        said, _ = child.communicate(timeout=_WAIT_S)
    return {"span_s": last - first, "inside": inside, "said": said.decode()}


if __name__ == "__main__":
    print(json.dumps(_watch(Path(sys.argv[1]), float(sys.argv[2]), sys.argv[3:])))
