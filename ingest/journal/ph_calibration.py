"""A pH probe's calibration: slope, offset, what they say about the probe, and how far its pH may be off.

    E = E7 + s (pH - 7)                            [mV], a straight line through the buffers by least squares
    slope in % = -100 s / kN(t)                    kN(t) = 0.198421431 mV/(pH K) x (t + 273.15)
    pH at t = 7 + (E - E7) / (s (t + 273.15) / (t_cal + 273.15))

kN is the Nernst slope R T ln 10 / F (R and F exact by the SI of 2019). A glass electrode's voltage falls as pH rises.
The last line is all that automatic temperature compensation does: it turns about pH 7, and does not make the pH of a
cold wine that of a warm one.

Worked example at 25 °C: -6.0 mV in 7.000 and +168.5 mV in 4.005: s = -58.26 mV, 98.5 %, E7 = -6.0 mV; 200 mV are then
pH 3.464 at 25 °C and 3.303 at 12 °C.

The standard uncertainty combines, as independent (GUM 5.1.2): that of the line where the wine is,
sigma^2 (1/n + (pH - mean)^2 / sum (pH_i - mean)^2), with sigma from buffer and reading or from the scatter of three and
more points; one more reading; the liquid junction, which differs between buffer and wine; and the point about which
temperature turns the line.
"""

from __future__ import annotations

__all__ = [
    "TYPICAL_WINE_PH",
    "U_BUFFER_PH",
    "PhCalibration",
    "PhCalibrationRefused",
    "PhGrade",
    "PhPoint",
    "PhValue",
    "calibrated",
    "nernst_mv",
    "shown_as_mv",
]

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import permutations
from math import hypot, isfinite, sqrt
from statistics import fmean
from typing import Final, NamedTuple

from ingest.errors import IngestError

_KN_MV_PER_K: Final = 0.198421431
_ZERO_C_K: Final = 273.15
_MOST_POINTS: Final = 5
# Buffers of one calibration must be so far apart [pH]: nearer ones fix no slope (a choice of this project).
_LEAST_APART: Final = 1.0
_MOST_MV: Final = 1000.0
_TEMPERATURES_C: Final = (0.0, 50.0)

# Slope [%] and offset at pH 7 [mV]. Good: makers' instructions, the offset from memory. Usable: USP <791> (since 2016).
# Worn: lenient field practice. Beyond it, the calibration is refused (a choice of this project).
_GOOD: Final = ((95.0, 102.0), 15.0)
_USABLE: Final = ((90.0, 105.0), 30.0)
_WORN: Final = ((85.0, 105.0), 60.0)
# Three and more points further than this from the line [pH]: one of the buffers is not what it should be.
_FITS_PH: Final = 0.05
_SWAPPED_FITS_PH: Final = 0.15

# Standard uncertainties (working defaults; makers print 0.02 for technical buffers, taken as half-width).
U_BUFFER_PH: Final = 0.0115
_U_READING_MV: Final = 0.5 / sqrt(3.0)
_U_JUNCTION_PH: Final = 0.01
_U_TURNING_POINT_PH: Final = 0.5 / sqrt(3.0)
# What a wine has, where none is named: in the middle of most.
TYPICAL_WINE_PH: Final = 3.4


class PhCalibrationRefused(IngestError):
    """Points that make no calibration; field: what of them is wrong."""

    def __init__(self, field: str, message: str) -> None:
        self.field = field
        super().__init__(message)


class PhGrade(StrEnum):
    """How good a probe is by its slope and offset."""

    GOOD = "good"
    USABLE = "usable"
    WORN = "worn"
    REFUSED = "refused"


class PhPoint(NamedTuple):
    """A buffer: its pH at the temperature of the calibration, and what the probe gave in it [mV]."""

    ph: float
    mv: float


class PhValue(NamedTuple):
    """A pH and its standard uncertainty."""

    ph: float
    u: float


