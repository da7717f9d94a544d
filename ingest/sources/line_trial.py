"""A serial line tried once: can it be opened, and if not, why and who has it?"""

from __future__ import annotations

__all__ = ["LineTrial", "try_line"]

from dataclasses import dataclass

import serial

from ingest.sources.line_trouble import Holder, find_holder, is_in_use, trouble_words

try:
    from termios import error as TerminalError
except ImportError:  # Windows has no termios, and pyserial raises only its own error there
    TerminalError = OSError  # type: ignore[misc,assignment]  # the same role in an except clause


@dataclass(frozen=True, slots=True)
class LineTrial:
    """error: "" if it could be opened, else why not in plain words; in_use: another program reads it; holder: who, as
    far as that can be seen."""

    error: str = ""
    in_use: bool = False
    holder: Holder | None = None


def try_line(device: str, baud: int, bytesize: int, parity: str, stopbits: float) -> LineTrial:
    """Open the line alone for a moment and close it; nothing is read or sent. parity: none, even or odd.

    A device that another program has open is not touched: opening it could reset the board at its end.
    """
    local = "://" not in device
    holder = find_holder(device) if local else None
    if holder is not None:
        return LineTrial(f"{device} is in use by {holder}.", True, holder)
    try:
        serial.serial_for_url(
            device,
            baudrate=baud,
            bytesize=bytesize,
            parity=parity[0].upper(),
            stopbits=stopbits,
            timeout=1.0,
            exclusive=True if local else None,
        ).close()
    except ValueError as error:
        return LineTrial(f"{device} cannot be set up: {error}.")
    except (OSError, TerminalError) as error:
        return LineTrial(trouble_words(error, device), is_in_use(error))
    return LineTrial()
