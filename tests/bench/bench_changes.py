"""Weed, a moved bar and a silted cove on an invented lake sounded in three seasons: the share of the planted squares
that is right, and of the still ones that is called changed. Run: python tests/bench/bench_changes.py [lakes]
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from changes.test_three_seasons import LEAST_CHANGE_M, SETTINGS, recorded, scored

from lakemap.changes import find_changes

FIRST_SEED = 400
"The settings were tried on seeds 1 to 8 and 31 to 50."


def main(lakes: int) -> None:
    print("lake   weed  moved  still called weed  still called moved  seconds")
    rows = []
    for seed in range(FIRST_SEED, FIRST_SEED + lakes):
        lake, cleaned, bias = recorded(seed)
        start = time.perf_counter()
        _, squares = find_changes(cleaned, bias, SETTINGS)
        took = time.perf_counter() - start
        weedy, weed, weed_seen, moved, change, move_seen = scored(lake, cleaned, bias, squares)
        still = (weedy == 0) & (np.abs(moved) < 0.1)
        planted = move_seen & (np.abs(moved) >= LEAST_CHANGE_M) & (weedy == 0)
        rows.append([(weed > 0)[weed_seen & (weedy > 0.5)].mean(), (np.sign(change) == np.sign(moved))[planted].mean(),
                     (weed > 0)[weed_seen & still].mean(), (change != 0)[move_seen & still].mean(), took])
        a, b, c, d, _ = rows[-1]
        print(f"{seed:4d}  {a:5.2f}  {b:5.2f}  {c:17.4f}  {d:18.4f}  {took:.2f}")
    mean, low, high = np.mean(rows, axis=0), np.min(rows, axis=0), np.max(rows, axis=0)
    print(f"mean  {mean[0]:5.2f}  {mean[1]:5.2f}  {mean[2]:17.4f}  {mean[3]:18.4f}  {mean[4]:.2f}")
    print(f"worst {low[0]:5.2f}  {low[1]:5.2f}  {high[2]:17.4f}  {high[3]:18.4f}  {high[4]:.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
