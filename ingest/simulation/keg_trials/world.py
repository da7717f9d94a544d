"""Many kegs moved through time together, one step for all at once.

    keg_truths(kegs, days) -> KegTruths      what is true at each step
    read(truths)           -> KegReadings    what the probes show (``readings``)

About 2 ms of one core per keg and day at 60 s steps with 48 kegs at once; a keg of still wine costs a little more.
"""

from __future__ import annotations

__all__ = ["KegTruths", "KegWorld", "keg_truths"]

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ingest.simulation.keg_trials import leak_laws
from ingest.simulation.keg_trials.air import air_of, wine_at_start
from ingest.simulation.keg_trials.array_physics import (
    AIR,
    GASES,
    Floats,
    gas_in_wine,
    kpa_l_per_mol,
    vapour_kpa,
    wine_ratio,
)
from ingest.simulation.keg_trials.keg import Charge, Happening, Moved, TrialKeg, Vent, WineDrawn
from ingest.simulation.keg_trials.still_wine import StillWine
from ingest.simulation.physics import BORE_M2, STEEL_EXPANSION

_CHUNK = 1440
_LEAD_STEPS = 144
_STILL_EVERY_S = 300.0
_RECHARGE_AFTER_S = 900.0
_LEAST_ABOVE_KPA = 10.0
_ML_PER_MOL = 22_413.97
"""A mole of gas at 0 °C and 101.325 kPa [mL]; exact to the digits shown."""

Floats32 = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class KegTruths:
    """What is true of each keg at each step: arrays of times x kegs.

    at_s: s since the start; gauge_kpa: against the air's pressure; rate_ml_min: gas through the leak, mL/min at 0 °C
    and 101.325 kPa, mean over the step that ends there; headspace_l: at 20 °C, which grows as wine is drawn. leak_void:
    kegs whose leak has no meaning and was left out, because their gauge was less than 10 kPa above its floor at the
    onset.
    """

    kegs: tuple[TrialKeg, ...]
    at_s: Floats
    gauge_kpa: Floats32
    wine_c: Floats32
    gas_c: Floats32
    room_c: Floats32
    station_kpa: Floats32
    rate_ml_min: Floats32
    headspace_l: Floats32
    leak_void: NDArray[np.bool_]

    def until(self, days: float) -> KegTruths:
        """Keep the steps up to a time."""
        steps = int(np.searchsorted(self.at_s, 86_400.0 * days + 1.0))
        arrays = {
            name: getattr(self, name)[:steps]
            for name in ("at_s", "gauge_kpa", "wine_c", "gas_c", "room_c", "station_kpa", "rate_ml_min", "headspace_l")
        }
        return replace(self, **arrays)


def keg_truths(kegs: Sequence[TrialKeg], days: float, *, more_days: float = 0.0, step_s: float = 60.0) -> KegTruths:
    """Run kegs from their first reading on. more_days: goes on for so long, with air that does not change what lies
    before; step_s: 10 to 300 s.
    """
    world = KegWorld(kegs, days, more_days=more_days, step_s=step_s)
    world.run()
    return world.truths()


