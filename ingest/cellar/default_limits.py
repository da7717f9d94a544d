"""Every limit that is watched: those of the file, and the default ones that no limit of the file replaces.

The default numbers are this project's choice. That an alarm states its consequence and the response is IEC 62682.
"""

from __future__ import annotations

__all__ = ["effective_limits", "possible_limits"]

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import chain
from typing import Final

from ingest.cellar.default_blanket_limits import blanket_limits
from ingest.cellar.default_cylinder_limits import cylinder_limits
from ingest.cellar.default_pressure_limits import pressure_limits
from ingest.cellar.default_temperature_limits import temperature_limits
from ingest.cellar.equipment import Cylinder, Probe, Vessel
from ingest.cellar.file_limits import ByPlace, WinePlaces, file_limit, limit_key, lot_limits, probes_by_place
from ingest.cellar.limits import EffectiveLimit, LimitSettings
from ingest.cellar.one_cause import is_as_loud, loudness, milder_suppressed

_NO_DATA_INTERVALS: Final = 3.0  # one lost message is not an alarm, three in a row are
_NO_DATA_SHORTEST_S: Final = 120.0

# A limit of the file says better than these what is usual here, so it replaces them whatever its setpoint.
_MILD_ROLES: Final = frozenset({"care", "working"})


def effective_limits(
    vessels: Iterable[Vessel],
    probes: Sequence[Probe],
    settings: Iterable[LimitSettings],
    *,
    units: str,
    wine: WinePlaces | None = None,
    cylinders: Iterable[Cylinder] = (),
) -> tuple[EffectiveLimit, ...]:
    """List every limit that is watched: the file's first, then the default ones.

    A limit of the file replaces the default ones of its kind on the same probe that it reaches: a low one *care*, and
    *air*, *frost* or *soon* if its setpoint is not above theirs; a high one *working*, and *over* or *heat* if it is
    not below theirs. units: the site's, for default limits; wine: where it lies, None leaves out the limits on wine.
    Each setting on a place must mean exactly one probe.
    """
    vessels, settings = list(vessels), [setting for setting in settings if setting.due is None]
    by_place = probes_by_place(probes)
    written = [file_limit(setting, probes, by_place) for setting in settings if setting.lot is None]
    if wine is not None:
        written += lot_limits(settings, (vessel.id for vessel in vessels), by_place, wine)
    by_id = {vessel.id: vessel for vessel in vessels}
    of_probe: dict[str, list[EffectiveLimit]] = {}
    for limit in written:
        of_probe.setdefault(limit.probe, []).append(limit)
    usual = chain(
        *(_default_limits(probe, by_place, by_id.get(probe.at), units) for probe in probes),
        *(
            blanket_limits(vessel, units)
            for vessel in vessels
            if all((vessel.id, quantity) in by_place for quantity in ("pressure", "temperature"))
        ),
        *(cylinder_limits(cylinder) for cylinder in cylinders),
    )
    defaults = (limit for limit in usual if not any(_replaces(mine, limit) for mine in of_probe.get(limit.probe, ())))
    return tuple(milder_suppressed([*_with_worse([*written, *defaults])]))


def possible_limits(
    vessels: Iterable[Vessel],
    probes: Sequence[Probe],
    settings: Iterable[LimitSettings],
    *,
    units: str,
    cylinders: Iterable[Cylinder] = (),
) -> tuple[EffectiveLimit, ...]:
    """List every limit that may be watched some day: ``effective_limits``, and each limit on wine at every vessel."""
    vessels, settings = list(vessels), [setting for setting in settings if setting.due is None]
    ids, by_place = [vessel.id for vessel in vessels], probes_by_place(probes)
    lots = frozenset(setting.lot for setting in settings if setting.lot is not None)
    limits = [*effective_limits(vessels, probes, settings, units=units, cylinders=cylinders)]
    for lot in sorted(lots):
        everywhere = WinePlaces({id: frozenset({lot}) for id in ids})
        limits += lot_limits([each for each in settings if each.lot == lot], ids, by_place, everywhere)
    return tuple(limits)


def _replaces(written: EffectiveLimit, default: EffectiveLimit) -> bool:
    """Say whether a limit of the file on the same probe makes a default one needless."""
    if written.kind != default.kind:
        return False
    if default.kind in ("no data", "rate") or default.role in _MILD_ROLES:
        return True
    return not _is_beyond(default, written)


def _is_beyond(limit: EffectiveLimit, other: EffectiveLimit) -> bool:
    """Say whether a low or high limit is reached only after the other of its kind."""
    return limit.setpoint < other.setpoint if limit.kind == "low" else limit.setpoint > other.setpoint


def _with_worse(limits: Sequence[EffectiveLimit]) -> Iterator[EffectiveLimit]:
    """Give the limits, each suppressed by the worse ones of its kind on the same probe.

    So one fall is reported once, and once more when it gets worse. A worse limit that may say less than the milder one
    does not suppress it.
    """
    groups: dict[tuple[str, str], list[EffectiveLimit]] = {}
    for limit in limits:
        if limit.kind in ("low", "high"):
            groups.setdefault((limit.probe, limit.kind), []).append(limit)
    for limit in limits:
        group = groups.get((limit.probe, limit.kind), [])
        worse = tuple(other.key for other in group if other is not limit and _is_worse(other, limit, group))
        yield replace(limit, suppressed_by=worse) if worse else limit


def _is_worse(other: EffectiveLimit, limit: EffectiveLimit, group: Sequence[EffectiveLimit]) -> bool:
    if other.setpoint == limit.setpoint:
        # Twice the same, as where two lots of one vessel have it: the louder or else the first one speaks.
        return (loudness(other), -group.index(other)) > (loudness(limit), -group.index(limit))
    return is_as_loud(other, limit) and _is_beyond(other, limit)


def _default_limits(probe: Probe, by_place: ByPlace, vessel: Vessel | None, units: str) -> Iterator[EffectiveLimit]:
    yield _no_data(probe, by_place)
    if probe.quantity == "pressure" and vessel is not None:
        yield from pressure_limits(probe, by_place, vessel, units)
    if probe.quantity == "temperature" and vessel is not None:
        yield from temperature_limits(probe, by_place, vessel, units)


def _no_data(probe: Probe, by_place: ByPlace) -> EffectiveLimit:
    """Limit the time without a reading: three times the probe's interval, at least two minutes."""
    quantity = "pH" if probe.quantity == "pH" else probe.quantity.replace("_", " ")
    return EffectiveLimit(
        key=limit_key(probe, by_place, "no-data"),
        kind="no data",
        at=probe.at,
        quantity=probe.quantity,
        probe=probe.id,
        setpoint=max(_NO_DATA_INTERVALS * probe.every_s, _NO_DATA_SHORTEST_S),
        deadband=0.0,
        on_delay_s=0.0,
        off_delay_s=0.0,
        priority="medium",
        hours="waking",
        consequence=f"Nobody sees what the {quantity} at {probe.at} does; its other alarms are blind.",
        action=f"Look at power, cable and network of {probe.id}; until it reports again, read the place by hand.",
        unit_text="s",
        origin="default",
    )
