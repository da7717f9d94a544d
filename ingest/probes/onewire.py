"""One-wire thermometers: the text of the Linux kernel's files becomes a temperature, or a reason why not.

The kernel shows a chip (DS18B20 and its relatives) as a file ``w1_slave`` of two lines:

    91 01 4b 46 7f ff 0c 10 70 : crc=70 YES
    91 01 4b 46 7f ff 0c 10 70 t=25062

The nine bytes are the chip's scratchpad; YES or NO says whether their check sum was right; ``t`` is in thousandths of a
degree Celsius. Newer kernels also have a file ``temperature`` that holds the last number alone. Source: Linux kernel
documentation, w1_therm; data sheet DS18B20 (scratchpad, configuration register, CRC).
"""

from __future__ import annotations

__all__ = ["POWER_ON_C", "Thermometer", "crc8", "parse_w1"]

import re
from typing import Final

from ingest.errors import Unreadable

# What the scratchpad holds from power-on until a conversion has ended (data sheet DS18B20); its check sum is right.
POWER_ON_C: Final = 85.0
# A chip at 85.000 °C that was more than this away just before was not heated but restarted. Common practice, no source.
_NEAR_POWER_ON_C: Final = 5.0

# What widely copied driver code says for "no chip answered". No chip can measure it: they end at -55 °C.
_NO_CHIP_MILLIDEGREES: Final = -127_000

_LARGEST_BYTES: Final = 256
_TWO_LINES: Final = re.compile(
    rb"(?:([0-9a-fA-F]{2}(?: [0-9a-fA-F]{2}){8}) )?: crc=[0-9a-fA-F]{2} (YES|NO)\r?\n"
    rb"(?:[0-9a-fA-F]{2} )*t=(-?[0-9]{1,7})\s*"
)
_NUMBER_ALONE: Final = re.compile(rb"\s*(-?[0-9]{1,7})\s*")

# The chips whose fifth byte is a configuration register, by the family code in their id, and what it can hold:
# 9, 10, 11 or 12 bits (data sheets DS18B20 and DS1822).
_CONFIGURED_FAMILIES: Final = frozenset({"28", "22"})
_CONFIGURATIONS: Final = frozenset({0x1F, 0x3F, 0x5F, 0x7F})


def crc8(data: bytes) -> int:
    """The check sum of the one-wire bus: polynomial x^8 + x^5 + x^4 + 1, lowest bit first, start 0.

    Over data with its own check sum behind it the result is 0. Over ASCII ``123456789`` it is 0xA1.
    Source: data sheet DS18B20, CRC generation.
    """
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0x8C if crc & 1 else 0)
    return crc


def parse_w1(text: bytes, family: str = "28") -> float:
    """Return the temperature [°C] in a chip's file, in steps of 0.001.

    text: the content of ``w1_slave`` or ``temperature``. family: the first two digits of the chip's id; only for 28 and
    22 the configuration byte is looked at.
    Raises Unreadable: ``empty``, ``CRC`` (the kernel says NO, or the bytes do not have their check sum),
    ``bus shorted`` (nine zero bytes, whose check sum is right), ``no scratchpad`` (a configuration that the chip cannot
    have), ``no chip (-127 °C)``, ``not a one-wire file``. ``Thermometer`` decides whether 85 °C is the power-on value.
    """
    if not text.strip():
        raise Unreadable("empty")
    if len(text) > _LARGEST_BYTES:
        raise Unreadable("not a one-wire file", f"{len(text)} bytes, at most {_LARGEST_BYTES}")
    found = _TWO_LINES.fullmatch(text)
    if found is None:
        alone = _NUMBER_ALONE.fullmatch(text)
        if alone is None:
            raise Unreadable("not a one-wire file", ascii(text[:60]))
        return _degrees(int(alone[1]))
    scratchpad, verdict, millidegrees = found.groups()
    if verdict == b"NO":
        raise Unreadable("CRC", "the kernel found a wrong check sum")
    if scratchpad is not None:
        _check_scratchpad(bytes.fromhex(scratchpad.decode("ascii")), family)
    return _degrees(int(millidegrees))


def _check_scratchpad(scratchpad: bytes, family: str) -> None:
    if crc8(scratchpad) != 0:
        raise Unreadable("CRC", f"{scratchpad.hex(' ')} should end in {crc8(scratchpad[:-1]):02x}")
    if not any(scratchpad):
        raise Unreadable("bus shorted", "nine zero bytes")
    if family in _CONFIGURED_FAMILIES and scratchpad[4] not in _CONFIGURATIONS:
        raise Unreadable("no scratchpad", f"configuration byte {scratchpad[4]:02x}; 1f, 3f, 5f or 7f is possible")


def _degrees(millidegrees: int) -> float:
    if millidegrees == _NO_CHIP_MILLIDEGREES:
        raise Unreadable("no chip (-127 °C)", f"t={millidegrees}")
    return millidegrees / 1000.0


class Thermometer:
    """Distinguishes the power-on value of one chip from a true 85 °C, by what the chip measured before."""

    def __init__(self) -> None:
        self._measured_c: float | None = None

    def settled(self, temperature_c: float) -> bool:
        """Whether this temperature [°C] was measured; to be asked for each reading, in order.

        Exactly 85 is doubted until another temperature within 5 °C of it has been measured.
        """
        if temperature_c != POWER_ON_C:
            self._measured_c = temperature_c
            return True
        return self._measured_c is not None and abs(self._measured_c - POWER_ON_C) <= _NEAR_POWER_ON_C