@dataclass(frozen=True, slots=True)
class PhCalibration:
    """A line through buffers: E = offset_mv + slope_mv (pH - 7) at temperature_c.

    points: those it goes through; without any (a line from elsewhere) its uncertainty is that of two good buffers.
    """

    temperature_c: float
    slope_mv: float
    offset_mv: float
    points: tuple[PhPoint, ...] = ()
    u_buffer_ph: float = U_BUFFER_PH

    @property
    def slope_percent(self) -> float:
        """The slope in % of Nernst's."""
        return -100.0 * self.slope_mv / nernst_mv(self.temperature_c)

    @property
    def zero_point_ph(self) -> float:
        """The pH at which the probe gives 0 mV."""
        return 7.0 - self.offset_mv / self.slope_mv

    @property
    def residuals_ph(self) -> tuple[float, ...]:
        """How far each point is from the line [pH]: what the probe would show there, less the buffer's pH."""
        return tuple(self.ph_of(point.mv) - point.ph for point in self.points)

    @property
    def grade(self) -> PhGrade:
        """What slope and offset say of the probe."""
        for grade, limits in ((PhGrade.GOOD, _GOOD), (PhGrade.USABLE, _USABLE), (PhGrade.WORN, _WORN)):
            if _within(self, limits):
                return grade
        return PhGrade.REFUSED

    def ph_of(self, mv: float, temperature_c: float | None = None) -> float:
        """Turn a voltage [mV] into pH; temperature_c: of the wine, by default that of the calibration."""
        warmth = 1.0 if temperature_c is None else (temperature_c + _ZERO_C_K) / (self.temperature_c + _ZERO_C_K)
        return 7.0 + (mv - self.offset_mv) / (self.slope_mv * warmth)

    def mv_of(self, ph: float) -> float:
        """Give the voltage [mV] at a pH and the temperature of the calibration."""
        return self.offset_mv + self.slope_mv * (ph - 7.0)

    def u_at(self, ph: float, temperature_c: float | None = None) -> float:
        """Give the standard uncertainty of a wine's pH."""
        reading = _U_READING_MV / abs(self.slope_mv)
        sigma = hypot(self.u_buffer_ph, reading)
        places = [point.ph for point in self.points] or [4.01, 7.0]
        freedom = len(self.points) - 2
        if freedom > 0:
            sigma = max(sigma, sqrt(sum(residual**2 for residual in self.residuals_ph) / freedom))
        middle = fmean(places)
        spread = sum((place - middle) ** 2 for place in places)
        line = sigma * sqrt(1.0 / len(places) + (ph - middle) ** 2 / spread)
        away_c = 0.0 if temperature_c is None else temperature_c - self.temperature_c
        turning = _U_TURNING_POINT_PH * abs(away_c) / (self.temperature_c + _ZERO_C_K)
        return hypot(line, reading, _U_JUNCTION_PH, turning)

    def value_of(self, mv: float, temperature_c: float | None = None) -> PhValue:
        """Turn a voltage [mV] in a wine into its pH at its temperature, with the standard uncertainty."""
        ph = self.ph_of(mv, temperature_c)
        return PhValue(ph, self.u_at(ph, temperature_c))

    @property
    def fault(self) -> tuple[str, str] | None:
        """What is wrong with a probe that is worn or not to be used, and what to do; None for a better one."""
        if self.grade in (PhGrade.GOOD, PhGrade.USABLE):
            return None
        offset = f", offset {self.offset_mv:+.0f} mV" if abs(self.offset_mv) > _USABLE[1] else ""
        to_do = "clean it or replace it"
        if self.slope_percent > _GOOD[0][1]:
            to_do = "calibrate it again, in fresh buffers of a known temperature"
        if self.grade is PhGrade.REFUSED:
            to_do += "; until then its pH is not to be used"
        return f"slope {self.slope_percent:.0f} %{offset}", to_do

    @property
    def warnings(self) -> tuple[str, ...]:
        """What a person should know, the gravest first."""
        return tuple(_warnings(self))


def nernst_mv(temperature_c: float) -> float:
    """Give the Nernst slope at a temperature [mV per pH, positive]."""
    return _KN_MV_PER_K * (temperature_c + _ZERO_C_K)


def shown_as_mv(shown_ph: float, temperature_c: float) -> float:
    """Give the voltage [mV] of an ideal probe for a pH that was shown, so that a shown pH can be calibrated as well.

    Slope and offset are then those that are left over what the meter already corrects.
    """
    return -nernst_mv(temperature_c) * (shown_ph - 7.0)


def calibrated(points: Sequence[PhPoint], temperature_c: float, u_buffer_ph: float = U_BUFFER_PH) -> PhCalibration:
    """Work out a calibration from two to five buffers, all at one temperature [°C, 0 to 50].

    u_buffer_ph: standard uncertainty of the buffers. Raises PhCalibrationRefused for points that fix no line, and, by
    name, for buffers that are swapped and for a voltage with the wrong sign. A probe that is too bad to be used is not
    refused here: see ``grade``.
    """
    if not 2 <= len(points) <= _MOST_POINTS:
        raise PhCalibrationRefused("buffers", f"a calibration takes 2 to {_MOST_POINTS} buffers, not {len(points)}")
    if not _TEMPERATURES_C[0] <= temperature_c <= _TEMPERATURES_C[1]:
        raise PhCalibrationRefused(
            "temperature", f"the buffers cannot be at {temperature_c:g} °C; their tables go from 0 to 50 °C"
        )
    for point in points:
        if not 0.0 <= point.ph <= 14.0:
            raise PhCalibrationRefused("buffers", f"a buffer cannot have pH {point.ph:g}; allowed are 0 to 14")
        if not (isfinite(point.mv) and abs(point.mv) <= _MOST_MV):
            raise PhCalibrationRefused(
                "readings", f"no pH probe gives {point.mv:g} mV; allowed are {-_MOST_MV:g} to {_MOST_MV:g}"
            )
    places = sorted(point.ph for point in points)
    if places[-1] - places[0] < _LEAST_APART:
        raise PhCalibrationRefused(
            "buffers",
            f"the buffers are only {places[-1] - places[0]:.2f} pH apart; a slope needs at least {_LEAST_APART:g}",
        )
    if len({point.mv for point in points}) == 1:
        raise PhCalibrationRefused(
            "readings",
            f"the probe gives {points[0].mv:g} mV in every buffer: is it connected, its cap off, its glass whole?",
        )
    found = _line(points, temperature_c, u_buffer_ph)
    if not _plausible(found):
        _check_swapped(points, temperature_c)
    return found


