"""Kegs of a kind for trials, drawn from a seed: what they hold, their air, their probes, and what happens to them.

The sizes of disturbances are common practice in cellars (no source) or data sheets of ordinary transmitters (0.25 to 1
% of 200 kPa, thermal zero 0.01 to 0.03 % per K, drift 0.1 to 0.25 % a year; from memory). Each keg depends on the
seed, its number and how long it is watched, not on how many are drawn.
"""

from __future__ import annotations

__all__ = ["KegKind", "draw_kegs", "in_one_room"]

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, log
from typing import Literal, TypeVar

import numpy as np
from numpy.random import Generator, default_rng

from ingest.simulation.keg_trials.array_physics import GASES, gas_in_wine
from ingest.simulation.keg_trials.keg import Happening, KegAir, KegProbes, Leak, Moved, TrialKeg, Vent, WineDrawn
from ingest.simulation.physics import GAS_CONSTANT, ZERO_C

_CAPACITY_L = 19.0
_DAY_S = 86_400.0
_OXYGEN_IN_AIR_KPA = 20.6
_NITROGEN_IN_AIR_KPA = 76.8

_T = TypeVar("_T")

Wine = Literal["air", "blanket", "gas-free"]
Stirring = Literal["slow", "mid", "fast", "still"]
LeakSize = tuple[Literal["floor in h", "loss kPa/h"], float, float]


@dataclass(frozen=True, slots=True)
class KegKind:
    """What the kegs of a trial have in common; a tuple is drawn from, with equal chance.

    headspace_l: true, L. days: how long it is watched. wine: what it held before the charge: the gases of air (and,
    where the blanket is carbon dioxide, some of that, as young wine does), those of its blanket, or hardly any. leak:
    how its size is given and from where to where it lies (even on a logarithmic scale), None for a tight keg;
    onset_day: earliest and latest. swing_k: of the room, peak to peak. draws_per_day,
    moves_per_day, vents_per_day, gaps_per_day: how often on average; rising_kpa_day: how fast a wine
    that works again raises the pressure, from where to where; recharge: whether it is charged again when a draw
    left little gas. contents: ``even`` within 0.3 L, ``normal`` with sd 0.3 L (up to 0.6 L), or ``both``; the believed
    headspace is at least 0.12 L. calm turns off everything but the wine and the leak.
    """

    headspace_l: float
    days: float
    leak: LeakSize | None = None
    onset_day: tuple[float, float] = (2.0, 2.5)
    wine: tuple[Wine, ...] = ("air", "blanket")
    stirring: tuple[Stirring, ...] = ("slow", "mid", "fast", "still")
    gas: tuple[Literal["n2", "ar", "co2"], ...] = ("n2", "n2", "n2", "n2", "n2", "ar")
    start_kpa: tuple[float, float] = (20.0, 60.0)
    swing_k: tuple[float, ...] = (6.0, 6.0, 9.0)
    laws: tuple[Literal["viscous", "orifice", "linear"], ...] = ("viscous", "viscous", "orifice", "linear")
    barometer: tuple[bool, ...] = (True, False)
    room_probe: tuple[bool, ...] = (True, False)
    mounted: tuple[Literal["wine", "wall"], ...] = ("wine", "wall")
    contents: Literal["even", "normal", "both"] = "both"
    charged_before_days: float = 6.0
    draws_per_day: float = 0.07
    moves_per_day: float = 0.03
    vents_per_day: float = 0.02
    gaps_per_day: float = 0.25
    doors_per_day: float = 2.0
    gap_h: float = 3.0
    recharge: bool = True
    rising_kpa_day: tuple[float, float] | None = None
    calm: bool = False


def draw_kegs(kind: KegKind, count: int, *, seed: int, first: int = 0) -> list[TrialKeg]:
    """Draw kegs number ``first`` to ``first + count - 1`` of a kind."""
    return [_draw_keg(kind, seed, number) for number in range(first, first + count)]


def in_one_room(kegs: Sequence[TrialKeg]) -> list[TrialKeg]:
    """Put kegs into the room of the first: its temperatures, its weather, its doors. None has a barometer there."""
    air = replace(kegs[0].air, seed=kegs[0].seed)
    return [replace(keg, air=air, probes=replace(keg.probes, barometer=False)) for keg in kegs]


