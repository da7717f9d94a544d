"""Signals: from the milliamperes, volts or ohms of a transmitter to the number that its label means.

A signal is declared as the label says it: ``4-20 mA = 0-30 psi``, ``0.5-4.5 V of 5 V = 0-30 psi``,
``0-10 V = 0-60 °C``, ``Pt100``. Currents and voltages are linear between their ends (IEC 60381-1 and -2):

    value = low + (x - wire_low) / (wire_high - wire_low) * (high - low)

A ratiometric voltage ("of 5 V") is a share of its supply, so x is first scaled by nominal / measured supply. Worked
example: 2.45 V of a supply that measures 4.90 V, on ``0.5-4.5 V of 5 V = 0-6 bar``, are 3.000 bar; with the supply
taken as 5 V it would be 2.925 bar.

The unit on the right is kept as text; whether it is one of our units is for the reader of the cellar file to check.
"""

from __future__ import annotations

__all__ = ["SIGNAL_EXAMPLE", "Counts", "Kind", "Signal", "WireUnit", "from_wire"]

import re
import unicodedata
from dataclasses import dataclass
from math import inf, isfinite
from typing import Final, Literal

from ingest.cellar.platinum import HIGHEST_C, LOWEST_C, resistance_ohm, temperature_c
from ingest.errors import Unreadable
from ingest.reading import Quality, Reason, quality_code

Kind = Literal["current", "ratiometric", "voltage", "platinum"]
WireUnit = Literal["mA", "V", "ohm"]

SIGNAL_EXAMPLE: Final = '"4-20 mA = 0-30 psi", "0.5-4.5 V of 5 V = 0-30 psi", "0-10 V = 0-60 °C", "Pt100" or "Pt1000"'
_COUNTS_EXAMPLE: Final = '"0-4095 = 0-5 V"'
_LONGEST: Final = 120  # characters; no label comes near

# NAMUR NE 43 (edition of 2003, from memory), for 4-20 mA: what is measured, and what says that the transmitter or its
# wire failed [mA].
_NE43_MEASURED_MA: Final = (3.8, 20.5)
_NE43_FAILED_MA: Final = (3.6, 21.0)
# A share of the supply beyond these is a broken or shorted wire. A choice of this project; common practice has 4 to 5 %
# and 95 to 96 %.
_FAILED_SHARE: Final = (0.05, 0.95)
# So much beyond an end, as a share of the span, is still called measured, where no standard says otherwise. A choice of
# this project: NE 43 allows 1.25 % below and 3.1 % above.
_BEYOND: Final = 0.02
# The supply within which ratiometric transmitters keep their accuracy, as a share of the nominal one: usually 5 V
# +- 0.5 V on data sheets. Common practice, no source.
_SUPPLY_OFF: Final = 0.10

_GOOD: Final = quality_code(Quality.GOOD)
_FAULT: Final = quality_code(Quality.BAD, Reason.FAULT)
_SATURATED: Final = quality_code(Quality.UNCERTAIN, Reason.SATURATED)
_SUPPLY_IN_DOUBT: Final = quality_code(Quality.UNCERTAIN, Reason.FAULT)
_RAIL: Final = quality_code(Quality.BAD, Reason.RAIL)

_NUMBER: Final = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)"
_RANGE: Final = rf"({_NUMBER}) ?(?:-|to) ?({_NUMBER})"
_BARE_RANGE: Final = re.compile(_RANGE)
_WIRE: Final = re.compile(rf"{_RANGE} ?(mA|V)(?: of ({_NUMBER}) ?V)?")
_LABEL: Final = re.compile(rf"{_RANGE} ?([°%A-Za-z].*)")
_COUNT: Final = re.compile(r"([+-]?[0-9]+) ?(?:-|to) ?([+-]?[0-9]+)")
_COMMA: Final = re.compile(r"[0-9],[0-9]")
_PLATINUM: Final = re.compile(r"pt ?(100|1000)", re.IGNORECASE)
_DASHES: Final = str.maketrans({"\N{MINUS SIGN}": "-", "\N{EN DASH}": "-", "\N{HYPHEN}": "-", "º": "°"})


