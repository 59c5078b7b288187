"""Grain size of a bottom on the standard scale, and the hardness that goes with it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lakemap.physics.reflection import SEDIMENTS, bottom_loss_db, hardness_index

Floats = NDArray[np.float64]

GRAIN_CLASSES_PHI: dict[str, tuple[float, float]] = {
    "boulder": (-12.0, -8.0), "cobble": (-8.0, -6.0), "pebble": (-6.0, -2.0), "granule": (-2.0, -1.0),
    "very coarse sand": (-1.0, 0.0), "coarse sand": (0.0, 1.0), "medium sand": (1.0, 2.0), "fine sand": (2.0, 3.0),
    "very fine sand": (3.0, 4.0), "coarse silt": (4.0, 5.0), "medium silt": (5.0, 6.0), "fine silt": (6.0, 7.0),
    "very fine silt": (7.0, 8.0), "clay": (8.0, 12.0),
}
"""Limits [phi] of the classes of Udden and Wentworth (Wentworth 1922, J. Geol. 30:377); the outer ends are ours."""

_SPREAD = np.linspace(-2.0, 2.0, 9)
"""Steps in standard errors over which a doubtful grain size is averaged."""


def phi_from_mm(diameter_mm: ArrayLike) -> Floats:
    """Grain size [phi], -log2 of the diameter in millimetres (Krumbein 1934)."""
    return np.asarray(-np.log2(np.asarray(diameter_mm, dtype=np.float64)), dtype=np.float64)


def mm_from_phi(phi: ArrayLike) -> Floats:
    """Grain diameter [mm]."""
    return np.asarray(2.0 ** -np.asarray(phi, dtype=np.float64), dtype=np.float64)


def hardness_of_grain(phi: ArrayLike) -> Floats:
    """Hardness 0..1 of a mean grain size [phi]: bottom loss between the rows of SEDIMENTS, held at its ends."""
    table = sorted(SEDIMENTS.values(), key=lambda one: one.mean_phi)
    loss = np.interp(
        np.asarray(phi, dtype=np.float64), [one.mean_phi for one in table],
        [float(bottom_loss_db(one.reflection)) for one in table],
    )
    return hardness_index(loss)


def hardness_of_doubtful_grain(phi: ArrayLike, sigma_phi: ArrayLike) -> tuple[Floats, Floats]:
    """Mean hardness and its standard deviation (n,) where the grain size [phi] is known within ``sigma_phi`` (n,)."""
    at = np.asarray(phi, dtype=np.float64)[..., None] + np.asarray(sigma_phi, np.float64)[..., None] * _SPREAD
    weight = np.exp(-0.5 * _SPREAD**2) / np.exp(-0.5 * _SPREAD**2).sum()
    values = hardness_of_grain(at)
    mean = values @ weight
    return np.asarray(mean), np.asarray(np.sqrt(((values - mean[..., None]) ** 2) @ weight))
