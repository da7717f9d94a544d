"""pH buffers: what they have at a temperature.

Two families, whose tables must not be mixed: the standard buffers (NIST SP 260-53, IUPAC 2002, DIN 19266; from memory,
all but tartrate also in a public table) and the coloured technical ones, of which makers' tables differ by 0.02 from
35 °C on. Between the steps of 5 °C a straight line errs by less than 0.001. The table on the bottle takes precedence: a
buffer of any other table is a ``PhBuffer`` of its own, or a pH that was read from it.
"""

from __future__ import annotations

__all__ = ["BUFFER_SETS", "PRINTED", "U_BUFFER_SETS", "PhBuffer", "buffer_ph", "find_buffer"]

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from ingest.errors import IngestError

_ZERO_C_K: Final = 273.15
# How far what a person writes may be from a buffer's pH at 25 °C: 4, 4.0, 4.00 and 4.01 are one buffer.
_NAMED_WITHIN: Final = 0.0105


@dataclass(frozen=True, slots=True)
class PhBuffer:
    """A buffer and its table: (°C, pH), rising in temperature."""

    name: str
    table: tuple[tuple[float, float], ...]

    def ph_at(self, temperature_c: float) -> float:
        """Give its pH at a temperature [°C]. Raises IngestError outside its table, which is not continued."""
        for (low_c, low), (high_c, high) in pairwise(self.table):
            if low_c <= temperature_c <= high_c:
                return low + (high - low) * (temperature_c - low_c) / (high_c - low_c)
        raise IngestError(
            f"the buffer {self.name} has no pH at {temperature_c:g} °C; its table goes from {self.table[0][0]:g} to "
            f"{self.table[-1][0]:g} °C"
        )

    @property
    def nominal_ph(self) -> float:
        """Its pH at 25 °C, by which it is known."""
        return self.ph_at(25.0)


def _every_5_c(name: str, *values: float, first_c: float = 0.0) -> PhBuffer:
    return PhBuffer(name, tuple((first_c + 5.0 * index, value) for index, value in enumerate(values)))


def _by_equation(name: str, a: float, b: float, c: float, d: float) -> PhBuffer:
    """A buffer by its smoothing equation pH = A/T + B + C T + D T^2, T in K, from 0 to 50 °C."""
    kelvins = [_ZERO_C_K + 5.0 * index for index in range(11)]
    return _every_5_c(name, *(a / kelvin + b + c * kelvin + d * kelvin**2 for kelvin in kelvins))


# Smoothing equations: NBS scale (from memory). Tartrate is saturated at 25 °C and has no value below.
_STANDARD: Final = (
    _by_equation("tetroxalate", -362.76, 6.1765, -0.018710, 2.5847e-5),
    _every_5_c("tartrate", 3.557, 3.552, 3.549, 3.547, 3.547, 3.549, first_c=25.0),
    _every_5_c("citrate", 3.863, 3.840, 3.820, 3.803, 3.788, 3.776, 3.766, 3.759, 3.754, 3.750, 3.749),
    _every_5_c("phthalate", 4.000, 3.998, 3.997, 3.998, 4.000, 4.005, 4.011, 4.018, 4.027, 4.038, 4.050),
    _every_5_c("phosphate", 6.984, 6.951, 6.923, 6.900, 6.881, 6.865, 6.853, 6.844, 6.838, 6.834, 6.833),
    _by_equation("phosphate 1:3.5", 5706.61, -43.9428, 0.154785, -15.6745e-5),
    _every_5_c("borax", 9.464, 9.395, 9.332, 9.276, 9.225, 9.180, 9.139, 9.102, 9.068, 9.038, 9.011),
    _every_5_c("carbonate", 10.317, 10.245, 10.179, 10.118, 10.062, 10.012, 9.966, 9.926, 9.889, 9.857, 9.828),
)
_TECHNICAL: Final = (
    _every_5_c("4.01", 4.00, 4.00, 4.00, 4.00, 4.00, 4.01, 4.01, 4.02, 4.03, 4.04, 4.06),
    _every_5_c("7.00", 7.118, 7.087, 7.059, 7.036, 7.016, 7.000, 6.987, 6.977, 6.970, 6.965, 6.964),
    _every_5_c("10.01", 10.32, 10.25, 10.18, 10.12, 10.06, 10.01, 9.97, 9.93, 9.89, 9.86, 9.83),
)
BUFFER_SETS: Final[Mapping[str, tuple[PhBuffer, ...]]] = {"technical": _TECHNICAL, "nist": _STANDARD}

PRINTED: Final = "printed"
"""What a person calls the set whose pH is read from the bottle, for the temperature."""

# Standard uncertainty of a set's buffers where it is not the usual: standard ones are made up to better than technical
# ones (a working default).
U_BUFFER_SETS: Final[Mapping[str, float]] = {"nist": 0.005}


def buffer_ph(text: str, buffer_set: str, temperature_c: float) -> tuple[str, float]:
    """Find a buffer and its pH at a temperature [°C]: its name, and the pH; of ``printed`` ones the pH is the text.

    Raises IngestError for a set or a buffer that is not known, and outside the buffer's table.
    """
    if buffer_set == PRINTED:
        try:
            ph = float(text)
        except ValueError:
            ph = float("nan")
        if not 0.0 <= ph <= 14.0:
            raise IngestError(f"'{text}' is not the pH of a buffer; give what the bottle says, 0 to 14")
        return text.strip(), ph
    if buffer_set not in BUFFER_SETS:
        raise IngestError(f"there is no buffer set '{buffer_set}'; allowed: {', '.join((*BUFFER_SETS, PRINTED))}")
    buffer = find_buffer(text, buffer_set)
    return buffer.name, buffer.ph_at(temperature_c)


def find_buffer(text: str, buffer_set: str) -> PhBuffer:
    """Find a buffer of a set by its name, or by its pH at 25 °C. Raises IngestError that lists the set."""
    buffers = BUFFER_SETS[buffer_set]
    for buffer in buffers:
        if text.strip().lower() == buffer.name:
            return buffer
    try:
        number = float(text)
    except ValueError:
        number = float("nan")
    for buffer in buffers:
        if abs(buffer.nominal_ph - number) <= _NAMED_WITHIN:
            return buffer
    known = ", ".join(
        buffer.name if buffer.name[0].isdigit() else f"{buffer.name} ({buffer.nominal_ph:.3f})" for buffer in buffers
    )
    raise IngestError(f"there is no {buffer_set} buffer '{text}'; there are: {known}")