@dataclass(frozen=True, slots=True)
class Signal:
    """What a transmitter puts on its wire, and what its label says that this means.

    text: as declared; kind: how it is judged; wire_low, wire_high: the ends on the wire, in wire_unit; supply_v: the
    nominal supply of a ratiometric one [V]; low, high, unit: what the ends mean (high may lie below low); of a platinum
    resistor wire_low and wire_high are its ohms at -200 and 850 °C.
    """

    text: str
    kind: Kind
    wire_low: float
    wire_high: float
    wire_unit: WireUnit
    low: float
    high: float
    unit: str
    supply_v: float | None = None
    ohms_at_zero: float = 0.0

    @classmethod
    def parse(cls, text: str) -> Signal:
        """Read a signal as it stands on a label; ValueError says what is wrong and how it is written."""
        plain = _plain(text)
        platinum = _PLATINUM.fullmatch(plain)
        if platinum is not None:
            zero = float(platinum[1])
            ends = resistance_ohm(LOWEST_C, zero), resistance_ohm(HIGHEST_C, zero)
            return cls(plain, "platinum", *ends, "ohm", LOWEST_C, HIGHEST_C, "°C", ohms_at_zero=zero)
        wire, label = _sides(plain, SIGNAL_EXAMPLE)
        wire_low, wire_high, wire_unit, supply_v = _wire(wire)
        low, high, unit = _label(label)
        kind: Kind = "current" if wire_unit == "mA" else "voltage" if supply_v is None else "ratiometric"
        return cls(plain, kind, wire_low, wire_high, wire_unit, low, high, unit, supply_v)

    def linearise(self, number: float, supply: float | None = None) -> tuple[float, int]:
        """Give (value in the label's unit, quality code) of a number on the wire [mA, V or ohm].

        supply: the measured supply [V], only for a ratiometric signal; without it the nominal one is taken. A value
        outside the ends is the line drawn on; of a platinum resistor outside -200 to 850 °C it is that end, as a fault.
        Raises Unreadable: ``no supply voltage`` (not above zero), ``not finite``.
        """
        if self.kind == "platinum":
            if not self.wire_low <= number <= self.wire_high:
                return (self.low if number < self.wire_low else self.high), _FAULT
            return temperature_c(number, self.ohms_at_zero), _GOOD
        wire, steady = number, True
        if supply is not None:
            if self.supply_v is None:
                raise ValueError(f'only a signal "of 5 V" has a supply, "{self.text}" has none')
            if not supply > 0.0:
                raise Unreadable("no supply voltage", f"{supply:g} V")
            wire = number * self.supply_v / supply
            steady = abs(supply / self.supply_v - 1.0) <= _SUPPLY_OFF
        value = self.low + (wire - self.wire_low) / (self.wire_high - self.wire_low) * (self.high - self.low)
        if not isfinite(value):
            raise Unreadable("not finite", f"{number:g} {self.wire_unit}")
        code = self._judged(wire)
        return value, (_SUPPLY_IN_DOUBT if code == _GOOD and not steady else code)

    def failed(self) -> tuple[float, float]:
        """Say at which numbers on the wire (or beyond) the instrument failed: (low, high), infinite where none says so.

        4-20 mA: NAMUR NE 43. Ratiometric: 5 % and 95 % of the nominal supply, where the signal's own ends leave room.
        """
        if (self.wire_unit, self.wire_low, self.wire_high) == ("mA", 4.0, 20.0):
            return _NE43_FAILED_MA
        if self.supply_v is not None:
            low, high = (share * self.supply_v for share in _FAILED_SHARE)
            return (low if low < self.wire_low else -inf), (high if high > self.wire_high else inf)
        return (self.wire_low, self.wire_high) if self.kind == "platinum" else (-inf, inf)

    def measured(self) -> tuple[float, float]:
        """Say between which numbers on the wire the instrument still measures: (low, high), both included.

        4-20 mA: NAMUR NE 43. Others: 2 % of the span beyond each end.
        """
        if (self.wire_unit, self.wire_low, self.wire_high) == ("mA", 4.0, 20.0):
            return _NE43_MEASURED_MA
        if self.kind == "platinum":
            return self.wire_low, self.wire_high
        beyond = _BEYOND * (self.wire_high - self.wire_low)
        return self.wire_low - beyond, self.wire_high + beyond

    def _judged(self, wire: float) -> int:
        failed_low, failed_high = self.failed()
        if self.kind == "current":
            if wire <= failed_low or wire >= failed_high:
                return _FAULT
        elif wire < failed_low or wire > failed_high:
            return _FAULT
        low, high = self.measured()
        return _GOOD if low <= wire <= high else _SATURATED

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True, slots=True)
class Counts:
    """What the counts of a converter stand for: low and high are its two end counts, the others what those mean."""

    text: str
    low: int
    high: int
    wire_low: float
    wire_high: float
    wire_unit: WireUnit

    @classmethod
    def parse(cls, text: str) -> Counts:
        """Read counts such as ``0-4095 = 0-5 V``; ValueError says what is wrong and how it is written."""
        plain = _plain(text)
        counted, meant = _sides(plain, _COUNTS_EXAMPLE)
        match = _COUNT.fullmatch(counted)
        if match is None:
            raise ValueError(
                f'"{counted}" is not a range of counts: write the two end counts as whole numbers, such as '
                f"{_COUNTS_EXAMPLE}"
            )
        low, high = int(match[1]), int(match[2])
        if low >= high:
            raise ValueError(f"the lower end count comes first: {low} is not below {high}")
        wire = _WIRE.fullmatch(meant)
        if wire is None or wire[4] is not None:
            _refuse_comma(meant)
            raise ValueError(f'"{meant}" must be a range in V or mA, such as {_COUNTS_EXAMPLE}')
        wire_low, wire_high = _rising(wire[1], wire[2], wire[3])
        return cls(plain, low, high, wire_low, wire_high, "mA" if wire[3] == "mA" else "V")

    def check(self, signal: Signal) -> None:
        """Raise ValueError, which says what would be right, if the counts cannot be those of this signal."""
        if signal.kind == "platinum":
            raise ValueError(f"a {signal} is read in ohm, which counts do not give; let the instrument send ohm")
        if signal.wire_unit != self.wire_unit:
            example = _COUNTS_EXAMPLE if signal.wire_unit == "V" else '"0-4095 = 0-20 mA"'
            raise ValueError(f"must end in {signal.wire_unit}, as the signal begins, such as {example}")
        if self.wire_low > signal.wire_low or self.wire_high < signal.wire_high:
            raise ValueError(
                f"reach from {self.wire_low:g} to {self.wire_high:g} {self.wire_unit}, but the signal goes from "
                f"{signal.wire_low:g} to {signal.wire_high:g} {signal.wire_unit}; write what the end counts stand for "
                "at the transmitter, before a divider"
            )

    def wire(self, count: float) -> tuple[float, bool]:
        """Give (number on the wire, whether the converter is at its end and so cannot say more)."""
        share = (count - self.low) / (self.high - self.low)
        return self.wire_low + share * (self.wire_high - self.wire_low), not self.low < count < self.high

    def __str__(self) -> str:
        return self.text


