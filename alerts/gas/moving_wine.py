"""Moving wine: pushing it from a keg by gas, and siphoning it; how long it takes, and how much gas.

    push     dp = p_source - p_receiver - rho g h       gauge pressures; h: lift, negative where the wine flows down
    siphon   dp = rho g h                               h: head between the two levels, which falls as it runs
    gas      n = p_source V / (R T)                     absolute; the gas that takes the wine's place in the source

The flow by dp is in ``tube_flow``. A push keeps its flow, with a regulator that holds the pressure. In a siphon the
head falls in step with the volume moved, as in two upright vessels, so the time is V / (h1 - h2) times the integral of
dh / Q. It stops where the two levels meet.

Worked examples, at 17 °C through 2 m of 6.35 mm: 20 kPa over a lift of 0.5 m: 2.9 L/min, 18 L in 6 min. Pushing 18.5 L
at 55 kPa and 15 °C uses 28.5 L of gas (15 °C, 101.325 kPa).
"""

from __future__ import annotations

__all__ = ["PLENTY_KPA", "Transfer", "push", "push_warnings", "siphon"]

from dataclasses import dataclass
from math import exp, log
from typing import Final

from alerts.allowed_range import AllowedRange
from alerts.errors import OutOfRange
from alerts.gas.blanket import BAROMETER_RANGE
from alerts.gas.gases import ATMOSPHERE_KPA, standard_l
from alerts.gas.tube_flow import GRAVITY_M_S2, Regime, Tube, TubeFlow, tube_flow, wine_viscosity
from alerts.gas.vessel_walls import check_pressure
from alerts.gas.wine_density import wine_density
from alerts.number_text import number_text

_VOLUME_RANGE: Final = AllowedRange("volume", 0.001, 1e6, "L", "transfers move")
_PRESSURE_RANGE: Final = AllowedRange("pressure", 0.0, 1000.0, "kPa", "wine is pushed with")
_HEIGHT_RANGE: Final = AllowedRange("height", -50.0, 50.0, "m", "transfers go from")
# Below a millimetre the two levels meet. A siphon breaks where its column is as high as the air can carry, 10 m.
_START_RANGE: Final = AllowedRange("head at the start", 0.001, 10.0, "m", "a siphon runs with")
_END_RANGE: Final = AllowedRange("head at the end", 0.001, 10.0, "m", "a siphon runs with")
# Steps of Simpson's rule; the integrand is smooth but for two kinks.
_STEPS: Final = 100
# 20 to 35 kPa is plenty to push wine (common practice, no source).
PLENTY_KPA: Final = 35.0


@dataclass(frozen=True, slots=True)
class Transfer:
    """A transfer as worked out: gas in L at 15 °C and 101.325 kPa, mean flow in L/min, minutes.

    high_l_min, low_minutes: if the flow stays laminar as long as it can; else the same.
    start_l_min, end_l_min: the flow as it begins and ends. driving_kpa: what drives it at the start.
    """

    gas_l: float
    l_min: float
    minutes: float
    high_l_min: float
    low_minutes: float
    start_l_min: float
    end_l_min: float
    regime: Regime
    driving_kpa: float


