"""What a probe's signal can say at all: a limit beyond that would be watched in vain."""

from __future__ import annotations

__all__ = ["end_of_signal", "is_out_of_reach"]

from collections.abc import Iterable
from math import inf

from ingest.cellar.equipment import Probe
from ingest.cellar.limits import EffectiveLimit
from ingest.cellar.quantities import series_unit_conversion
from ingest.cellar.units import UnitError


def is_out_of_reach(limit: EffectiveLimit, probes: Iterable[Probe]) -> bool:
    """Say whether no reading of the limit's probe can ever lie beyond its setpoint."""
    probe = next((probe for probe in probes if probe.id == limit.probe), None)
    end = None if probe is None or limit.kind not in ("low", "high") else end_of_signal(probe, limit.kind)
    if end is None:
        return False
    return limit.setpoint >= end if limit.kind == "high" else limit.setpoint <= end


def end_of_signal(probe: Probe, kind: str) -> float | None:
    """Give the highest (kind "high") or lowest ("low") value that the signal can say, in the quantity's unit.

    What is beyond the ends of the label counts up to where the signal says that the instrument failed. None where there
    is no signal, or where a pressure is not counted from the air, so that weather moves the end.
    """
    signal = probe.signal
    if signal is None or signal.kind == "platinum" or probe.reference != "gauge":
        return None
    measured_low, measured_high = signal.measured()
    failed_low, failed_high = signal.failed()
    wire_low = measured_low if failed_low == -inf else failed_low
    wire_high = measured_high if failed_high == inf else failed_high
    if probe.counts is not None:
        wire_low, wire_high = max(wire_low, probe.counts.wire_low), min(wire_high, probe.counts.wire_high)
    try:
        gain, offset = series_unit_conversion(probe.quantity, probe.unit)
    except UnitError:
        return None  # reported with the probe
    span = signal.wire_high - signal.wire_low
    ends = [
        gain * (signal.low + (wire - signal.wire_low) / span * (signal.high - signal.low)) + offset
        for wire in (wire_low, wire_high)
    ]
    return max(ends) if kind == "high" else min(ends)
