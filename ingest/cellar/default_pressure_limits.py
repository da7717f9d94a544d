"""The default limits on the pressure in a vessel: *care*, *air*, *working* and *over* under gas, else only *over*.

The numbers are this project's choice, informed by common practice: a blanket of a few tens of kPa is kept on resting
wine, a keg is seldom set above about 100 kPa, an alarm waits long enough that a sample drawn by hand does not raise it,
and a vessel that is not made for pressure must never have any.
"""

from __future__ import annotations

__all__ = ["care_setpoint_kpa", "over_setpoint_kpa", "pressure_limits"]

from collections.abc import Iterator
from functools import partial
from typing import Final

from ingest.cellar.equipment import Probe, Vessel
from ingest.cellar.file_limits import ByPlace, limit_key
from ingest.cellar.limits import USUAL, EffectiveLimit, LimitKind, Role
from ingest.cellar.shown_units import shown_unit

_CARE_LOW_KPA: Final = 20.0
_CARE_DEADBAND_KPA: Final = 3.0
_CARE_ON_DELAY_S: Final = 600.0
_AIR_LOW_KPA: Final = 5.0
_AIR_DEADBAND_KPA: Final = 1.0
_AIR_ON_DELAY_S: Final = 60.0
# A vessel stamped with less than this cannot hold the usual blanket: its low limits shrink with the stamp.
_FULL_BLANKET_KPA: Final = 50.0
# Where a stamp is so low that *over* is near, it alone speaks.
_WORKING_HIGH_KPA: Final = 120.0
_WORKING_DEADBAND_KPA: Final = 10.0
_WORKING_DEADBAND_SHARE: Final = 0.1
_WORKING_ON_DELAY_S: Final = 600.0
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
_CREEPS: Final = (
    "More gas is in the vessel than is usual: the wine takes it up. If it goes on rising, it comes near to what is "
    "stamped on the vessel."
)
_FIND_CREEP: Final = (
    "See whether the regulator creeps: close the gas supply and look whether the pressure stands still. If it goes on "
    "rising, the wine ferments or the vessel warms. Air the room before you vent. If this pressure is meant, write it "
    "as working_pressure of the vessel."
)
_NEAR_STAMP: Final = (
    "The pressure comes near what is stamped on the vessel; beyond that, lid, valve or weld can give way."
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


def pressure_limits(probe: Probe, by_place: ByPlace, vessel: Vessel, units: str) -> Iterator[EffectiveLimit]:
    """Limit the pressure in a vessel: *care*, *air*, *working* and *over* under gas, only *over* in anything else."""
    limit = partial(_pressure_limit, probe, by_place, units)
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
    share = _blanket_share(stamped)
    yield limit(
        role="care",
        kind="low",
        setpoint=care_setpoint_kpa(stamped),
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
    working_kpa = vessel.working_pressure_kpa
    if working_kpa is None and over_setpoint_kpa(stamped) >= _WORKING_HIGH_KPA + _WORKING_DEADBAND_KPA:
        working_kpa = _WORKING_HIGH_KPA
    if working_kpa is not None:
        yield limit(
            role="working",
            kind="high",
            setpoint=working_kpa,
            deadband=min(_WORKING_DEADBAND_KPA, _WORKING_DEADBAND_SHARE * working_kpa),
            on_delay_s=_WORKING_ON_DELAY_S,
            consequence=_CREEPS,
            action=_FIND_CREEP,
        )
    yield limit(
        role="over",
        kind="high",
        setpoint=over_setpoint_kpa(stamped),
        deadband=_OVER_DEADBAND_SHARE * stamped,
        on_delay_s=_OVER_ON_DELAY_S,
        consequence=_NEAR_STAMP,
        action=_VENT,
    )


def care_setpoint_kpa(stamped_kpa: float) -> float:
    """Give the setpoint of *care* for a vessel under gas with that stamp, both kPa gauge."""
    return _blanket_share(stamped_kpa) * _CARE_LOW_KPA


def _blanket_share(stamped_kpa: float) -> float:
    return min(1.0, stamped_kpa / _FULL_BLANKET_KPA)


def over_setpoint_kpa(stamped_kpa: float) -> float:
    """Give the setpoint of *over* for a vessel under gas with that stamp, both kPa gauge."""
    return _OVER_SHARE * stamped_kpa


def _pressure_limit(
    probe: Probe,
    by_place: ByPlace,
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
    """Make a default limit on a pressure [kPa gauge]; *care* and *working* can wait for waking hours."""
    can_wait = role in ("care", "working")
    return EffectiveLimit(
        key=limit_key(probe, by_place, role),
        kind=kind,
        at=probe.at,
        quantity=probe.quantity,
        probe=probe.id,
        setpoint=setpoint,
        deadband=deadband,
        on_delay_s=on_delay_s,
        off_delay_s=USUAL[probe.quantity].off_delay_s,
        priority="medium" if can_wait else "high",
        hours="waking" if can_wait else "any",
        consequence=consequence,
        action=action,
        unit_text=shown_unit("pressure", units),
        role=role,
        origin="default",
    )
