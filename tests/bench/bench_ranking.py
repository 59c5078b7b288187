"""How much of a map's list of spots stays when its input moves a little: a lake mapped again with 2 cm of noise on
every depth (twice), with 0.2 m on every position, and without one of its logs.

The demo lake; with a number, the demo's shape with roughness, bottom, cover and the boat's errors drawn anew; with
``small`` and a number, the small lake of the suite, whose shape is another, as sounded on all its days.
Run: python tests/bench/bench_ranking.py [small] [number]
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np
from scipy.stats import kendalltau, spearmanr

sys.path.insert(0, str(Path(__file__).parents[1]))

from demo_anew import write_demo
from growing_lake import DAYS, write_days

from lakemap import Lake, pipeline
from lakemap.model.spots import Spots

DEMO = Path(__file__).parents[2] / "demo_tracks"
SETTINGS = {"clean": {"draft_m": 0.35, "nominal_sound_speed_mps": 1500.0}}
SAME_M, M_PER_DEG = 25.0, 111_300.0
LEFT_OUT = ("harrow_fishing.nmea", "day05.csv")
VARIANTS = {"depths, 2 cm": (1, 0.02, 0.0), "again": (2, 0.02, 0.0), "positions, 0.2 m": (3, 0.0, 0.2)}


def mapped(files: list[Path], seed: int = 0, depth_m: float = 0.0, place_m: float = 0.0) -> Spots:
    "Spots of a lake's files, their readings moved by so much."
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


def lake_files(words: list[str], folder: Path) -> list[Path]:
    "The files of the lake that the words mean, written into the folder where it is not the demo lake itself."
    if not words:
        return sorted(DEMO.iterdir())
    if words[0] == "small":
        write_days(folder, DAYS, int(words[1]))
    else:
        write_demo(int(words[0]), folder)
    return sorted(folder.iterdir())


def main(words: list[str]) -> None:
    "Prints a line for each variant."
    with tempfile.TemporaryDirectory() as folder:
        files = lake_files(words, Path(folder))
        was = mapped(files)
        print(f"{len(was)} spots: {dict(Counter(was.kind))}")
        variants = {name: mapped(files, *how) for name, how in VARIANTS.items()}
        variants["without one log"] = mapped([path for path in files if path.name not in LEFT_OUT])
    for name, now in variants.items():
        rank = again(was, now)
        lost = Counter(was.kind) - Counter(was.kind[k] for k in rank[:, 0])
        ten, twenty = (int(np.sum((rank < n).all(axis=1))) for n in (10, 20))
        print(f"{name}: {len(rank)} of {len(was)} again among {len(now)}, Spearman {spearmanr(*rank.T)[0]:.3f}, "
              f"Kendall {kendalltau(*rank.T)[0]:.3f}; of the first 10 still {ten}, of 20 {twenty}; lost {dict(lost)}")


if __name__ == "__main__":
    main(sys.argv[1:])
