"""A serial line's troubles in plain words: what happened and what to do next."""

from __future__ import annotations

__all__ = ["Holder", "find_holder", "holder_of", "is_in_use", "trouble_words"]

import errno
from dataclasses import dataclass
from pathlib import Path

_AGAIN = "leeside goes on trying."
_IN_USE = frozenset({errno.EAGAIN, errno.EWOULDBLOCK, errno.EBUSY})
_GONE = frozenset({errno.ENODEV, errno.ENXIO, errno.EIO})


@dataclass(frozen=True, slots=True)
class Holder:
    """A process that has a device open."""

    pid: int
    command: str

    def __str__(self) -> str:
        return f"process {self.pid} ({self.command})"


def is_in_use(error: Exception) -> bool:
    """Whether opening failed because another program holds the line."""
    return getattr(error, "errno", None) in _IN_USE


def trouble_words(error: Exception, device: str) -> str:
    """Why the line cannot be opened or read.

    pyserial raises SerialException, an OSError; its ``errno`` tells a missing device (ENOENT), no permission (EACCES)
    and a lock held by another program (EAGAIN) apart. It is None where a device vanished under the reader.
    """
    code = getattr(error, "errno", None)
    if code == errno.ENOENT:
        return (
            f"There is no device {device}: is the adapter plugged in? What is there, "
            f"`ls /dev/serial/by-id /dev/serial/by-path` shows. {_AGAIN}"
        )
    if code in (errno.EACCES, errno.EPERM):
        return (
            f"No permission to open {device}: add the user that runs leeside to the group of the device "
            f"(on Debian `adduser USER dialout`), then start it anew. {_AGAIN}"
        )
    if code in _IN_USE:
        holder = holder_of(device)
        who = holder or "another program (run `fuser -v` on the device to see which)"
        return f"{device} is in use by {who}: two readers would get half of the bytes each. Stop one of them. {_AGAIN}"
    if code in _GONE or "returned no data" in str(error):
        return f"{device} is gone: was the adapter unplugged, or did its cable come loose? {_AGAIN}"
    return f"{device} cannot be read: {error}. {_AGAIN}"


def holder_of(device: str, proc: Path = Path("/proc")) -> str:
    """Who has a device open, such as ``process 812 (minicom)``; empty if that cannot be seen."""
    holder = find_holder(device, proc)
    return "" if holder is None else str(holder)


def find_holder(device: str, proc: Path = Path("/proc")) -> Holder | None:
    """The first process that has a device open, None if none can be seen.

    Only processes of the same user can be looked into, unless we are root.
    """
    target = Path(device).resolve()
    for process in sorted(proc.glob("[0-9]*"), key=lambda path: int(path.name)):
        try:
            if any(descriptor.readlink() == target for descriptor in (process / "fd").iterdir()):
                return Holder(int(process.name), (process / "comm").read_text().strip())
        except OSError:
            continue  # another user's process, or one that has just ended
    return None
