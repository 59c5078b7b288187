"""How much of a map's list of spots stays when its input moves a little: the demo lake mapped again with 2 cm of noise
on every depth (twice), with 0.2 m on every position, and without one of its logs.
Run: python tests/bench/bench_ranking.py
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import numpy as np
from scipy.stats import kendalltau, spearmanr

from lakemap import Lake, pipeline
from lakemap.model.spots import Spots

DEMO = Path(__file__).parents[2] / "demo_tracks"
SETTINGS = {"clean": {"draft_m": 0.35, "nominal_sound_speed_mps": 1500.0}}
SAME_M, M_PER_DEG, LEFT_OUT = 25.0, 111_300.0, "harrow_fishing.nmea"
VARIANTS = {"depths, 2 cm": (1, 0.02, 0.0), "again": (2, 0.02, 0.0), "positions, 0.2 m": (3, 0.0, 0.2)}


def mapped(without: str = "", seed: int = 0, depth_m: float = 0.0, place_m: float = 0.0) -> Spots:
    "Spots of the demo lake, its readings moved by so much."
    plain = pipeline.read_logs

    def moved(*what, **how):
        read = plain(*what, **how)
        rng, n = np.random.default_rng(seed), len(read)
        east = M_PER_DEG * np.cos(np.radians(read.lat_deg))
        shown = read.logged_depth_m + depth_m * rng.standard_normal(n)
        lat, lon = (at + place_m * rng.standard_normal(n) / per_deg for at, per_deg in (
            (read.lat_deg, M_PER_DEG), (read.lon_deg, east)))
        return read.with_columns(logged_depth_m=shown.astype(read.logged_depth_m.dtype), lat_deg=lat, lon_deg=lon)

    pipeline.read_logs = moved
    files = [path for path in sorted(DEMO.iterdir()) if path.name != without]
    try:
        return pipeline.map_lake(Lake.from_files(files, SETTINGS)).spots
    finally:
        pipeline.read_logs = plain


def again(was: Spots, now: Spots) -> np.ndarray:
    "Ranks (k, 2) in both lists of the spots of one kind within SAME_M of each other, the nearest first."
    away = np.hypot(np.subtract.outer(was.x_m, now.x_m), np.subtract.outer(was.y_m, now.y_m))
    away[np.not_equal.outer(np.array(was.kind), np.array(now.kind))] = np.inf
    pairs = []
    while np.min(away, initial=np.inf) <= SAME_M:
        one, other = np.unravel_index(int(np.argmin(away)), away.shape)
        pairs.append((one, other))
        away[one], away[:, other] = np.inf, np.inf
    return np.array(pairs)


def main() -> None:
    "Prints a line for each variant."
    was = mapped()
    print(f"{len(was)} spots: {dict(Counter(was.kind))}")
    variants = {name: mapped("", *how) for name, how in VARIANTS.items()}
    variants[f"without {LEFT_OUT}"] = mapped(LEFT_OUT)
    for name, now in variants.items():
        rank = again(was, now)
        lost = Counter(was.kind) - Counter(was.kind[k] for k in rank[:, 0])
        ten, twenty = (int(np.sum((rank < n).all(axis=1))) for n in (10, 20))
        print(f"{name}: {len(rank)} of {len(was)} again among {len(now)}, Spearman {spearmanr(*rank.T)[0]:.3f}, "
              f"Kendall {kendalltau(*rank.T)[0]:.3f}; of the first 10 still {ten}, of 20 {twenty}; lost {dict(lost)}")


if __name__ == "__main__":
    sys.exit(main())
