"""Real readings: does a stronger echo mean a harder floor?"""

from __future__ import annotations

import csv
import os
from pathlib import Path

import pytest

FOLDER = os.environ.get("LAKEMAP_REAL_DATA", "")
SITES = Path(FOLDER or ".") / "hard_sites.csv"


@pytest.mark.skipif(not FOLDER or not SITES.exists(), reason="LAKEMAP_REAL_DATA does not hold hard_sites.csv")
def test_backscatter_ranks_hard_sites():
    "137 sea-bed sites: backscatter alone tells hard from soft with an ROC area of .888, depth alone with .805."
    metrics = pytest.importorskip("sklearn.metrics", reason="scikit-learn is not installed")
    with SITES.open(newline="") as file:
        sites = list(csv.DictReader(file))
    hard = [site["hardness"] == "hard" for site in sites]
    echo = metrics.roc_auc_score(hard, [float(site["backscatter_db"]) for site in sites])
    depth = metrics.roc_auc_score(hard, [-float(site["depth_m"]) for site in sites])
    print(f"ROC area over {len(sites)} sites, {sum(hard)} hard: backscatter {echo:.3f}, depth alone {depth:.3f}")
    assert (len(sites), sum(hard)) == (137, 38)
    assert echo == pytest.approx(0.888, abs=0.001)
    assert depth == pytest.approx(0.805, abs=0.001)
    assert echo > depth
