"""A million hits clustered and scored; other density clusterings on the same points.

Hits of invented things on a lake: a thing each 900 m2, sixteen hits of eight passes each on average, one hit in
twenty by chance, places known to 2.5 m. Truth is known, so agreement is told beside time and memory (adjusted Rand
index, hits by chance left out). Each runs in a process of its own, so that memory is its own.
Run: python tests/bench/bench_spots.py [hits] [ours,dbscan,fast,hdbscan,score]
scikit-learn's HDBSCAN grows with the square of the hits: it is run on no more than 30 000 and its time drawn out.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

SIGMA_M, PER_THING, THING_M2, BY_CHANCE, PASSES = 2.5, 16, 900.0, 0.05, 8
MOST_SQUARE = 30_000


def invented(count, seed=1):
    "Places (n, 2), number of the thing each hit shows (-1: chance), pass and time."
    rng = np.random.default_rng(seed)
    things = max(1, int(count * (1 - BY_CHANCE) / PER_THING))
    side = np.sqrt(things * THING_M2)
    middle = rng.uniform(0, side, (things, 2))
    thing = np.where(rng.random(count) < BY_CHANCE, -1, rng.integers(0, things, count))
    xy = np.where(thing[:, None] < 0, rng.uniform(0, side, (count, 2)), middle[thing])
    xy = xy + rng.normal(0, SIGMA_M, (count, 2)) * (thing[:, None] >= 0)
    return xy, thing, rng.integers(0, PASSES, count), rng.uniform(0, 1e6, count)


def ours(xy, sailed, when):
    "Labels by lakemap."
    from lakemap.spots.cluster import cluster
    from lakemap.spots.parts import Sailed
    from lakemap.spots.settings import SpotSettings

    return cluster(xy, np.full(len(xy), SIGMA_M), SpotSettings(), Sailed(sailed, when, np.full(len(xy), 1.8)))


def dbscan(xy, *_):
    "scikit-learn's DBSCAN with the reach that lakemap links at."
    from sklearn.cluster import DBSCAN

    return DBSCAN(eps=3.0 + 1.5 * SIGMA_M * 2**0.5, min_samples=1).fit_predict(xy)


def fast(xy, *_):
    "fast-hdbscan; its first run, on a few points, compiles and is not timed."
    import fast_hdbscan

    return fast_hdbscan.HDBSCAN(min_cluster_size=3).fit_predict(xy)


def hdbscan(xy, *_):
    "scikit-learn's HDBSCAN."
    from sklearn.cluster import HDBSCAN

    return HDBSCAN(min_cluster_size=3, copy=True).fit_predict(xy)


def score(xy, sailed, when):
    "Spots found and scored from the hits, as the whole stage does it over a level floor."
    from floors import hits as made
    from floors import surface

    import lakemap.model.hits as model
    from lakemap.model.log_facts import LogFacts
    from lakemap.model.soundings import Soundings
    from lakemap.spots import SpotSettings, find_spots, score_spots
    from lakemap.terrain import TerrainSettings, describe_terrain

    n, corner = len(xy), made([{"x": 0, "y": 0}])
    stamp = (when * 1000).astype("datetime64[ms]")
    some = model.Hits(
        np.full(n, "cover"), np.full(n, model.FROM_RISE, np.int8), xy[:, 0] + corner.x_m, corner.y_m - xy[:, 1],
        np.full(n, SIGMA_M), np.full(n, 5.0), np.full(n, 0.8), np.full(n, 0.8), np.full(n, 3, np.int32),
        sailed.astype(np.int32), when, stamp, np.full(n, ""))
    side = int(np.ceil(xy.max() / 20.0)) + 1
    floor = surface(np.full((side, side), 5.0), pixel_m=20.0)
    line = np.linspace(0, xy.max(), int(xy.max() / 2))
    lines = np.concatenate([np.column_stack([line, np.full(len(line), y)]) for y in np.arange(0, xy.max(), 40.0)])
    rows = Soundings.build(
        len(lines), [LogFacts("a.csv", beam_deg=20.0)], pass_id=np.arange(len(lines)) // len(line),
        x_m=lines[:, 0] + corner.x_m, y_m=corner.y_m - lines[:, 1], position_sigma_m=np.full(len(lines), SIGMA_M),
        depth_m=np.full(len(lines), 5.0), time_s=np.arange(len(lines)) * 1.0)
    terrain = describe_terrain(floor, TerrainSettings())
    started = time.perf_counter()
    spots = find_spots(some, terrain, rows, floor, None, SpotSettings())
    scored = score_spots(spots, terrain, None, SpotSettings())
    print(f"        {len(scored)} spots over {len(rows)} soundings, {time.perf_counter() - started:.1f} s "
          "with clustering", flush=True)
    return np.full(n, -1)


def one(name, count):
    "Time, memory and agreement of one of them, in this process."
    from sklearn.metrics import adjusted_rand_score

    xy, thing, sailed, when = invented(count)
    run = {"ours": ours, "dbscan": dbscan, "fast": fast, "hdbscan": hdbscan, "score": score}[name]
    if name == "fast":
        run(xy[:1000])
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    started, at_work = time.perf_counter(), time.process_time()
    label = run(xy, sailed, when)
    took, worked = time.perf_counter() - started, time.process_time() - at_work
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    real = thing >= 0
    agrees = adjusted_rand_score(thing[real], np.where(label < 0, -1 - np.arange(len(label)), label)[real])
    print(f"{name:8s} {count:9d} hits  {took:7.1f} s ({worked:.1f} s of processor)  {most:6.0f} MB "
          f"(of which {before:.0f} before)  {len(np.unique(label)):7d} groups for {thing.max() + 1}  Rand {agrees:.3f}",
          flush=True)
    if name == "hdbscan":
        print(f"         a million would take {worked * (1e6 / count) ** 2 / 60:.0f} min by its growth", flush=True)


def main(count, names):
    for name in names:
        part = min(count, MOST_SQUARE) if name == "hdbscan" else count
        subprocess.run([sys.executable, __file__, str(part), name, "alone"], check=True)


if __name__ == "__main__":
    told = sys.argv[1:]
    if told[2:] == ["alone"]:
        one(told[1], int(told[0]))
    else:
        main(int(told[0]) if told else 1_000_000,
             told[1].split(",") if len(told) > 1 else ["ours", "dbscan", "fast", "hdbscan", "score"])
