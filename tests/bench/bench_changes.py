"""Weed, a moved bar and a silted cove on an invented lake sounded in three seasons: the share of the planted squares
that is right, and of the still ones that is called changed. Run: python tests/bench/bench_changes.py [lakes]
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from changes.test_three_seasons import LEAST_CHANGE_M, SETTINGS, SIDE, recorded, scored
from sailed import CORNER_M
from three_seasons import COVE, within

from lakemap.changes import find_changes
from lakemap.changes.cells import depths_by_date
from lakemap.changes.dates import dates_of

FIRST_SEED = 400
"The settings were tried on seeds 1 to 8 and 31 to 50."


def main(lakes: int) -> None:
    print("lake   weed    bar   cove  still called weed  still called moved  seconds")
    rows = []
    for seed in range(FIRST_SEED, FIRST_SEED + lakes):
        lake, cleaned, bias = recorded(seed)
        start = time.perf_counter()
        _, squares = find_changes(cleaned, bias, SETTINGS)
        took = time.perf_counter() - start
        weedy, weed, weed_seen, moved, change, move_seen = scored(lake, cleaned, bias, squares)
        still = (weedy == 0) & (np.abs(moved) < 0.1)
        planted = move_seen & (np.abs(moved) >= LEAST_CHANGE_M) & (weedy == 0)
        cove, right = _in_cove(cleaned, bias), np.sign(change) == np.sign(moved)
        rows.append([(weed > 0)[weed_seen & (weedy > 0.5)].mean(), right[planted & ~cove].mean(),
                     right[planted & cove].mean(), (weed > 0)[weed_seen & still].mean(),
                     (change != 0)[move_seen & still].mean(), took])
        _line(f"{seed:4d} ", rows[-1])
    high, low = np.max(rows, axis=0), np.min(rows, axis=0)
    _line("mean ", np.mean(rows, axis=0))
    _line("worst", [*low[:3], *high[3:]])
    print(f"over 2 % of what is still called moved: {sum(row[4] > 0.02 for row in rows)} of {lakes} lakes")


def _line(name, row):
    a, b, c, d, e, took = row
    print(f"{name} {a:5.2f}  {b:5.2f}  {c:5.2f}  {d:16.4f}  {e:18.4f}  {took:.2f}", flush=True)


def _in_cove(cleaned, bias):
    "Squares nearer to the silted cove than to the bar's two places."
    dates = dates_of(cleaned, SETTINGS)
    x, y = (depths_by_date(cleaned.less_bias(bias), dates.of_row, len(dates), SIDE).middle - CORNER_M).T
    return within(x, y, COVE, (80.0, 80.0)) < 1


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
