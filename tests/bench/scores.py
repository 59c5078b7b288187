"""What a surface is worth against the truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from lakes import BenchLake
from scipy.special import erf

from lakemap.model.frame import GridFrame

STRIP_M, NEAR_PENINSULA_M, GENTLE_DEG = 15.0, 60.0, 20.0
QUANTILES = {0.5: 0.67449, 0.8: 1.28155, 0.95: 1.95996}


@dataclass(frozen=True)
class Told:
    """Estimate and sigma (k,) on the water pixels; sigma None where a tool has none, ``bias_m`` too."""

    estimate: np.ndarray
    sigma: np.ndarray | None = None
    seconds: float = np.nan
    bias_m: np.ndarray | None = None
    method: str = ""


@dataclass(frozen=True)
class Judge:
    """Truth on a lake's pixels and the parts of the lake that are looked at apart; masks (k,) over water pixels."""

    lake: BenchLake
    frame: GridFrame
    truth: np.ndarray
    strip: np.ndarray
    beside: np.ndarray

    @classmethod
    def of(cls, lake: BenchLake, pixel_m: float = 5.0) -> Judge:
        """Truth, the strip along the shore, and what lies near the peninsula."""
        frame = lake.frame(pixel_m)
        xy = frame.water_xy()
        beside = np.zeros(len(xy), dtype=bool)
        if not lake.peninsula.is_empty:
            near = lake.peninsula.buffer(NEAR_PENINSULA_M)
            shapely.prepare(near)
            beside = shapely.contains_xy(near, xy[:, 0], xy[:, 1])
        return cls(lake, frame, lake.pixel_means(frame), lake.to_shore_m(xy) < STRIP_M, beside)

    def figures(self, told: Told, common: np.ndarray, unseen: np.ndarray | None = None) -> dict[str, float]:
        """Scores on ``common``, the cells that all tools draw; coverage and CRPS where there is a sigma."""
        error = told.estimate - self.truth
        drawn = np.isfinite(error)
        out = {"rmse": rms(error[common]), "drawn": float(drawn.mean()), "s": told.seconds}
        if unseen is not None:
            out["unseen"] = rms(error[common & unseen])
        if self.beside.any():
            out["peninsula p99"] = float(np.quantile(np.abs(error[common & self.beside]), 0.99))
        if told.sigma is not None:
            for share, z in QUANTILES.items():
                out[f"in {share:.0%}"] = float(np.mean(np.abs(error[common]) <= z * told.sigma[common]))
            strip = common & self.strip
            out["strip 95%"] = float(np.mean(np.abs(error[strip]) <= 1.95996 * told.sigma[strip]))
            out["crps"] = float(np.mean(crps(error[common], told.sigma[common])))
        return out

    def largest_jump(self, told: Told) -> float:
        """Largest difference of the error between neighbouring cells in both of which the true slope is gentle."""
        error = np.full(self.frame.shape, np.nan)
        gentle = self.lake.steepest_deg(self.frame) < GENTLE_DEG
        error[self.frame.water] = np.where(gentle, told.estimate - self.truth, np.nan)
        return float(max(np.nanmax(np.abs(np.diff(error, axis=axis))) for axis in (0, 1)))


def crps(error: np.ndarray, sigma: np.ndarray) -> np.ndarray:
    """Continuous ranked probability score of a normal law (Gneiting & Raftery 2007, eq. 21)."""
    sigma = np.maximum(sigma, 1e-6)
    z = error / sigma
    density = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    return np.asarray(sigma * (z * erf(z / np.sqrt(2)) + 2 * density - 1 / np.sqrt(np.pi)))


def bias_left(solved: np.ndarray, given: np.ndarray) -> float:
    """RMS of what is left of the passes' biases over RMS of what was put in, the common mean of each taken out."""
    return rms((solved - given) - np.mean(solved - given)) / rms(given - np.mean(given))


def rms(values: np.ndarray) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(np.asarray(values, dtype=float) ** 2))) if len(values) else np.nan


def geometric_mean(values: list[float]) -> float:
    """Geometric mean."""
    return float(np.exp(np.mean(np.log(values))))