def _line(points: Sequence[PhPoint], temperature_c: float, u_buffer_ph: float) -> PhCalibration:
    middle_ph, middle_mv = fmean(point.ph for point in points), fmean(point.mv for point in points)
    slope = sum((point.ph - middle_ph) * (point.mv - middle_mv) for point in points) / sum(
        (point.ph - middle_ph) ** 2 for point in points
    )
    if slope == 0.0:
        raise PhCalibrationRefused(
            "readings", "the probe gives the same voltage at low and high pH: look at the buffers"
        )
    return PhCalibration(temperature_c, slope, middle_mv + slope * (7.0 - middle_ph), tuple(points), u_buffer_ph)


def _within(line: PhCalibration, limits: tuple[tuple[float, float], float]) -> bool:
    (low, high), offset = limits
    return low <= line.slope_percent <= high and abs(line.offset_mv) <= offset


def _plausible(line: PhCalibration) -> bool:
    """Whether it may be a probe, even a worn one, in the buffers that were named."""
    return _within(line, _WORN) and all(abs(residual) <= _SWAPPED_FITS_PH for residual in line.residuals_ph)


def _check_swapped(points: Sequence[PhPoint], temperature_c: float) -> None:
    """Refuse points that are right with other buffers, or with the sign of the voltage turned."""
    named = [point.ph for point in points]
    orders = [
        order
        for order in permutations(named)
        if list(order) != named
        and _sound([PhPoint(ph, point.mv) for ph, point in zip(order, points, strict=True)], temperature_c)
    ]
    turned = _sound([PhPoint(point.ph, -point.mv) for point in points], temperature_c)
    if orders:
        least = min(orders, key=lambda order: sum(ph != name for ph, name in zip(order, named, strict=True)))
        moved = [
            f"what was read in {name:g} belongs to {ph:g}" for ph, name in zip(least, named, strict=True) if ph != name
        ]
        also = " (or the voltage has the wrong sign)" if turned else ""
        raise PhCalibrationRefused("buffers", f"the buffers are swapped: {', '.join(moved)}{also}")
    if turned:
        raise PhCalibrationRefused(
            "readings",
            "the voltage has the wrong sign: a pH probe gives less as pH rises, and these points would be right with "
            "plus and minus changed; turn the sign, or the wires",
        )


def _sound(points: Sequence[PhPoint], temperature_c: float) -> bool:
    try:
        line = _line(points, temperature_c, U_BUFFER_PH)
    except PhCalibrationRefused:
        return False
    return _within(line, _USABLE) and all(abs(residual) <= _SWAPPED_FITS_PH for residual in line.residuals_ph)


def _warnings(line: PhCalibration) -> list[str]:
    warnings = []
    slope, offset, grade = line.slope_percent, line.offset_mv, line.grade
    if grade is PhGrade.REFUSED:
        warnings.append(
            f"a slope of {slope:.1f} % with an offset of {offset:+.1f} mV is not to be used: {_WORN[0][0]:g} to "
            f"{_WORN[0][1]:g} % and up to {_WORN[1]:g} mV are; clean the probe, look at buffers, cable and "
            "temperature, or replace it"
        )
    elif grade is PhGrade.WORN:
        warnings.append(
            f"the probe is worn: slope {slope:.1f} % and offset {offset:+.1f} mV, where {_USABLE[0][0]:g} to "
            f"{_USABLE[0][1]:g} % and up to {_USABLE[1]:g} mV are usable (USP <791>); clean or replace it"
        )
    elif grade is PhGrade.USABLE:
        warnings.append(
            f"slope {slope:.1f} % and offset {offset:+.1f} mV are usable; a good probe has {_GOOD[0][0]:g} to "
            f"{_GOOD[0][1]:g} % and up to {_GOOD[1]:g} mV"
        )
    if slope > _GOOD[0][1]:
        warnings.append(
            f"a slope of {slope:.1f} % is more than Nernst's: most often a buffer's pH or the temperature is wrong"
        )
    worst = max(line.residuals_ph, key=abs, default=0.0)
    if abs(worst) > _FITS_PH:
        where = line.points[line.residuals_ph.index(worst)]
        warnings.append(
            f"the buffers are not on one line: pH {where.ph:.2f} is {abs(worst):.2f} off; take fresh buffers, and wait "
            "for each reading to settle"
        )
    return warnings
