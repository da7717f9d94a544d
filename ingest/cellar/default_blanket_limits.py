"""The default limits on the gas over a wine, as leeside works it out: lost, soon too thin, or coming in. Pure.

They go beside those on the gauge (``default_pressure_limits``): the gauge says whether air can reach the wine now,
these say whether gas is missing, and for how long it still lasts. The numbers are this project's choice, informed by
common practice: a leak that leaves half a day can wait for the morning, one that does not wakes; two days leave time to
fetch gas.
"""

from __future__ import annotations

__all__ = ["blanket_limits"]

from collections.abc import Iterator
from functools import partial
from typing import Final

from ingest.cellar.default_pressure_limits import care_setpoint_kpa
from ingest.cellar.equipment import Vessel
from ingest.cellar.limits import EffectiveLimit, Hours, LimitKind, Priority, Role
from ingest.cellar.quantities import LIMIT_QUANTITIES, judged_id
from ingest.cellar.shown_units import shown_unit

_CARE_DEADBAND_KPA: Final = 3.0
_CARE_ON_DELAY_S: Final = 600.0
# Less than this no leak test at blanket pressure finds in a week.
_ANY_GAS_ML_MIN: Final = 0.001
_ANY_GAS_DEADBAND_ML_MIN: Final = 0.0005
_SOON_H: Final = 12.0
_SOON_DEADBAND_H: Final = 2.0
_FORESEEN_H: Final = 48.0
_COLD_H: Final = 24.0
_FORESEEN_DEADBAND_H: Final = 6.0

_LOST: Final = "Gas is lost. Once the blanket is gone, air reaches the wine."
_FIND_LEAK: Final = (
    "Air the room before you go in. Brush soapy water on lid seal, posts and relief valve, then on the regulator and "
    "its lines, and look for bubbles. Close the leak, then charge the vessel again."
)
_SOON: Final = "Once the gauge is below the air floor, air can reach the wine."
_FIND_LEAK_NOW: Final = (
    "Go and look now. Air the room first. Brush soapy water on lid seal, posts and relief valve, then on the regulator "
    "and its lines. If you cannot close the leak at once, charge the vessel again to gain time."
)
_FORESEEN: Final = "If it goes on like this, air can reach the wine within two days."
_COLD: Final = "No gas is lost, but in the cold the gauge falls so far that a lid can lose its seal and let air in."
_CHARGE_BEFORE: Final = "Charge the vessel before it gets cold, or keep it warmer. Air the room before you go in."
_THIN: Final = "The blanket is thin, whatever the temperature: little more must be lost before air can reach the wine."
_CHARGE: Final = (
    "See what was drawn or vented, and look at the lid seal. Air the room before you go in, then charge it again."
)
_RISES: Final = "The pressure goes on rising: the wine gives off carbon dioxide, or the regulator creeps."
_FIND_GAIN: Final = (
    "Close the gas supply. If the pressure stands still then, the regulator creeps; if it goes on rising, the wine "
    "ferments. Air the room before you go in: carbon dioxide is not seen and gathers low. Vent slowly if it comes near "
    "to what is stamped on the vessel."
)
_BURSTS: Final = "Gas comes from the wine. Glass bursts under pressure, without warning."
_OPEN_GLASS: Final = (
    "Stand aside, shield eyes and hands, and keep others away. See whether the airlock is blocked, and let the "
    "pressure off slowly at bung or airlock. The wine ferments or gives off carbon dioxide: leave the airlock free. "
    "Air the room."
)


def blanket_limits(vessel: Vessel, units: str) -> Iterator[EffectiveLimit]:
    """Limit what is worked out of the gas in a vessel that has probes of pressure and temperature.

    Under gas: gas lost, hours until the air floor (*soon* wakes), the same by cold, and the compensated pressure
    (*care*). In any vessel: gas that comes in. units: the site's, for pressure.
    """
    limit = partial(_blanket_limit, vessel.id)
    glass = vessel.material == "glass"
    if vessel.under_gas and vessel.max_pressure_kpa is not None:
        setpoint_kpa = care_setpoint_kpa(vessel.max_pressure_kpa)
        yield limit("leak_rate", "high", _ANY_GAS_ML_MIN, _ANY_GAS_DEADBAND_ML_MIN, _LOST, _FIND_LEAK)
        yield limit(
            "hours_to_air_floor",
            "low",
            _SOON_H,
            _SOON_DEADBAND_H,
            _SOON,
            _FIND_LEAK_NOW,
            role="soon",
            priority="high",
            hours="any",
        )
        yield limit("hours_to_air_floor", "low", _FORESEEN_H, _FORESEEN_DEADBAND_H, _FORESEEN, _FIND_LEAK)
        yield limit("hours_to_air_floor_by_cold", "low", _COLD_H, _FORESEEN_DEADBAND_H, _COLD, _CHARGE_BEFORE)
        yield limit(
            "compensated_pressure",
            "low",
            setpoint_kpa,
            min(_CARE_DEADBAND_KPA, setpoint_kpa),
            _THIN,
            _CHARGE,
            role="care",
            on_delay_s=_CARE_ON_DELAY_S,
            unit_text=shown_unit("pressure", units),
        )
    yield limit(
        "gas_gain_rate",
        "high",
        _ANY_GAS_ML_MIN,
        _ANY_GAS_DEADBAND_ML_MIN,
        _BURSTS if glass else _RISES,
        _OPEN_GLASS if glass else _FIND_GAIN,
        priority="high" if glass else "medium",
        hours="any" if glass else "waking",
    )


def _blanket_limit(
    at: str,
    quantity: str,
    kind: LimitKind,
    setpoint: float,
    deadband: float,
    consequence: str,
    action: str,
    *,
    role: Role = "",
    priority: Priority = "medium",
    hours: Hours = "waking",
    on_delay_s: float = 0.0,
    unit_text: str = "",
) -> EffectiveLimit:
    return EffectiveLimit(
        key=f"{at}/{quantity}/{role or kind}",
        kind=kind,
        at=at,
        quantity=quantity,
        probe=judged_id(at, quantity),
        setpoint=setpoint,
        deadband=deadband,
        on_delay_s=on_delay_s,
        off_delay_s=0.0,
        priority=priority,
        hours=hours,
        consequence=consequence,
        action=action,
        unit_text=unit_text or LIMIT_QUANTITIES[quantity].unit,
        role=role,
        origin="default",
    )
