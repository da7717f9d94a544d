"""Wine without motion: a stack of layers over a mixed bulk, into which gas diffuses from the headspace.

One row of boxes: headspace, thin layers that grow downwards, bulk. Each box has a volume (the headspace that of the
wine which would hold its gas), and between neighbours flows A D dc / distance. A step is implicit (backward Euler),
solved by elimination (Thomas), so it keeps the amount of gas and is stable at any length. Early on the uptake is the
textbook's 2 A dc sqrt(D t / pi) (Crank, The Mathematics of Diffusion, 1975).
"""

from __future__ import annotations

__all__ = ["StillWine"]

import numpy as np

from ingest.simulation.keg_trials.array_physics import DIFFUSIVITY, GASES, Floats
from ingest.simulation.physics import BORE_M2


class StillWine:
    """Gas in the still wine of some kegs: in the layers near the surface [mol], and in the bulk below.

    diffusion_factor: of each keg; first_m: thickness of the first layer; growth: of each next one; depth_m: of all.
    Arrays are gases x kegs; layers come first.
    """

    def __init__(
        self, diffusion_factor: Floats, *, first_m: float = 0.0003, growth: float = 1.35, depth_m: float = 0.14
    ) -> None:
        count = int(np.ceil(np.log(1.0 + depth_m * (growth - 1.0) / first_m) / np.log(growth)))
        self.thickness_m = first_m * growth ** np.arange(count)
        self.layer_l = self.thickness_m * BORE_M2 * 1000.0
        self.total_l = float(self.layer_l.sum())
        half = self.thickness_m / 2.0
        distance_m = np.concatenate([half[:1], half[:-1] + half[1:], half[-1:]])
        flow = DIFFUSIVITY[:, None] * diffusion_factor
        # L/s through each face: headspace to first layer, layer to layer, last layer to bulk.
        self._faces = 1000.0 * BORE_M2 * flow[None] / distance_m[:, None, None]
        self.mol: Floats = np.zeros((count, len(GASES), len(diffusion_factor)))

    def mix(self, wine_mol: Floats, wine_l: Floats, which: Floats | None = None) -> None:
        """Spread all gas of the wine [mol, layers included] evenly through it; which: only of these kegs (bool)."""
        even = self.layer_l[:, None, None] * (wine_mol / wine_l)[None]
        self.mol = even if which is None else np.where(which, even, self.mol)

    def step(
        self, elapsed_s: float | Floats, head_mol: Floats, wine_mol: Floats, wine_l: Floats, l_to_mol: Floats
    ) -> Floats:
        """Move by a time and give the gas that went from headspace to wine [mol].

        l_to_mol: mol/L that the wine would hold at its surface per mol of gas above it.
        """
        count = len(self.layer_l)
        faces = self._faces * elapsed_s
        bulk_l = np.maximum(wine_l - self.total_l, 0.1)
        volumes = [
            1.0 / l_to_mol,
            *(np.full_like(l_to_mol, v) for v in self.layer_l),
            np.broadcast_to(bulk_l, l_to_mol.shape),
        ]
        amounts = [head_mol, *self.mol, wine_mol - self.mol.sum(axis=0)]
        # Forward elimination of (V_i + f_i + f_{i+1}) c_i - f_i c_{i-1} - f_{i+1} c_{i+1} = n_i.
        upper: list[Floats] = []
        right: list[Floats] = []
        for i in range(count + 2):
            diagonal = volumes[i] + (faces[i - 1] if i else 0.0) + (faces[i] if i <= count else 0.0)
            amount = amounts[i]
            if i:
                diagonal = diagonal - faces[i - 1] * upper[-1]
                amount = amount + faces[i - 1] * right[-1]
            upper.append(faces[i] / diagonal if i <= count else np.zeros_like(diagonal))
            right.append(amount / diagonal)
        concentration = right[-1]
        for i in range(count, -1, -1):
            concentration = right[i] + upper[i] * concentration
            if i:
                self.mol[i - 1] = concentration * self.layer_l[i - 1]
        return np.asarray(head_mol - concentration / l_to_mol)
