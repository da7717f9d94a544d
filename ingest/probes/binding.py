"""Bindings: what the cellar file says of its probes, in the terms of the wire and of the store."""

from __future__ import annotations

__all__ = ["barometer_of", "barometers", "bindings", "declarations", "jump_steps"]

from collections.abc import Mapping

from ingest.cellar import QUANTITIES, Cellar, Cylinder, LinePattern, Probe, Vessel, plausible_range
from ingest.probes.barometer import Barometers
from ingest.probes.decode import Binding
from ingest.probes.file_scale import file_scale
from ingest.reading import Declaration
from ingest.sources.json_form import JsonPointer


def declarations(cellar: Cellar) -> list[Declaration]:
    """Each probe of the cellar file as a series with its scale."""
    declared = []
    for probe in cellar.probe:
        gain, offset = file_scale(probe, cellar.site.altitude_m)
        place = cellar.place(probe.at)
        declared.append(
            Declaration(
                probe=probe.id,
                place=probe.at,
                quantity=probe.quantity,
                gain=gain,
                offset=offset,
                unit=probe.unit,
                former_probe=probe.was or probe.id,
                former_place=place.was or place.id,
            )
        )
    return declared


def bindings(cellar: Cellar, series: Mapping[str, int]) -> list[Binding]:
    """Each probe of the cellar file at its address, with its series' id."""
    encodings = {line.id: line.encoding for line in cellar.serial}
    return [_binding(cellar, probe, series[probe.id], encodings) for probe in cellar.probe]


def jump_steps(cellar: Cellar, series: Mapping[str, int]) -> dict[int, float | None]:
    """Series -> the change within a minute, in the probe's own unit, that the thing measured cannot make.

    Air changes faster than wine and its vessel: a probe in the air is allowed twice as much.
    """
    steps: dict[int, float | None] = {}
    for probe in cellar.probe:
        jump = QUANTITIES[probe.quantity].jump
        gain = abs(file_scale(probe, cellar.site.altitude_m)[0])
        allowed = None if jump is None else jump / gain
        if allowed is not None and probe.mounted == "air":
            allowed *= 2
        steps[series[probe.id]] = allowed
    return steps


def barometer_of(cellar: Cellar, place: Vessel | Cylinder) -> Probe | None:
    """Find the barometer that speaks for a place: the one in its room, else the only one of the file."""
    found = [probe for probe in cellar.probe if probe.quantity == "barometric_pressure"]
    in_room = [probe for probe in found if probe.at == place.room]
    return next(iter(in_room or (found if len(found) == 1 else [])), None)


def barometers(cellar: Cellar, series: Mapping[str, int]) -> Barometers | None:
    """The barometers of the cellar and the sensors whose scales they move, None where there are none of either."""
    altitude_m = cellar.site.altitude_m
    found = [probe for probe in cellar.probe if probe.quantity == "barometric_pressure"]
    moved: dict[int, tuple[int, ...]] = {}
    for probe in cellar.probe:
        if probe.quantity != "pressure" or probe.reference == "gauge":
            continue
        place = cellar.place(probe.at)
        barometer = barometer_of(cellar, place) if isinstance(place, Vessel | Cylinder) else None
        if barometer is not None:
            number = series[barometer.id]
            moved[number] = (*moved.get(number, ()), series[probe.id])
    if not moved or altitude_m is None:
        return None
    return Barometers(
        altitude_m,
        moved,
        {series[probe.id]: file_scale(probe, altitude_m) for probe in found},
        {series[probe.id]: probe.id for probe in found},
    )


def _binding(cellar: Cellar, probe: Probe, series: int, encodings: Mapping[str, str]) -> Binding:
    gain, offset = file_scale(probe, cellar.site.altitude_m)
    # The plausible range is in our unit; the wire's numbers are compared, so the range is turned, not each number.
    # With a signal that number is in the unit of its label, which is the probe's unit.
    ends = [(end - offset) / gain for end in plausible_range(probe.quantity, cellar.place_kind(probe.at))]
    low, high = min(ends), max(ends)
    if probe.w1 is not None:
        return Binding(probe=probe.id, series=series, source="w1", address=probe.w1, form="w1", low=low, high=high)
    if probe.serial is not None:
        return Binding(
            probe=probe.id,
            series=series,
            source=probe.serial,
            address=probe.serial,
            form="line",
            low=low,
            high=high,
            gain=gain,
            offset=offset,
            decimal=probe.decimal,
            pattern=LinePattern(probe.pattern or ""),
            encoding=encodings[probe.serial],
            signal=probe.signal,
            counts=probe.counts,
        )
    return Binding(
        probe=probe.id,
        series=series,
        source="mqtt",
        address=probe.topic or "",
        form=probe.payload,
        low=low,
        high=high,
        gain=gain,
        offset=offset,
        decimal=probe.decimal,
        pointer=None if probe.pointer is None else JsonPointer.parse(probe.pointer),
        time_pointer=None if probe.time_pointer is None else JsonPointer.parse(probe.time_pointer),
        signal=probe.signal,
        counts=probe.counts,
        supply_pointer=None if probe.supply_pointer is None else JsonPointer.parse(probe.supply_pointer),
        name=probe.name or probe.id,
        dimension=QUANTITIES[probe.quantity].dimension,
        unit=probe.unit,
        unit_declared=probe.unit_declared,
    )
