"""How a pH probe drifts: between two calibrations, and what that means for a pH that was read some time after one."""

from __future__ import annotations

__all__ = ["USUAL_DRIFT_PH_PER_30_DAYS", "PhDrift", "aged_u_ph", "ph_drift"]

from math import hypot, isfinite, sqrt
from typing import Final, NamedTuple

from ingest.journal.ph_calibration import TYPICAL_WINE_PH, PhCalibration, PhCalibrationRefused

# A probe that is off by more should be calibrated again (a choice of this project).
_MOST_OFF_PH: Final = 0.05
# How far a sound probe that stands in wine drifts, where only one calibration is known (a working default, no source).
USUAL_DRIFT_PH_PER_30_DAYS: Final = 0.05


class PhDrift(NamedTuple):
    """What became of a probe between two calibrations.

    days: between them; slope_percent, offset_mv: the changes; ph: how far a wine's pH was read too high just before the
    later one; text: in words, with what to do.
    """

    days: float
    slope_percent: float
    offset_mv: float
    ph: float
    text: str

    @property
    def ph_per_30_days(self) -> float:
        """The drift at the wine's pH, as for ``aged_u_ph``."""
        return self.ph * 30.0 / self.days


def ph_drift(earlier: PhCalibration, later: PhCalibration, days: float, wine_ph: float = TYPICAL_WINE_PH) -> PhDrift:
    """Compare two calibrations of a probe that are some days apart; wine_ph: of the wine it is for.

    Raises PhCalibrationRefused for days that are not above 0.
    """
    if not (isfinite(days) and days > 0.0):
        raise PhCalibrationRefused("days", f"the earlier calibration cannot be {days:g} days before; give more than 0")
    off = earlier.ph_of(later.mv_of(wine_ph), later.temperature_c) - wine_ph
    slope, offset = later.slope_percent - earlier.slope_percent, later.offset_mv - earlier.offset_mv
    text = (
        f"in {round(days, 1):g} days the slope went from {earlier.slope_percent:.1f} to {later.slope_percent:.1f} %, "
        f"the offset from {earlier.offset_mv:+.1f} to {later.offset_mv:+.1f} mV; a wine of pH {wine_ph:g} was "
        f"read {abs(off):.2f} too {'high' if off >= 0.0 else 'low'}"
    )
    if abs(off) > _MOST_OFF_PH:
        text += f": calibrate every {max(1.0, days * _MOST_OFF_PH / abs(off)):.0f} days, or clean or replace the probe"
    return PhDrift(days, slope, offset, off, text)


def aged_u_ph(u_ph: float, days: float, drift_ph_per_30_days: float = USUAL_DRIFT_PH_PER_30_DAYS) -> float:
    """Give the standard uncertainty of a pH that was read some days after the calibration, drift included.

    u_ph: just after it; any drift up to the usual is taken as equally likely (GUM 4.3.7), hence the root of 3.
    """
    return hypot(u_ph, abs(drift_ph_per_30_days) * max(0.0, days) / 30.0 / sqrt(3.0))
