"""What the detector of the gas was given, and what the judge shows of its answer, for tests."""

from __future__ import annotations

__all__ = ["BAROMETER", "COMPENSATED", "STATION", "causes", "restarted", "shown", "times"]


from a_gas_cellar import BEGIN_MS, HOUR, MINUTE, GasCellar, Recorder
from cellar_text import probe

from alerts.blanket.details import BlanketShown, blanket_shown
from ingest.judgement import Judgement
from ingest.probes.file_scale import station_pressure_kpa

STATION = station_pressure_kpa(340.0)
BAROMETER = probe("barometer", "cellar", quantity="barometric_pressure", topic="air/p", unit="kPa")
COMPENSATED = ("K1", "compensated_pressure")


def times(detector: Recorder) -> list[float]:
    """The minutes after the begin of all points."""
    return [(point.at_ms - BEGIN_MS) // MINUTE for point in detector.points]


def causes(detector: Recorder) -> list[tuple[object, str]]:
    """When episodes began, in hours after the begin, and why."""
    return [((at_ms - BEGIN_MS) / HOUR, cause) for at_ms, cause, _ in detector.episodes]


def shown(rows: dict[tuple[str, str], Judgement]) -> BlanketShown:
    found = blanket_shown(rows[COMPENSATED])
    assert found is not None
    return found


def restarted(cellar: GasCellar, at: float) -> Recorder:
    """The detector of a judge that has just started."""
    cellar.rows(at, cellar.new_judge())
    return cellar.detectors[-1]