class KegWorld:
    """The state of all kegs: amounts of each gas in headspace and wine [mol], gases x kegs, and what left or came."""

    def __init__(self, kegs: Sequence[TrialKeg], days: float, *, more_days: float = 0.0, step_s: float = 60.0) -> None:
        self.kegs = tuple(kegs)
        self._step_s = step_s
        steps = round(days * 86_400.0 / step_s) + round(more_days * 86_400.0 / step_s) + 1
        self._at_s: Floats = step_s * np.arange(steps, dtype=np.float64)
        self._later_s = step_s * round(days * 86_400.0 / step_s) if more_days else np.inf
        count, steps = len(self.kegs), len(self._at_s)
        self._capacity_l = _each(keg.capacity_l for keg in kegs)
        self._wine_20c_l = _each(keg.wine_l for keg in kegs)
        self._factor = _each(keg.solubility_factor for keg in kegs)
        self._stirring = _each(keg.surface_m_per_s or 0.0 for keg in kegs)
        self._still = np.flatnonzero([keg.surface_m_per_s is None for keg in kegs])
        self._still_wine = (
            StillWine(_each(kegs[int(i)].diffusion_factor for i in self._still)) if len(self._still) else None
        )
        eaten = [np.inf if keg.oxygen_eaten_s is None else keg.oxygen_eaten_s for keg in kegs]
        self._oxygen_stays = np.exp(-step_s / np.array(eaten))
        self._made_mol = np.zeros((len(GASES), count))
        for index, keg in enumerate(kegs):
            self._made_mol[GASES.index(keg.gas), index] = keg.made_mol_per_s * step_s
        self._leak_k = np.zeros(count)
        self._leaking = False
        self.leak_void = np.zeros(count, dtype=bool)
        self._plan: dict[int, list[tuple[int, Happening | None]]] = {}
        self._calm_again: dict[int, list[int]] = {}
        for index, keg in enumerate(kegs):
            for happening in keg.happenings:
                self._schedule(happening.at_s, index, happening)
            if keg.leak is not None:
                self._schedule(keg.leak.onset_s, index, None)
        self._air(steps, count)
        shape = (len(GASES), count)
        self.head_mol = np.zeros(shape)
        self.wine_mol = np.zeros(shape)
        self.lost_mol = np.zeros(shape)
        self.removed_mol = np.zeros(shape)
        self._gauge = np.zeros((steps, count), dtype=np.float32)
        self._rate = np.zeros((steps, count), dtype=np.float32)
        self._headspace = np.zeros((steps, count), dtype=np.float32)
        self._fill()

    def run(self) -> None:
        """Take every step."""
        self._lead()
        for begin in range(0, len(self._at_s), _CHUNK):
            self._chunk(begin, min(begin + _CHUNK, len(self._at_s)))

    def truths(self) -> KegTruths:
        """Give what was recorded."""
        return KegTruths(
            self.kegs,
            self._at_s,
            self._gauge,
            self._wine_c.astype(np.float32),
            self._gas_c.astype(np.float32),
            self._room_c.astype(np.float32),
            self._station.astype(np.float32),
            self._rate,
            self._headspace,
            self.leak_void,
        )

    def total_mol(self) -> Floats:
        """Add up each gas of each keg, wherever it is: this never changes."""
        return self.head_mol + self.wine_mol + self.lost_mol + self.removed_mol

    def _schedule(self, at_s: float, index: int, happening: Happening | None) -> None:
        self._plan.setdefault(max(1, round(at_s / self._step_s)), []).append((index, happening))

    def _air(self, steps: int, count: int) -> None:
        self._room_c = np.empty((steps, count))
        self._station = np.empty((steps, count))
        for index, keg in enumerate(self.kegs):
            seed = keg.seed if keg.air.seed is None else keg.air.seed
            random, later = np.random.default_rng([seed, 1]), np.random.default_rng([seed, 3])
            air = air_of(keg.air, self._at_s, random, None if np.isinf(self._later_s) else later, self._later_s)
            self._room_c[:, index], self._station[:, index] = air
        wine_c = _each(wine_at_start(keg.air, keg.wine_lag_s) for keg in self.kegs)
        share = _each(keg.gas_share for keg in self.kegs)
        wine_turn = 1.0 - np.exp(-self._step_s / _each(keg.wine_lag_s for keg in self.kegs))
        gas_turn = 1.0 - np.exp(-self._step_s / _each(max(keg.gas_lag_s, 1e-6) for keg in self.kegs))
        gas_c = wine_c + share * (self._room_c[0] - wine_c)
        self._wine_c = np.empty((steps, count))
        self._gas_c = np.empty((steps, count))
        self._wine_c[0], self._gas_c[0] = wine_c, gas_c
        for step in range(1, steps):
            room_c = self._room_c[step]
            wine_c = wine_c + wine_turn * (room_c - wine_c)
            gas_c = gas_c + gas_turn * (wine_c + share * (room_c - wine_c) - gas_c)
            self._wine_c[step], self._gas_c[step] = wine_c, gas_c

    def _space(self, wine_c: Floats, ratio: Floats) -> Floats:
        space = self._capacity_l * (1.0 + STEEL_EXPANSION * (wine_c - 20.0)) - self._wine_20c_l * ratio
        if space.min() <= 0.0:
            index = int(space.argmin())
            raise ValueError(f"keg {index}: wine fills it at {wine_c[index]:.1f} °C; leave it a headspace")
        return np.asarray(space)

    def _fill(self) -> None:
        wine_c = self._wine_c[0]
        wine_l = self._wine_20c_l * wine_ratio(wine_c)
        kpa_per_mol = kpa_l_per_mol(self._gas_c[0]) / self._space(wine_c, wine_ratio(wine_c))
        dry = _each(keg.start_kpa for keg in self.kegs) + self._station[0] - vapour_kpa(wine_c)
        for index, keg in enumerate(self.kegs):
            self.head_mol[GASES.index(keg.gas), index] = dry[index] / kpa_per_mol[index]
        held = np.zeros((len(GASES), len(self.kegs)))
        for index, keg in enumerate(self.kegs):
            held[: len(keg.wine_holds_kpa), index] = keg.wine_holds_kpa
        self.wine_mol = gas_in_wine(wine_c, self._factor) * held * wine_l
        if self._still_wine is not None:
            self._still_wine.mix(self.wine_mol[:, self._still], wine_l[self._still])

    def _lead(self) -> None:
        """The time between charge and first reading, at a steady temperature."""
        lead_s = _each(keg.charged_before_s for keg in self.kegs) / _LEAD_STEPS
        if not lead_s.any():
            return
        wine_c = self._wine_c[0]
        ratio = wine_ratio(wine_c)
        kpa_per_mol = kpa_l_per_mol(self._gas_c[0]) / self._space(wine_c, ratio)
        soluble = gas_in_wine(wine_c, self._factor)
        stays = self._oxygen_stays ** (lead_s / self._step_s)
        for _ in range(_LEAD_STEPS):
            self._dissolve(lead_s, soluble * kpa_per_mol, self._wine_20c_l * ratio)
            self._diffuse(lead_s, soluble * kpa_per_mol, self._wine_20c_l * ratio)
            self._eat_oxygen(stays)

    def _chunk(self, begin: int, end: int) -> None:
        wine_c = self._wine_c[begin:end]
        ratios = wine_ratio(wine_c)
        vapours = vapour_kpa(wine_c)
        rts = kpa_l_per_mol(self._gas_c[begin:end])
        solubles = gas_in_wine(wine_c, self._factor)
        vessels = self._capacity_l * (1.0 + STEEL_EXPANSION * (wine_c - 20.0))
        still_steps = max(1, round(_STILL_EVERY_S / self._step_s))
        for step in range(begin, end):
            now = step - begin
            if step in self._plan:
                self._happen(step)
            wine_l = self._wine_20c_l * ratios[now]
            kpa_per_mol = rts[now] / (vessels[now] - wine_l)
            if step:
                l_to_mol = solubles[:, now] * kpa_per_mol
                self._dissolve(self._step_s, l_to_mol, wine_l)
                if step % still_steps == 0:
                    self._diffuse(still_steps * self._step_s, l_to_mol, wine_l)
                self._eat_oxygen(self._oxygen_stays)
                self.head_mol += self._made_mol
                self.removed_mol -= self._made_mol
                if self._leaking:
                    self._escape(step, kpa_per_mol, vapours[now])
            self._gauge[step] = self.head_mol.sum(axis=0) * kpa_per_mol + vapours[now] - self._station[step]
            self._headspace[step] = self._capacity_l - self._wine_20c_l
            for index in self._calm_again.pop(step, ()):
                self._calm(index, wine_l)

    def _dissolve(self, elapsed_s: float | Floats, l_to_mol: Floats, wine_l: Floats) -> None:
        both = self.head_mol + self.wine_mol
        pull = l_to_mol + 1.0 / wine_l
        end = both * l_to_mol / pull
        stirred_l = (-1000.0 * BORE_M2) * self._stirring * elapsed_s
        self.wine_mol = end + (self.wine_mol - end) * np.exp(stirred_l * pull)
        self.head_mol = both - self.wine_mol

    def _diffuse(self, elapsed_s: float | Floats, l_to_mol: Floats, wine_l: Floats) -> None:
        if self._still_wine is None:
            return
        which = self._still
        elapsed = elapsed_s[which] if isinstance(elapsed_s, np.ndarray) else elapsed_s
        taken = self._still_wine.step(
            elapsed, self.head_mol[:, which], self.wine_mol[:, which], wine_l[which], l_to_mol[:, which]
        )
        self.head_mol[:, which] -= taken
        self.wine_mol[:, which] += taken

    def _eat_oxygen(self, stays: Floats) -> None:
        oxygen = self.wine_mol[2]
        eaten = oxygen * (1.0 - stays)
        self.wine_mol[2] = oxygen - eaten
        self.removed_mol[2] += eaten

    def _escape(self, step: int, kpa_per_mol: Floats, vapour: Floats) -> None:
        """Let gas out through the leaks, or air in."""
        outside = self._station[step]
        amount = self.head_mol.sum(axis=0)
        inside = amount * kpa_per_mol + vapour
        pressure = inside
        for law, which in self._by_law.items():
            # k was found at the onset for an amount: a volume or temperature that has changed since scales the fall.
            k = self._leak_k * kpa_per_mol
            pressure = np.where(which, leak_laws.after(law, inside, outside, k, self._step_s), pressure)
        gone = (inside - pressure) / kpa_per_mol
        mixture = np.where(gone >= 0.0, self.head_mol / amount, AIR[:, None])
        self.head_mol = self.head_mol - gone * mixture
        self.lost_mol += gone * mixture
        self._rate[step] = gone * (_ML_PER_MOL * 60.0 / self._step_s)

    def _happen(self, step: int) -> None:
        for index, happening in self._plan.pop(step):
            wine_c = self._wine_c[step, index]
            ratio = float(wine_ratio(np.array([wine_c]))[0])
            wine_l = self._wine_20c_l[index] * ratio
            vessel_l = self._capacity_l[index] * (1.0 + STEEL_EXPANSION * (wine_c - 20.0))
            kpa_per_mol = float(kpa_l_per_mol(self._gas_c[step])[index]) / (vessel_l - wine_l)
            outside = self._station[step, index] - float(vapour_kpa(np.array([wine_c]))[0])
            gauge = float(self.head_mol[:, index].sum()) * kpa_per_mol - outside
            match happening:
                case None:
                    self._begin_leak(index, gauge + float(self._station[step, index]), step, kpa_per_mol)
                case WineDrawn():
                    self._draw(step, index, happening, wine_l)
                case Vent():
                    gone = min(happening.kpa, max(gauge, 0.0)) / kpa_per_mol
                    mixture = self.head_mol[:, index] / self.head_mol[:, index].sum()
                    self.head_mol[:, index] -= gone * mixture
                    self.removed_mol[:, index] += gone * mixture
                case Charge():
                    if gauge < min(happening.to_kpa, happening.if_below_kpa):
                        gas = GASES.index(self.kegs[index].gas)
                        self.head_mol[gas, index] += (happening.to_kpa - gauge) / kpa_per_mol
                        self.removed_mol[gas, index] -= (happening.to_kpa - gauge) / kpa_per_mol
                case Moved():
                    self._stirring[index] = happening.surface_m_per_s
                    for_steps = max(1, round(happening.within_s / self._step_s))
                    self._calm_again.setdefault(step + for_steps - 1, []).append(index)

    def _begin_leak(self, index: int, inside: float, step: int, kpa_per_mol: float) -> None:
        leak = self.kegs[index].leak
        assert leak is not None
        outside = float(self._station[step, index])
        if leak.floor_in_h is not None:
            floor = outside + leak.floor_kpa
            if inside < floor + _LEAST_ABOVE_KPA:
                self.leak_void[index] = True
                return
            k = leak_laws.coefficient_by_time(leak.law, inside, outside, floor, 3600.0 * leak.floor_in_h)
        elif leak.loss_kpa_h is not None:
            if inside < outside + _LEAST_ABOVE_KPA:
                self.leak_void[index] = True
                return
            k = leak_laws.coefficient_by_loss(leak.law, inside, outside, leak.loss_kpa_h / 3600.0)
        else:
            raise ValueError(f"keg {index}: a leak needs floor_in_h or loss_kpa_h")
        self._leak_k[index] = k / kpa_per_mol
        self._leaking = True
        self._by_law = {
            law: np.array([keg.leak is not None and keg.leak.law == law for keg in self.kegs]) & (self._leak_k > 0.0)
            for law in leak_laws.LAWS
            if any(keg.leak is not None and keg.leak.law == law for keg in self.kegs)
        }

    def _draw(self, step: int, index: int, drawn: WineDrawn, wine_l: float) -> None:
        """Draw the part of this step, and leave the rest to the next ones."""
        steps = max(1, round(drawn.within_s / self._step_s))
        litres = drawn.litres / steps
        share = litres / wine_l
        gone = self.wine_mol[:, index] * share
        if self._still_wine is not None and index in self._still:
            # From below the layers.
            layers = self._still_wine.mol[:, :, int(np.searchsorted(self._still, index))].sum(axis=0)
            gone = (self.wine_mol[:, index] - layers) * litres / (wine_l - self._still_wine.total_l)
        self.wine_mol[:, index] -= gone
        self.removed_mol[:, index] += gone
        self._wine_20c_l[index] *= 1.0 - share
        if steps > 1:
            rest = WineDrawn(drawn.at_s, drawn.litres - litres, drawn.within_s - self._step_s, drawn.recharge_below_kpa)
            self._plan.setdefault(step + 1, []).append((index, rest))
        elif drawn.recharge_below_kpa is not None:
            later = step + round(_RECHARGE_AFTER_S / self._step_s)
            charge = Charge(drawn.at_s, self.kegs[index].start_kpa, drawn.recharge_below_kpa)
            self._plan.setdefault(later, []).append((index, charge))

    def _calm(self, index: int, wine_l: Floats) -> None:
        self._stirring[index] = self.kegs[index].surface_m_per_s or 0.0
        if self._still_wine is not None and index in self._still:
            which = self._still == index
            self._still_wine.mix(self.wine_mol[:, self._still], wine_l[self._still], which)


def _each(values: Iterable[float]) -> Floats:
    return np.array(list(values), dtype=float)