def _draw_keg(kind: KegKind, seed: int, number: int) -> TrialKeg:
    random = default_rng([seed, number, round(1000 * kind.headspace_l)])
    noise_seed = int(random.integers(1 << 40))
    wine, stirring, gas = _pick(random, kind.wine), _pick(random, kind.stirring), _pick(random, kind.gas)
    start_kpa = float(random.uniform(*kind.start_kpa))
    capacity_l = _CAPACITY_L
    wine_l = capacity_l - kind.headspace_l
    believed = wine_l + _contents_error(random, kind)
    believed = min(believed, capacity_l - 0.12)
    lag_s = 6 * 3600.0 * (0.15 + 0.85 * wine_l / 18.5) * float(random.uniform(0.6, 1.4))
    leak = _leak(random, kind)
    keg = TrialKeg(
        seed=noise_seed,
        capacity_l=capacity_l,
        wine_l=wine_l,
        believed_wine_l=wine_l if kind.calm else round(believed, 2),
        gas=gas,
        start_kpa=start_kpa,
        wine_holds_kpa=_held(random, wine, gas, start_kpa),
        charged_before_s=_DAY_S * float(random.uniform(0.0, kind.charged_before_days)) * bool(random.random() < 0.5),
        surface_m_per_s=_stirring(random, stirring),
        solubility_factor=float(random.uniform(0.84, 0.96)),
        diffusion_factor=float(random.uniform(0.6, 1.2)),
        oxygen_eaten_s=_DAY_S * float(random.uniform(1.0, 6.0)),
        wine_lag_s=lag_s,
        gas_lag_s=float(random.uniform(60.0, 600.0)),
        gas_share=float(random.uniform(0.15, 0.5)),
        leak=leak,
        made_mol_per_s=_made(random, kind),
    )
    if kind.calm:
        return keg
    return _disturbed(random, kind, keg)


def _disturbed(random: Generator, kind: KegKind, keg: TrialKeg) -> TrialKeg:
    air = KegAir(
        mean_c=float(random.uniform(11.0, 17.0)),
        swing_k=_pick(random, kind.swing_k),
        warmest_h=float(random.uniform(12.0, 18.0)),
        drift_k=float(random.uniform(0.3, 1.0)),
        station_kpa=float(random.uniform(96.0, 102.0)),
        weather_kpa=float(random.uniform(0.9, 1.5)),
        weather_s=_DAY_S * float(random.uniform(1.5, 3.0)),
        weather_lag_s=3600.0 * _pick(random, (0.0, 3.0)),
        compressor_k=float(random.uniform(0.5, 1.5)) * bool(random.random() < 0.6),
        compressor_s=float(random.uniform(900.0, 2400.0)),
        doors=tuple(
            (at_s, float(random.uniform(1.0, 4.0)) * _pick(random, (-1.0, 1.0)), float(random.uniform(120.0, 900.0)))
            for at_s in _moments(random, kind.doors_per_day, kind.days)
        ),
    )
    gaps = tuple((at_s, at_s + 3600.0 * kind.gap_h) for at_s in _moments(random, kind.gaps_per_day, kind.days))
    probes = KegProbes(
        mounted=_pick(random, kind.mounted),
        wall_share=float(random.uniform(0.1, 0.35)),
        pressure_noise_kpa=float(random.uniform(0.02, 0.08)),
        pressure_step_kpa=_pick(random, (0.01, 0.05, 0.1)),
        pressure_zero_kpa=float(random.normal(0.0, 0.3)),
        thermal_zero_kpa_k=float(random.uniform(-0.05, 0.05)),
        drift_kpa_day=float(random.normal(0.0, 0.0008)),
        temperature_noise_k=float(random.uniform(0.02, 0.08)),
        temperature_step_k=_pick(random, (0.1, 0.0625)),
        temperature_zero_k=float(random.normal(0.0, 0.2)),
        barometer=_pick(random, kind.barometer),
        barometer_noise_kpa=float(random.uniform(0.005, 0.03)),
        barometer_step_kpa=_pick(random, (0.01, 0.1)),
        barometer_zero_kpa=float(random.normal(0.0, 0.1)),
        room=_pick(random, kind.room_probe),
        room_noise_k=0.05,
        room_step_k=_pick(random, (0.1, 0.0625)),
        room_zero_k=float(random.normal(0.0, 0.3)),
        gaps=gaps,
    )
    return replace(keg, air=air, probes=probes, happenings=_happenings(random, kind))


