"""What the invented lake's floor is made of: mean grain size as a field, and the reflection that goes with it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from lakemap.demo.shape import Floor, blob, lattice
from lakemap.physics.reflection import SEDIMENTS

Floats = NDArray[np.float64]

PHI_AT_DEPTH = ((0.0, 0.8), (4.0, 1.5), (6.0, 3.6), (9.0, 6.0), (13.0, 8.3))
"""Depth [m] and mean grain size [phi]: sand along the shore, silt on the slopes, clay in the basins."""
PATCHES_PHI, PATCH_M = 0.5, 30.0
"""How much the grain size varies by itself, and over what distance."""
_HARDEST_PHI, _SOFTEST_PHI = -7.0, 9.0


def grain_size_phi(floor: Floor, rng: np.random.Generator) -> Floats:
    """Mean grain size [phi] on the lattice, from rock (-7) to clay (9)."""
    x, y = lattice()
    depth, phi = np.array(PHI_AT_DEPTH).T
    size = np.interp(floor.depth_m, depth, phi) - 9.0 * floor.stony + 1.0 * floor.channel
    size = size + 4.5 * blob(x, y, (150, 520), 110)
    size = size - 4.5 * blob(x, y, (600, 170), 80) - 5.0 * blob(x, y, (1180, 300), 70)
    patches = gaussian_filter(rng.standard_normal(size.shape), PATCH_M, truncate=3.0)
    return np.asarray(np.clip(size + PATCHES_PHI * patches / patches.std(), _HARDEST_PHI, _SOFTEST_PHI))


def reflection_of(phi: Floats) -> Floats:
    """Reflection coefficient for a mean grain size [phi], between the rows of physics' table of sediments."""
    table = sorted(SEDIMENTS.values(), key=lambda sediment: sediment.mean_phi)
    return np.asarray(np.interp(phi, [s.mean_phi for s in table], [s.reflection for s in table]))