def push(
    kind: str,
    volume_l: float,
    pressure_kpa: float,
    height_m: float,
    tube: Tube,
    temperature_c: float,
    *,
    alcohol_percent_vol: float = 12.0,
    stamp_kpa: float | None = None,
    receiver_kpa: float = 0.0,
    barometer_kpa: float = ATMOSPHERE_KPA,
) -> Transfer:
    """Work out pushing wine from a keg or tank; pressures gauge, height_m: lift, -50 to 50 m, -5 to 40 °C.

    Raises OutOfRange for glass, plastic and barrels, beyond the stamp, where the pressure does not lift the wine, and
    for numbers out of range.
    """
    _VOLUME_RANGE.checked(volume_l)
    check_pressure(kind, _PRESSURE_RANGE.checked(pressure_kpa), stamp_kpa)
    _PRESSURE_RANGE._replace(name="receiver's pressure").checked(receiver_kpa)
    BAROMETER_RANGE.checked(barometer_kpa)
    density = wine_density(alcohol_percent_vol, temperature_c)
    lift_kpa = density * GRAVITY_M_S2 * _HEIGHT_RANGE.checked(height_m) / 1000.0
    driving = pressure_kpa - receiver_kpa - lift_kpa
    if driving <= 0.0:
        against = f"a lift of {height_m:g} m takes {number_text(lift_kpa, 3)} kPa"
        if receiver_kpa > 0.0:
            against += f" and the receiver has {receiver_kpa:g} kPa"
        raise OutOfRange(
            "pressure",
            f"{pressure_kpa:g} kPa does not move the wine: {against}; it must be above "
            f"{number_text(receiver_kpa + lift_kpa, 3)} kPa",
        )
    flow = tube_flow(tube, driving, density, wine_viscosity(temperature_c))
    return Transfer(
        gas_l=standard_l(volume_l, pressure_kpa + barometer_kpa, temperature_c),
        l_min=flow.l_min,
        minutes=volume_l / flow.l_min,
        high_l_min=flow.high_l_min,
        low_minutes=volume_l / flow.high_l_min,
        start_l_min=flow.l_min,
        end_l_min=flow.l_min,
        regime=flow.regime,
        driving_kpa=driving,
    )


def push_warnings(pressure_kpa: float, stamp_kpa: float | None) -> list[str]:
    """List what a push at a gauge pressure gives reason to warn of; stamp_kpa: None where it was not given."""
    warnings = []
    if stamp_kpa is None:
        warnings.append("read the pressure stamped on the vessel, and stay below it; it was not given")
    if pressure_kpa > PLENTY_KPA:
        warnings.append(f"20 to {PLENTY_KPA:g} kPa is plenty to push wine; more dissolves more gas in it")
    return warnings


def siphon(
    volume_l: float,
    head_start_m: float,
    head_end_m: float,
    tube: Tube,
    temperature_c: float,
    *,
    alcohol_percent_vol: float = 12.0,
    barometer_kpa: float = ATMOSPHERE_KPA,
) -> Transfer:
    """Work out siphoning wine between two levels, whose difference falls from start to end; 0.001 to 10 m, -5 to 40 °C.

    regime: that at both ends if it is the same, else transition. Raises OutOfRange.
    """
    _VOLUME_RANGE.checked(volume_l)
    _START_RANGE.checked(head_start_m)
    if _END_RANGE.checked(head_end_m) > head_start_m:
        raise OutOfRange(
            "head at the end",
            f"a head of {head_end_m:g} m at the end is more than the {head_start_m:g} m at the start; it falls as the "
            "siphon runs",
        )
    BAROMETER_RANGE.checked(barometer_kpa)
    density, viscosity = wine_density(alcohol_percent_vol, temperature_c), wine_viscosity(temperature_c)

    def flow(head_m: float) -> TubeFlow:
        return tube_flow(tube, density * GRAVITY_M_S2 * head_m / 1000.0, density, viscosity)

    start, end = flow(head_start_m), flow(head_end_m)
    # In equal steps of the logarithm of the head, since the flow is near a power of it.
    span = log(head_start_m / head_end_m)
    heads = [head_end_m * exp(span * step / _STEPS) for step in range(_STEPS + 1)]
    # Simpson's rule of dh = h d(ln h), as shares of the volume.
    weights = [(1.0 if step in (0, _STEPS) else 4.0 if step % 2 else 2.0) * head for step, head in enumerate(heads)]
    flows = [flow(head) for head in heads]
    share = volume_l / sum(weights)
    minutes = share * sum(weight / at_head.l_min for weight, at_head in zip(weights, flows, strict=True))
    low_minutes = share * sum(weight / at_head.high_l_min for weight, at_head in zip(weights, flows, strict=True))
    return Transfer(
        gas_l=standard_l(volume_l, barometer_kpa, temperature_c),
        l_min=volume_l / minutes,
        minutes=minutes,
        high_l_min=volume_l / low_minutes,
        low_minutes=low_minutes,
        start_l_min=start.l_min,
        end_l_min=end.l_min,
        regime=start.regime if start.regime is end.regime else Regime.TRANSITION,
        driving_kpa=density * GRAVITY_M_S2 * head_start_m / 1000.0,
    )
