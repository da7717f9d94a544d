"""The limits that are watched: the file's own, filled with what is usual, and the default ones that none replaces."""

from __future__ import annotations

__all__ = ["USUAL", "Usual", "effective_limits", "judged_probes", "limit_key", "own_limit"]

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from ingest.cellar.default_limits import Default, no_data_default, pressure_defaults
from ingest.cellar.equipment import EffectiveLimit, LimitKind, LimitSettings, Probe, Vessel


@dataclass(frozen=True, slots=True)
class Usual:
    """What an own limit of a quantity gets where it says nothing: deadband in the quantity's unit, delays in s."""

    deadband: float
    on_delay_s: float
    off_delay_s: float


# Pressure: 2 % of a usual range of 100 kPa; temperature and pH: a little above the noise of common probes; delays
# follow how fast the thing can change. Project choice, informed by common practice.
USUAL: Final[dict[str, Usual]] = {
    "pressure": Usual(2.0, 15.0, 15.0),
    "barometric_pressure": Usual(0.2, 300.0, 300.0),
    "temperature": Usual(0.4, 300.0, 300.0),
    "pH": Usual(0.03, 300.0, 300.0),
}
_NO_DATA: Final = Usual(0.0, 0.0, 0.0)


def effective_limits(
    vessels: Iterable[Vessel], probes: Sequence[Probe], settings: Iterable[LimitSettings], *, units: str
) -> tuple[EffectiveLimit, ...]:
    """Every limit that is watched: the file's own first, then the default ones.

    An own low limit on the pressure that a probe measures replaces *care* and *air* of that probe, an own high limit
    replaces *over*, an own no data limit replaces the probe's default one. units: the site's, for default limits.
    Each setting must mean exactly one probe.
    """
    own = tuple(own_limit(setting, probes) for setting in settings)
    replaced = {(limit.probe, limit.kind) for limit in own}
    by_id = {vessel.id: vessel for vessel in vessels}
    defaults: list[EffectiveLimit] = []
    for probe in probes:
        made = [no_data_default(probe)]
        if probe.quantity == "pressure" and probe.at in by_id:
            made += pressure_defaults(by_id[probe.at])
        defaults += [
            _default_limit(default, probe, probes, units)
            for default in made
            if (probe.id, default.kind) not in replaced
        ]
    return (*own, *defaults)


def limit_key(probe: Probe, probes: Iterable[Probe], word: str) -> str:
    """place/quantity/word, and the probe's id behind it where two probes measure the same there."""
    same = [other for other in probes if (other.at, other.quantity) == (probe.at, probe.quantity)]
    key = f"{probe.at}/{probe.quantity}/{word}"
    return f"{key}/{probe.id}" if len(same) > 1 else key


def judged_probes(setting: LimitSettings, probes: Iterable[Probe]) -> list[Probe]:
    """The probes that an own limit can mean; exactly one in a consistent file."""
    return [
        probe
        for probe in probes
        if setting.probe in (None, probe.id)
        and setting.at in (None, probe.at)
        and setting.quantity in (None, probe.quantity)
    ]


def own_limit(setting: LimitSettings, probes: Sequence[Probe]) -> EffectiveLimit:
    """A limit of the file with its gaps filled."""
    probe = judged_probes(setting, probes)[0]
    kind, setpoint = _kind_and_setpoint(setting)
    usual = _NO_DATA if kind == "no data" else USUAL[probe.quantity]
    return EffectiveLimit(
        key=setting.id or limit_key(probe, probes, kind.replace(" ", "-")),
        kind=kind,
        at=probe.at,
        quantity=probe.quantity,
        probe=probe.id,
        setpoint=setpoint,
        deadband=usual.deadband if setting.deadband is None else setting.deadband,
        on_delay_s=usual.on_delay_s if setting.on_delay_s is None else setting.on_delay_s,
        off_delay_s=usual.off_delay_s if setting.off_delay_s is None else setting.off_delay_s,
        priority=setting.priority,
        hours=setting.hours,
        consequence=setting.consequence,
        action=setting.action,
        unit_text=setting.unit_text,
        origin="file",
    )


def _kind_and_setpoint(setting: LimitSettings) -> tuple[LimitKind, float]:
    if setting.no_data_s is not None:
        return "no data", setting.no_data_s
    if setting.low is not None:
        return "low", setting.low
    assert setting.high is not None
    return "high", setting.high


def _default_limit(default: Default, probe: Probe, probes: Sequence[Probe], units: str) -> EffectiveLimit:
    no_data = default.kind == "no data"
    return EffectiveLimit(
        key=limit_key(probe, probes, "no-data" if no_data else default.role),
        kind=default.kind,
        at=probe.at,
        quantity=probe.quantity,
        probe=probe.id,
        setpoint=default.setpoint,
        deadband=default.deadband,
        on_delay_s=default.on_delay_s,
        off_delay_s=0.0 if no_data else USUAL[probe.quantity].off_delay_s,
        priority=default.priority,
        hours=default.hours,
        consequence=default.consequence,
        action=default.action,
        unit_text="s" if no_data else "psi" if units == "us" else "kPa",
        role=default.role,
        origin="default",
        suppressed_by=limit_key(probe, probes, "air") if default.role == "care" else None,
    )
