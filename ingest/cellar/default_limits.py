"""Every limit that is watched: those of the file, and the default ones that no limit of the file replaces.

The default numbers are this project's choice, informed by common practice: a blanket of a few tens of kPa is kept on
resting wine, an alarm waits long enough that a sample drawn by hand or a door left open does not raise it, and a vessel
that is not made for pressure must never have any. That an alarm states its consequence and the response is IEC 62682.
"""

from __future__ import annotations

__all__ = ["effective_limits"]

from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from typing import Final

from ingest.cellar.equipment import Probe, Vessel
from ingest.cellar.limits import USUAL, EffectiveLimit, LimitKind, LimitSettings, Role, file_limit, limit_key

_NO_DATA_INTERVALS: Final = 3.0  # one lost message is not an alarm, three in a row are
_NO_DATA_SHORTEST_S: Final = 120.0

_CARE_LOW_KPA: Final = 20.0
_CARE_DEADBAND_KPA: Final = 3.0
_CARE_ON_DELAY_S: Final = 600.0
_AIR_LOW_KPA: Final = 5.0
_AIR_DEADBAND_KPA: Final = 1.0
_AIR_ON_DELAY_S: Final = 60.0
# A vessel stamped with less than this cannot hold the usual blanket: its low limits shrink with the stamp.
_FULL_BLANKET_KPA: Final = 50.0
_OVER_SHARE: Final = 0.9
_OVER_DEADBAND_SHARE: Final = 0.02
_OVER_ON_DELAY_S: Final = 10.0
_UNPRESSED_HIGH_KPA: Final = 2.0
_UNPRESSED_DEADBAND_KPA: Final = 0.5
_UNPRESSED_ON_DELAY_S: Final = 30.0

_THIN: Final = "The blanket is getting thin; if gas goes on escaping, air will follow."
_TOP_UP: Final = (
    "Look for a leak at lid, posts and lines with soapy water, then top the blanket up. Air the room before you touch "
    "a leaking vessel: escaped gas takes the place of the air you breathe."
)
_AIR_COMES: Final = "Hardly any pressure is left: air can reach the wine."
_CLOSE_LEAK: Final = (
    "Air the room first: escaped gas takes the place of the air you breathe. Then look at lid seal and posts, close "
    "the leak and bring the blanket back."
)
_NEAR_STAMP: Final = (
    "The pressure comes near to what is stamped on the vessel; beyond it lid, valve or weld can give way."
)
_VENT: Final = (
    "Close the gas supply. Air the room, keep your face away from lid and valve, and vent slowly. Then find out "
    "whether the regulator creeps, the vessel has warmed, or the wine ferments."
)
_BURST_GLASS: Final = "Glass bursts under pressure, without warning."
_RELIEVE_GLASS: Final = (
    "Stand aside and keep others away; shield eyes and hands. Close any gas supply, then let the pressure off slowly "
    "at bung or airlock. Never put glass under pressure: find out whether the airlock is blocked or the wine ferments."
)
_BURST_UNPRESSED: Final = "The vessel is not kept for pressure: it can leak, bulge or burst, and wine is lost."
_RELIEVE_UNPRESSED: Final = (
    "Close any gas supply. Air the room, stand aside of lid and bung, and let the pressure off slowly. Find out "
    "whether a vent is blocked or the wine ferments."
)


def effective_limits(
    vessels: Iterable[Vessel], probes: Sequence[Probe], settings: Iterable[LimitSettings], *, units: str
) -> tuple[EffectiveLimit, ...]:
    """List every limit that is watched: the file's first, then the default ones.

    In the file, a low limit on the pressure that a probe measures replaces *care* and *air* of that probe, a high limit
    replaces *over*, a no data limit replaces the probe's default one. units: the site's, for default limits.
    Each setting must mean exactly one probe.
    """
    written = [file_limit(setting, probes) for setting in settings if setting.due is None]
    replaced = {(limit.probe, limit.kind) for limit in written}
    by_id = {vessel.id: vessel for vessel in vessels}
    defaults = [
        limit
        for probe in probes
        for limit in _default_limits(probe, probes, by_id.get(probe.at), units)
        if (limit.probe, limit.kind) not in replaced
    ]
    return (*written, *defaults)