def from_wire(signal: Signal, counts: Counts | None, number: float, supply: float | None) -> tuple[float, int]:
    """Give (value in the label's unit, quality code) of what came: counts where there are such, else mA, V or ohm.

    A converter at its end is bad whatever the signal says. Raises Unreadable as ``Signal.linearise`` does.
    """
    if counts is None:
        return signal.linearise(number, supply)
    wire, at_end = counts.wire(number)
    value, code = signal.linearise(wire, supply)
    return value, (_RAIL if at_end else code)


def _plain(text: str) -> str:
    """Make blanks, dashes and look-alike characters regular."""
    if len(text) > _LONGEST:
        raise ValueError(f"is longer than {_LONGEST} characters; write it as on the label, such as {SIGNAL_EXAMPLE}")
    return " ".join(unicodedata.normalize("NFKC", text.translate(_DASHES)).split())


def _sides(plain: str, example: str) -> tuple[str, str]:
    left, equals, right = plain.partition("=")
    if not equals or "=" in right:
        raise ValueError(f'write what comes over the wire, one "=", and what it means: {example}')
    return left.strip(), right.strip()


def _wire(text: str) -> tuple[float, float, WireUnit, float | None]:
    match = _WIRE.fullmatch(text)
    if match is None:
        _refuse_comma(text)
        raise ValueError(
            f'"{text}" is not a signal: write a range in mA or V, with "of 5 V" behind it where the voltage follows '
            f"the supply; allowed are {SIGNAL_EXAMPLE}"
        )
    low, high = _rising(match[1], match[2], match[3])
    if match[3] == "mA":
        if match[4] is not None:
            raise ValueError('only a voltage can follow its supply; leave "of ... V" out behind mA')
        return low, high, "mA", None
    if match[4] is None:
        return low, high, "V", None
    supply_v = _number(match[4])
    if supply_v <= 0.0:
        raise ValueError(f'the supply must be above 0 V, such as "of 5 V", not {supply_v:g} V')
    if low < 0.0 or high > supply_v:
        raise ValueError(f"a part of the supply lies within 0 to {supply_v:g} V, not {low:g} to {high:g} V")
    return low, high, "V", supply_v


def _label(text: str) -> tuple[float, float, str]:
    match = _LABEL.fullmatch(text)
    if match is None:
        _refuse_comma(text)
        if _BARE_RANGE.fullmatch(text):
            raise ValueError(f'the unit is missing behind "{text}"; write it as on the label, such as "0-30 psi"')
        raise ValueError(f'"{text}" is not a range: write two numbers and a unit, such as "0-30 psi" or "-10 to 60 °C"')
    low, high = _number(match[1]), _number(match[2])
    if low == high:
        raise ValueError(f'the two ends must differ, such as "0-30 psi", not "{text}"')
    return low, high, match[3]


def _rising(low: str, high: str, unit: str) -> tuple[float, float]:
    first, second = _number(low), _number(high)
    if first >= second:
        raise ValueError(
            f"on the wire the lower end comes first: {first:g} {unit} is not below {second:g} {unit}; "
            "where the value falls as the signal rises, turn the range behind the = round"
        )
    return first, second


def _number(text: str) -> float:
    number = float(text)
    if not isfinite(number):
        raise ValueError("a number is too large; write it as on the label")
    return number


def _refuse_comma(text: str) -> None:
    if _COMMA.search(text):
        raise ValueError(f'write the decimal as a point, not a comma: "{text}"')
