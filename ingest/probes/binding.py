"""Bindings: what the cellar file says of its probes, in the terms of the wire and of the store."""

from __future__ import annotations

__all__ = ["bindings", "declarations"]

import re
from collections.abc import Mapping

from ingest.cellar.models import Cellar, Probe
from ingest.cellar.quantities import plausible_range
from ingest.probes.scale import file_scale
from ingest.probes.taking import Binding
from ingest.sources.json_form import JsonPointer
from ingest.store.series import Declaration


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


def _binding(cellar: Cellar, probe: Probe, series: int, encodings: Mapping[str, str]) -> Binding:
    gain, offset = file_scale(probe, cellar.site.altitude_m)
    # The plausible range is told in our unit; the wire's numbers are compared, so the range is turned, not each number.
    ends = [(end - offset) / gain for end in plausible_range(probe.quantity, cellar.place_kind(probe.at))]
    low, high = min(ends), max(ends)
    if probe.serial is not None:
        return Binding(
            probe=probe.id,
            series=series,
            source=probe.serial,
            address=probe.serial,
            form="line",
            low=low,
            high=high,
            decimal=probe.decimal,
            pattern=re.compile(probe.pattern or ""),
            encoding=encodings[probe.serial],
        )
    return Binding(
        probe=probe.id,
        series=series,
        source="mqtt",
        address=probe.topic or "",
        form="json" if probe.payload == "json" else "plain",
        low=low,
        high=high,
        decimal=probe.decimal,
        pointer=None if probe.pointer is None else JsonPointer.parse(probe.pointer),
        time_pointer=None if probe.time_pointer is None else JsonPointer.parse(probe.time_pointer),
    )