def _happenings(random: Generator, kind: KegKind) -> tuple[Happening, ...]:
    most = 0.1 if kind.headspace_l < 1.0 else 0.2
    happenings: list[Happening] = [
        WineDrawn(
            at_s,
            float(random.uniform(0.05, most)),
            float(random.uniform(10.0, 60.0)),
            12.0 if kind.recharge else None,
        )
        for at_s in _moments(random, kind.draws_per_day, kind.days)
    ]
    happenings += [
        Vent(at_s, float(random.uniform(0.5, 4.0))) for at_s in _moments(random, kind.vents_per_day, kind.days)
    ]
    happenings += [
        Moved(at_s, float(random.uniform(120.0, 480.0)), 1e-5 * 10.0 ** float(random.uniform(0.0, 1.0)))
        for at_s in _moments(random, kind.moves_per_day, kind.days)
    ]
    return tuple(sorted(happenings, key=lambda happening: happening.at_s))


def _leak(random: Generator, kind: KegKind) -> Leak | None:
    onset_s = _DAY_S * float(random.uniform(*kind.onset_day))
    law = _pick(random, kind.laws)
    share = float(random.random())
    if kind.leak is None:
        return None
    how, low, high = kind.leak
    size = exp(log(low) + share * log(high / low))
    if how == "floor in h":
        return Leak(onset_s, law, floor_in_h=size)
    return Leak(onset_s, law, loss_kpa_h=size)


def _made(random: Generator, kind: KegKind) -> float:
    """The gas that a wine gives off which works again [mol/s]."""
    if kind.rising_kpa_day is None:
        return 0.0
    kpa_s = float(random.uniform(*kind.rising_kpa_day)) / _DAY_S
    space_l = kind.headspace_l
    if kind.gas == ("co2",):
        # The wine keeps its share: a litre of it holds as much as this many litres of headspace.
        held = float(gas_in_wine(np.array([13.0]), np.array([0.9]))[GASES.index("co2"), 0])
        space_l += held * GAS_CONSTANT * (13.0 + ZERO_C) * (_CAPACITY_L - kind.headspace_l)
    return kpa_s * space_l / (GAS_CONSTANT * (13.0 + ZERO_C))


def _held(random: Generator, wine: Wine, gas: str, start_kpa: float) -> tuple[float, ...]:
    """The partial pressures of nitrogen, argon, oxygen and carbon dioxide that the wine holds."""
    share, oxygen = float(random.uniform(0.0, 1.0)), float(random.random())
    if wine == "gas-free":
        held, oxygen = share * 15.0, 0.0
    elif wine == "air":
        # Wine in the open has used up most of its oxygen, in two of three.
        held = 20.0 + 40.0 * share if gas == "co2" else 0.0
        return _NITROGEN_IN_AIR_KPA, 0.9, (_OXYGEN_IN_AIR_KPA * max(0.0, 3.0 * oxygen - 2.0)), held
    else:
        # Half of them fully at rest, the others nearly.
        held = (start_kpa + 99.0) * (1.0 if share < 0.5 else 0.7 + 0.6 * (share - 0.5))
    if gas == "co2":
        return 0.0, 0.0, 0.0, held
    return (held, 0.0, 0.0) if gas == "n2" else (0.0, held, 0.0)


def _stirring(random: Generator, stirring: Stirring) -> float | None:
    spread = exp(float(random.normal(0.0, 0.3)))
    if stirring == "still":
        return None
    return {"slow": 1e-7, "mid": 1e-6, "fast": 1e-5}[stirring] * min(spread, 1.0 if stirring == "fast" else 3.0)


def _contents_error(random: Generator, kind: KegKind) -> float:
    even, normal, coin = float(random.uniform(-0.3, 0.3)), float(random.normal(0.0, 0.3)), float(random.random())
    if kind.contents == "even" or (kind.contents == "both" and coin < 0.5):
        return even
    return max(-0.6, min(0.6, normal))


def _moments(random: Generator, per_day: float, days: float) -> list[float]:
    """Moments of a Poisson process [s], none in the first two hours, and at least ten minutes apart."""
    count = int(random.poisson(per_day * days))
    moments = sorted(float(at) for at in random.uniform(7200.0, max(7201.0, days * _DAY_S), count))
    return [at for i, at in enumerate(moments) if i == 0 or at - moments[i - 1] >= 600.0]


def _pick(random: Generator, choices: Sequence[_T]) -> _T:
    return choices[int(random.integers(len(choices)))]