def _default_limits(
    probe: Probe, probes: Sequence[Probe], vessel: Vessel | None, units: str
) -> Iterator[EffectiveLimit]:
    yield _no_data(probe, probes)
    if probe.quantity == "pressure" and vessel is not None:
        yield from _pressure_limits(probe, probes, vessel, units)


def _no_data(probe: Probe, probes: Sequence[Probe]) -> EffectiveLimit:
    """Limit the time without a reading: three times the probe's interval, at least two minutes."""
    quantity = "pH" if probe.quantity == "pH" else probe.quantity.replace("_", " ")
    return EffectiveLimit(
        key=limit_key(probe, probes, "no-data"),
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


def _pressure_limits(probe: Probe, probes: Sequence[Probe], vessel: Vessel, units: str) -> Iterator[EffectiveLimit]:
    """Limit the pressure in a vessel: *care*, *air* and *over* under gas, only *over* in anything else."""
    limit = partial(_pressure_limit, probe, probes, units)
    if not vessel.under_gas or vessel.max_pressure_kpa is None:
        glass = vessel.material == "glass"
        yield limit(
            role="over",
            kind="high",
            setpoint=_UNPRESSED_HIGH_KPA,
            deadband=_UNPRESSED_DEADBAND_KPA,
            on_delay_s=_UNPRESSED_ON_DELAY_S,
            consequence=_BURST_GLASS if glass else _BURST_UNPRESSED,
            action=_RELIEVE_GLASS if glass else _RELIEVE_UNPRESSED,
        )
        return
    stamped = vessel.max_pressure_kpa
    share = min(1.0, stamped / _FULL_BLANKET_KPA)
    yield limit(
        role="care",
        kind="low",
        setpoint=share * _CARE_LOW_KPA,
        deadband=share * _CARE_DEADBAND_KPA,
        on_delay_s=_CARE_ON_DELAY_S,
        consequence=_THIN,
        action=_TOP_UP,
    )
    yield limit(
        role="air",
        kind="low",
        setpoint=share * _AIR_LOW_KPA,
        deadband=share * _AIR_DEADBAND_KPA,
        on_delay_s=_AIR_ON_DELAY_S,
        consequence=_AIR_COMES,
        action=_CLOSE_LEAK,
    )
    yield limit(
        role="over",
        kind="high",
        setpoint=_OVER_SHARE * stamped,
        deadband=_OVER_DEADBAND_SHARE * stamped,
        on_delay_s=_OVER_ON_DELAY_S,
        consequence=_NEAR_STAMP,
        action=_VENT,
    )


def _pressure_limit(
    probe: Probe,
    probes: Sequence[Probe],
    units: str,
    *,
    role: Role,
    kind: LimitKind,
    setpoint: float,
    deadband: float,
    on_delay_s: float,
    consequence: str,
    action: str,
) -> EffectiveLimit:
    """Make a default limit on a pressure [kPa gauge]; *care* can wait for waking hours, the others cannot."""
    care = role == "care"
    return EffectiveLimit(
        key=limit_key(probe, probes, role),
        kind=kind,
        at=probe.at,
        quantity=probe.quantity,
        probe=probe.id,
        setpoint=setpoint,
        deadband=deadband,
        on_delay_s=on_delay_s,
        off_delay_s=USUAL[probe.quantity].off_delay_s,
        priority="medium" if care else "high",
        hours="waking" if care else "any",
        consequence=consequence,
        action=action,
        unit_text="psi" if units == "us" else "kPa",
        role=role,
        origin="default",
        suppressed_by=(limit_key(probe, probes, "air"),) if care else (),
    )
