"""Density of wine as a mixture of water and ethanol, by the international alcoholometric formula.

    rho(p, t) = A1 + sum A_k p^(k-1) + sum B_k (t-20)^k + sum C_i,k p^k (t-20)^i        [kg/m³]

with p the *mass fraction* of ethanol and t in °C, -20 to 40 °C: OIML R 22 (1975), the same as the annex of Council
Directive 76/766/EEC. Extract makes real wine denser, but the gas model uses only ratios of densities. Sugar makes wine
expand more than this.

Worked example: 12 % vol at 20 °C: p = 0.0964, 982.35 kg/m³; at 10 °C 984.39.
"""

from __future__ import annotations

__all__ = ["ALCOHOL_RANGE", "TEMPERATURE_RANGE", "ethanol_mass_fraction", "mixture_density", "wine_density"]

from functools import lru_cache
from typing import Final

from alerts.allowed_range import AllowedRange

# Wine has at most 20 % vol; the formula itself goes to pure ethanol.
ALCOHOL_RANGE: Final = AllowedRange("alcohol", 0.0, 20.0, "% vol", "wine has")
# Wine freezes near -5 °C; the formula ends at 40 °C.
TEMPERATURE_RANGE: Final = AllowedRange("temperature", -5.0, 40.0, "°C", "the properties of wine go from")

_A: Final = (
    9.982012300e2,
    -1.929769495e2,
    3.891238958e2,
    -1.668103923e3,
    1.352215441e4,
    -8.829278388e4,
    3.062874042e5,
    -6.138381234e5,
    7.470172998e5,
    -5.478461354e5,
    2.234460334e5,
    -3.903285426e4,
)
_B: Final = (-2.0618513e-1, -5.2682542e-3, 3.6130013e-5, -3.8957702e-7, 7.1693540e-9, -9.9739231e-11)
_C: Final = (
    (
        1.693443461530087e-1,
        -1.046914743455169e1,
        7.196353469546523e1,
        -7.047478054272792e2,
        3.924090430035045e3,
        -1.210164659068747e4,
        2.248646550400788e4,
        -2.605562982188164e4,
        1.852373922069467e4,
        -7.420201433430137e3,
        1.285617841998974e3,
    ),
    (
        -1.193013005057010e-2,
        2.517399633803461e-1,
        -2.170575700536993e0,
        1.353034988843029e1,
        -5.029988758547014e1,
        1.096355666277570e2,
        -1.422753946421155e2,
        1.080435942856230e2,
        -4.414153236817392e1,
        7.442971530188783e0,
    ),
    (
        -6.802995733503803e-4,
        1.876837790289664e-2,
        -2.002561813734156e-1,
        1.022992966719220e0,
        -2.895696483903638e0,
        4.810060584300675e0,
        -4.672147440794683e0,
        2.458043105903461e0,
        -5.411227621436812e-1,
    ),
    (4.075376675622027e-6, -8.763058573471110e-6, 6.515031360099368e-6, -1.515784836987210e-6),
    (-2.788074354782409e-8, 1.345612883493354e-8),
)
_ETHANOL_20C: Final = 789.24
_SAME: Final = 1e-13


def mixture_density(mass_fraction: float, temperature_c: float) -> float:
    """Work out the density of ethanol and water [kg/m³] by OIML R 22, mass fraction 0 to 1, -20 to 40 °C."""
    above = temperature_c - 20.0
    density = sum(a * mass_fraction**k for k, a in enumerate(_A))
    density += sum(b * above**k for k, b in enumerate(_B, 1))
    for i, row in enumerate(_C, 1):
        density += above**i * sum(c * mass_fraction**k for k, c in enumerate(row, 1))
    return density


@lru_cache(maxsize=64)
def ethanol_mass_fraction(alcohol_percent_vol: float) -> float:
    """Work out the mass fraction of ethanol from % vol at 20 °C, by q = p rho(p, 20 °C) / 789.24 kg/m³.

    Raises OutOfRange outside 0 to 20 % vol.
    """
    share = ALCOHOL_RANGE.checked(alcohol_percent_vol) / 100.0
    fraction, before = share, -1.0
    while abs(fraction - before) > _SAME:
        fraction, before = share * _ETHANOL_20C / mixture_density(fraction, 20.0), fraction
    return fraction


@lru_cache(maxsize=4096)
def wine_density(alcohol_percent_vol: float, temperature_c: float) -> float:
    """Work out the density of wine [kg/m³]. Raises OutOfRange outside 0 to 20 % vol and -5 to 40 °C."""
    fraction = ethanol_mass_fraction(alcohol_percent_vol)
    return mixture_density(fraction, TEMPERATURE_RANGE.checked(temperature_c))
