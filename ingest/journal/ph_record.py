"""The calibrations of a pH probe in the order of time: the newest at a time, the drift, how far a pH may be off."""

from __future__ import annotations

__all__ = ["PhCalibrated", "PhRecord"]

from collections.abc import Iterable
from math import hypot, sqrt
from typing import Final, NamedTuple

from ingest.journal.kinds.calibration import CalibrationBody
from ingest.journal.ph_calibration import PhCalibration, PhGrade
from ingest.journal.ph_drift import USUAL_DRIFT_PH_PER_30_DAYS, PhDrift, aged_u_ph, ph_drift

_DAY_MS: Final = 86_400_000
# Calibrations that are nearer in time say more of their own uncertainty than of a drift; and a probe that did not move
# between two may still move (working defaults, no source).
_LEAST_DRIFT_DAYS: Final = 7.0
_LEAST_DRIFT_PH_PER_30_DAYS: Final = 0.01
# Standard uncertainty just after a calibration of which only zero and span are known, and by how much the slope may be
# off, any of it equally likely, where only the zero was moved (working defaults, no source).
_U_ZERO_AND_SPAN_PH: Final = 0.02
_SLOPE_UNKNOWN: Final = 0.05


class PhCalibrated(NamedTuple):
    """A calibration [UTC ms] with its line; None where the entry only moved zero and span.

    buffer_ph: of the buffer where there was a single one; in_mv: the line is of the electrode itself, and not what is
    left over a meter's calibration.
    """

    at_ms: int
    line: PhCalibration | None
    buffer_ph: float | None = None
    in_mv: bool = False

    @classmethod
    def of(cls, at_ms: int, body: CalibrationBody) -> PhCalibrated:
        """Take it from an entry."""
        return cls(at_ms, body.ph_line, body.points[0].truth if len(body.points) == 1 else None, body.is_in_mv)

    def u_at(self, ph: float, temperature_c: float | None) -> float | None:
        """Give the standard uncertainty of a pH read just after it; None if the probe was not to be used."""
        if self.line is not None:
            return None if self.line.grade is PhGrade.REFUSED else self.line.u_at(ph, temperature_c)
        away = 0.0 if self.buffer_ph is None else abs(ph - self.buffer_ph)
        return hypot(_U_ZERO_AND_SPAN_PH, _SLOPE_UNKNOWN * away / sqrt(3.0))


class PhRecord:
    """The calibrations of one pH probe."""

    def __init__(self, calibrated: Iterable[PhCalibrated] = ()) -> None:
        self._calibrated = sorted(calibrated, key=lambda each: each.at_ms)

    def newest(self, at_ms: int) -> PhCalibrated | None:
        """Find the newest calibration at a time [UTC ms]; None if there was none yet."""
        until = [each for each in self._calibrated if each.at_ms <= at_ms]
        return until[-1] if until else None

    def newest_line(self, at_ms: int, *, in_mv: bool | None = None) -> tuple[int, PhCalibration] | None:
        """Find slope and offset that were worked out last at a time [UTC ms], and when.

        in_mv: only from voltages, or only from pH, which do not compare.
        """
        lines = [
            (each.at_ms, each.line)
            for each in self._calibrated
            if each.line is not None and each.at_ms <= at_ms and in_mv in (None, each.in_mv)
        ]
        return lines[-1] if lines else None

    def is_refused(self, at_ms: int) -> bool:
        """Whether the newest calibration at a time [UTC ms] found that the probe is not to be used."""
        newest = self.newest(at_ms)
        return newest is not None and newest.line is not None and newest.line.grade is PhGrade.REFUSED

    def drift(self, at_ms: int) -> PhDrift | None:
        """Give the drift between the last two slopes and offsets at a time [UTC ms].

        None if there are no two, or one is from voltages and the other from pH, which do not compare.
        """
        newest = self.newest_line(at_ms)
        if newest is None:
            return None
        later_ms, later = newest
        in_mv = next(each.in_mv for each in reversed(self._calibrated) if each.line is later)
        last = self.newest_line(later_ms - 1, in_mv=in_mv)
        return None if last is None else ph_drift(last[1], later, (later_ms - last[0]) / _DAY_MS)

    def u_ph(self, ph: float, read_ms: int, temperature_c: float | None = None) -> float | None:
        """Give the standard uncertainty of a pH that was read at a time [UTC ms] in wine of some temperature [°C].

        It grows by the drift between the last two slopes and offsets, if they are a week apart, else by the usual one.
        None where the probe was not calibrated by then, or found to be not to be used.
        """
        newest = self.newest(read_ms)
        u_ph = None if newest is None else newest.u_at(ph, temperature_c)
        if newest is None or u_ph is None:
            return None
        drift, rate = self.drift(read_ms), USUAL_DRIFT_PH_PER_30_DAYS
        if drift is not None and drift.days >= _LEAST_DRIFT_DAYS:
            rate = max(abs(drift.ph_per_30_days), _LEAST_DRIFT_PH_PER_30_DAYS)
        return aged_u_ph(u_ph, (read_ms - newest.at_ms) / _DAY_MS, rate)
