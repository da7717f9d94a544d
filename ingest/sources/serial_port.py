"""The port of a serial line: how it is opened, tried once, who else has it open, and what its troubles mean."""

from __future__ import annotations

__all__ = ["PORT_ERRORS", "Holder", "LineTrial", "closed_port", "find_holder", "trouble_words", "try_line"]

import errno
from dataclasses import dataclass
from pathlib import Path

import serial

from ingest.cellar import SerialSettings
from ingest.errors import SourceError

try:
    from termios import error as TerminalError
except ImportError:  # Windows has no termios, and pyserial raises only its own error there
    TerminalError = OSError  # type: ignore[misc,assignment]  # the same role in an except clause

# What pyserial raises when a port cannot be opened or read; ValueError for a rate that the device does not have.
PORT_ERRORS = (OSError, TerminalError, ValueError)

_IN_USE = frozenset({errno.EAGAIN, errno.EWOULDBLOCK, errno.EBUSY})
_GONE = frozenset({errno.ENODEV, errno.ENXIO, errno.EIO})
_TRIAL_TIMEOUT_S = 1.0


@dataclass(frozen=True, slots=True)
class Holder:
    """A process that has a device open."""

    pid: int
    command: str

    def __str__(self) -> str:
        return f"process {self.pid} ({self.command})"


@dataclass(frozen=True, slots=True)
class LineTrial:
    """error: "" if the line could be opened, else why not; in_use: another program reads it; holder: that program, as
    far as it can be seen."""

    error: str = ""
    in_use: bool = False
    holder: Holder | None = None


def closed_port(settings: SerialSettings, *, timeout_s: float, write_timeout_s: float | None = None) -> serial.Serial:
    """Build the port of a line without opening it. Raises SourceError for settings that no port has.

    timeout_s, write_timeout_s: longest wait of a read and of a write; None waits for ever.
    """
    try:
        return serial.serial_for_url(
            settings.device,
            do_not_open=True,
            baudrate=settings.baud,
            bytesize=settings.bytesize,
            parity=settings.parity[0].upper(),
            stopbits=settings.stopbits,
            timeout=timeout_s,
            write_timeout=write_timeout_s,
            # Two readers would get half of the bytes each. The lock is only there for devices of this machine.
            exclusive=True if _is_local(settings.device) else None,
        )
    except ValueError as error:
        raise SourceError(f"Serial line {settings.id!r} ({settings.device}) cannot be set up: {error}.") from error


def try_line(settings: SerialSettings) -> LineTrial:
    """Open the line alone for a moment and close it; nothing is read or sent.

    A device that another program has open is not touched: opening it could reset the board at its end.
    """
    device = settings.device
    holder = find_holder(device) if _is_local(device) else None
    if holder is not None:
        return LineTrial(f"{device} is in use by {holder}.", True, holder)
    try:
        port = closed_port(settings, timeout_s=_TRIAL_TIMEOUT_S)
        port.open()
        port.close()
    except SourceError as error:
        return LineTrial(str(error))
    except PORT_ERRORS as error:
        return LineTrial(trouble_words(error, device), getattr(error, "errno", None) in _IN_USE)
    return LineTrial()


def trouble_words(error: Exception, device: str) -> str:
    """Explain why a port cannot be opened or read, and what to do.

    pyserial raises SerialException, an OSError, whose ``errno`` distinguishes a missing device (ENOENT), no permission
    (EACCES) and a lock held by another program (EAGAIN). It is None where a device vanished under the reader.
    """
    code = getattr(error, "errno", None)
    if isinstance(error, ValueError):
        return f"{device} cannot be set up: {error}."
    if code == errno.ENOENT:
        return (
            f"There is no device {device}: is the adapter plugged in? "
            "`leeside listen --ports` lists the devices that are there."
        )
    if code in (errno.EACCES, errno.EPERM):
        return (
            f"No permission to open {device}: add the user that runs leeside to the group of the device "
            "(on Debian `adduser USER dialout`), then start it again."
        )
    if code in _IN_USE:
        holder = find_holder(device) or "another program (run `fuser -v` on the device to see which)"
        return f"{device} is in use by {holder}: two readers would get half of the bytes each. Stop one of them."
    if code in _GONE or "returned no data" in str(error):
        return f"{device} is gone: was the adapter unplugged, or did its cable come loose?"
    return f"{device} cannot be read: {error}."


def find_holder(device: str, proc: Path = Path("/proc")) -> Holder | None:
    """Return the first process that has a device open, None if none can be seen.

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


def _is_local(device: str) -> bool:
    return "://" not in device
