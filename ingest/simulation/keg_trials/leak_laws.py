"""How gas leaves through a leak, for many kegs at once. Pressures are absolute, in kPa; times in s.

    viscous   P' = -k (P² - Pa²)        (P-Pa)/(P+Pa) falls by exp(-2 k Pa t): Hagen and Poiseuille for a gas
    orifice   P' = -k P f(Pa/P)         f = 1 when choked; below that by Saint-Venant and Wantzel, kappa = 1.4
    linear    P' = -k (P - Pa)          P - Pa falls by exp(-k t)

Each has its k for a steady temperature and volume; ``step`` takes R T / V as a factor, since what leaks is an amount.
"""

from __future__ import annotations

__all__ = ["LAWS", "after", "coefficient_by_loss", "coefficient_by_time"]

from typing import Final

import numpy as np

from ingest.simulation.keg_trials.array_physics import Floats

LAWS: Final = ("viscous", "orifice", "linear")

_KAPPA: Final = 1.4
_CHOKED: Final = (2.0 / (_KAPPA + 1.0)) ** (_KAPPA / (_KAPPA - 1.0))
_MOST: Final = float(np.sqrt(_CHOKED ** (2.0 / _KAPPA) - _CHOKED ** ((_KAPPA + 1.0) / _KAPPA)))


def _orifice_share(ratio: Floats) -> Floats:
    """The flow through a hole as a share of choked flow; ratio: pressure behind over before, 0 to 1."""
    bounded = np.clip(ratio, _CHOKED, 1.0)
    flow = bounded ** (2.0 / _KAPPA) - bounded ** ((_KAPPA + 1.0) / _KAPPA)
    return np.asarray(np.sqrt(np.maximum(flow, 0.0)) / _MOST)


def driving(law: str, inside: Floats, outside: Floats) -> Floats:
    """Work out what the flow is proportional to: the brackets above [kPa, or kPa² for viscous]. Inwards is negative."""
    if law == "viscous":
        return inside * inside - outside * outside
    if law == "linear":
        return inside - outside
    high, low = np.maximum(inside, outside), np.minimum(inside, outside)
    return np.sign(inside - outside) * high * _orifice_share(low / high)


def after(law: str, inside: Floats, outside: Floats, coefficient: Floats, elapsed_s: float) -> Floats:
    """Work out the pressure inside after a time; exact for viscous and linear, and stable for an orifice."""
    if law == "viscous":
        y = (inside - outside) / (inside + outside) * np.exp(-2.0 * coefficient * outside * elapsed_s)
        return outside * (1.0 + y) / (1.0 - y)
    above = inside - outside
    if law == "linear":
        return outside + above * np.exp(-coefficient * elapsed_s)
    # Exponential by the conductance at the middle of the step.
    for _ in range(2):
        middle = outside + 0.5 * (above + (inside - outside))
        gap = np.where(np.abs(middle - outside) < 1e-9, 1e-9, middle - outside)
        conductance = driving(law, outside + gap, outside) / gap
        inside = outside + above * np.exp(-coefficient * conductance * elapsed_s)
    return inside


def coefficient_by_loss(law: str, inside: float, outside: float, loss_kpa_s: float) -> float:
    """Find k for a first loss of pressure [kPa/s]."""
    return loss_kpa_s / float(driving(law, np.array([inside]), np.array([outside]))[0])


def coefficient_by_time(law: str, inside: float, outside: float, floor_kpa: float, elapsed_s: float) -> float:
    """Find k at which the pressure falls to ``floor_kpa`` absolute after a time. It must lie between the two."""
    if not outside < floor_kpa < inside:
        raise ValueError(
            f"a leak from {inside:g} to {floor_kpa:g} kPa with {outside:g} kPa outside: it must end between"
        )
    if law == "viscous":
        share = (inside - outside) * (floor_kpa + outside) / ((inside + outside) * (floor_kpa - outside))
        return float(np.log(share)) / (2.0 * outside * elapsed_s)
    if law == "linear":
        return float(np.log((inside - outside) / (floor_kpa - outside))) / elapsed_s
    # t = 1/k times the integral of dP / driving(P).
    grid = np.linspace(floor_kpa, inside, 2001)
    return float(np.trapezoid(1.0 / driving(law, grid, np.full_like(grid, outside)), grid)) / elapsed_s
