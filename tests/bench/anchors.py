"""Other tools on the same blocks: SciPy, GMT, R's gstat, and the plain mean; each says why where it cannot run.

A tool takes blocks (n, 3) of x, y, depth and a frame, and gives estimate and sigma (or None) on its water pixels.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import numpy as np
from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator, RBFInterpolator
from scipy.spatial import cKDTree

from lakemap.model.frame import GridFrame

Told = tuple[np.ndarray, np.ndarray | None]
MOST_FOR_SPLINE = 1200
SPLINE_NEIGHBOURS, SPLINE_UNIT_M, SPLINE_SMOOTHING = 40, 100.0, 0.3
GSTAT_NEIGHBOURS = 32

GSTAT = """
library(sp); library(gstat)
folder <- commandArgs(TRUE)[1]
get <- function(name, k) matrix(readBin(file.path(folder, name), "double", 1e8), ncol = k, byrow = TRUE)
d <- get("data", 3); q <- get("ask", 2); f <- get("fit", 3)
d <- data.frame(x = d[, 1], y = d[, 2], z = d[, 3]); coordinates(d) <- ~x + y
f <- data.frame(x = f[, 1], y = f[, 2], z = f[, 3]); coordinates(f) <- ~x + y
q <- data.frame(x = q[, 1], y = q[, 2]); coordinates(q) <- ~x + y
begin <- proc.time()[["elapsed"]]
if (nrow(f) > 5000) f <- f[seq(1, nrow(f), length.out = 5000), ]
v <- variogram(z ~ 1, f)
m <- suppressWarnings(fit.variogram(v, vgm(c("Exp", "Sph", "Mat"))))
if (m$range[nrow(m)] <= 0 || any(m$psill < 0)) m <- vgm(var(f$z), "Exp", max(v$dist) / 3, 0.01)
k <- krige(z ~ 1, d, q, m, nmax = as.integer(commandArgs(TRUE)[2]), debug.level = 0)
cat(proc.time()[["elapsed"]] - begin, "\\n")
writeBin(c(k$var1.pred, k$var1.var), file.path(folder, "told"))
"""


def mean(blocks: np.ndarray, frame: GridFrame, plain: int) -> Told:
    "The mean of the soundings everywhere."
    return np.full(int(frame.water.sum()), blocks[:plain, 2].mean()), None


def linear(blocks: np.ndarray, frame: GridFrame, plain: int) -> Told:
    "Linear in Delaunay triangles (scipy griddata's way); the nearest one outside their hull."
    at, middle = frame.water_xy(), blocks[:, :2].mean(axis=0)
    near = NearestNDInterpolator(blocks[:, :2] - middle, blocks[:, 2])
    flat = np.linalg.matrix_rank(blocks[:, :2] - middle, tol=1.0) < 2 or len(blocks) < 4
    if flat:
        return near(at - middle), None
    value = LinearNDInterpolator(blocks[:, :2] - middle, blocks[:, 2])(at - middle)
    return np.where(np.isfinite(value), value, near(at - middle)), None


def spline(blocks: np.ndarray, frame: GridFrame, plain: int) -> Told:
    "A damped thin-plate spline: all of up to 1200 blocks at once, else the nearest 40 for each place."
    at, middle = frame.water_xy(), blocks[:, :2].mean(axis=0)
    neighbours = None
    if len(blocks) > MOST_FOR_SPLINE:
        if len(blocks) > 6000:
            neighbours = SPLINE_NEIGHBOURS
        else:
            blocks = blocks[np.linspace(0, len(blocks) - 1, MOST_FOR_SPLINE).astype(int)]
    xy = (blocks[:, :2] - middle) / SPLINE_UNIT_M
    told = RBFInterpolator(xy, blocks[:, 2], neighbors=neighbours, smoothing=SPLINE_SMOOTHING)
    asked = (at - middle) / SPLINE_UNIT_M
    return np.concatenate([told(part) for part in np.array_split(asked, max(len(asked) // 4000, 1))]), None


def gmt_surface(blocks: np.ndarray, frame: GridFrame, plain: int) -> Told:
    "GMT surface, tension 0.25, on block medians."
    west, south, east, north = frame.bounds
    region = f"-R{west:.3f}/{east:.3f}/{south:.3f}/{north:.3f}"
    step = f"-I{frame.pixel_m:g}"
    with tempfile.TemporaryDirectory() as folder:
        def gmt(*words: str, given: bytes | None = None) -> bytes:
            env = {**os.environ, "GMT_SESSION_NAME": "bench", "GMT_USERDIR": folder, "OMP_NUM_THREADS": "1"}
            done = subprocess.run(["gmt", *words], input=given, cwd=folder, env=env, check=True, capture_output=True)
            return done.stdout

        median = gmt("blockmedian", region, step, "-r", "-bi3d", "-bo3d", given=blocks.astype("<f8").tobytes())
        gmt("surface", region, step, "-r", "-bi3d", "-T0.25", "-Gmade.nc", "-Vq", given=median)
        flat = np.frombuffer(gmt("grd2xyz", "made.nc", "-ZTLf"), "<f4")
    return flat.reshape(frame.shape)[frame.water].astype(float), None


def gstat(blocks: np.ndarray, frame: GridFrame, plain: int) -> Told:
    "Ordinary kriging by R's gstat with 32 neighbours; its variogram is fitted to the soundings alone."
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        blocks[:].astype("<f8").tofile(place / "data")
        blocks[:plain].astype("<f8").tofile(place / "fit")
        frame.water_xy().astype("<f8").tofile(place / "ask")
        (place / "run.R").write_text(GSTAT)
        words = ["Rscript", "--vanilla", str(place / "run.R"), folder, str(min(GSTAT_NEIGHBOURS, len(blocks)))]
        subprocess.run(words, check=True, capture_output=True)
        told = np.fromfile(place / "told", "<f8").reshape(2, -1)
    return told[0], np.sqrt(np.maximum(told[1], 0.0))


TOOLS: dict[str, Callable[[np.ndarray, GridFrame, int], Told]] = {
    "mean": mean, "linear": linear, "spline": spline, "gmt": gmt_surface, "gstat": gstat,
}


@lru_cache(maxsize=1)
def missing() -> dict[str, str]:
    "Tools that cannot run here, and why."
    why = {}
    if shutil.which("gmt") is None:
        why["gmt"] = "gmt is not installed (Debian: gmt)"
    if shutil.which("Rscript") is None:
        why["gstat"] = "Rscript is not installed (Debian: r-cran-gstat)"
    elif subprocess.run(["Rscript", "-e", "library(gstat); library(sp)"], capture_output=True).returncode:
        why["gstat"] = "R has no gstat (Debian: r-cran-gstat)"
    return why


def with_zeros(blocks: np.ndarray, shore: np.ndarray) -> np.ndarray:
    "The blocks, and zero depth at points of the shore that no block lies on."
    far = cKDTree(blocks[:, :2]).query(shore)[0] > 0.5
    return np.concatenate([blocks, np.column_stack([shore[far], np.zeros(int(far.sum()))])])


def run(tool: str, blocks: np.ndarray, frame: GridFrame, shore: np.ndarray | None = None) -> Told:
    "One tool on blocks (n, 3), with zeros at the points ``shore`` where given."
    given = blocks if shore is None else with_zeros(blocks, shore)
    return TOOLS[tool](given, frame, len(blocks))


def run_once(tool: str, blocks: np.ndarray, frame: GridFrame, shore: np.ndarray | None = None) -> Told:
    "The same, remembered from run to run in the folder that BENCH_CACHE names: other tools do not change."
    folder = os.environ.get("BENCH_CACHE")
    if not folder:
        return run(tool, blocks, frame, shore)
    asked = hashlib.sha256(blocks.tobytes() + frame.water.tobytes() + (b"" if shore is None else shore.tobytes()))
    place = Path(folder) / f"{tool}-{asked.hexdigest()[:24]}.npy"
    if not place.exists():
        estimate, sigma = run(tool, blocks, frame, shore)
        kept = np.stack([estimate] if sigma is None else [estimate, sigma]).astype(np.float32)
        place.parent.mkdir(parents=True, exist_ok=True)
        np.save(place, kept)
    kept = np.load(place).astype(float)
    return kept[0], kept[1] if len(kept) > 1 else None
