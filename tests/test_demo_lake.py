"""The whole job on the demo lake, judged by the truth that the pipeline never saw."""

from __future__ import annotations

import hashlib
import json

import numpy as np
import pytest
from demo.scores import cover_hit, cover_recall, depth_score, hard_balanced_accuracy, spots_real
from scipy.interpolate import LinearNDInterpolator

from lakemap.demo import demo_lake, demo_recordings
from lakemap.grid.blocks import block_means
from lakemap.model.outputs import ALL, CHANGED, SUMMARY, WEED_HEIGHT


@pytest.fixture(scope="module")
def truth():
    "The lake as it is."
    return demo_lake()


def test_all_outputs_are_there_and_the_record_lists_them(demo):
    "Every file of the contract that has something in it; sizes and hashes in summary.json are those of the files."
    made = set(ALL) - {CHANGED, WEED_HEIGHT}
    assert {path.name for path in demo.folder.iterdir()} == made
    record = json.loads((demo.folder / SUMMARY).read_text())
    assert set(record["files"]) == made - {SUMMARY}
    for name, facts in record["files"].items():
        content = (demo.folder / name).read_bytes()
        assert facts == {"bytes": len(content), "sha256": hashlib.sha256(content).hexdigest()}


def test_every_row_is_used_or_flagged(demo):
    "Rows in = rows used + rows flagged, in all and by file."
    for part in [demo.summary["rows"] | {"flagged": demo.summary["rows"]["by_flag"]},
                 *({"in": log["rows_in"], "used": log["rows_used"], "flagged": log["flagged"]}
                   for log in demo.summary["logs"])]:
        assert part["in"] == part["used"] + sum(part["flagged"].values())


def test_depth_beats_linear_triangulation_of_the_same_blocks(demo, truth):
    "At least 5 % less RMSE than linear triangulation of the same block means, on the pixels that both draw."
    surface, frame = demo.lake_map.depth, demo.lake_map.depth.frame
    blocks = block_means(demo.lake_map.soundings.observed("depth_m"), frame.pixel_m)
    linear = np.full(frame.shape, np.nan)
    linear[frame.water] = LinearNDInterpolator(blocks.xy, blocks.value)(frame.water_xy())
    both = np.where(np.isfinite(linear), surface.estimate.values, np.nan)
    ours = depth_score(truth, both, surface.sigma.values, frame)
    theirs = depth_score(truth, np.where(np.isfinite(both), linear, np.nan), surface.sigma.values, frame)
    print(f"depth RMSE {ours.rmse_m:.3f} m, linear {theirs.rmse_m:.3f} m")
    assert ours.pixels == theirs.pixels
    assert ours.rmse_m <= 0.95 * theirs.rmse_m


def test_the_stated_error_is_true(demo, truth):
    "Truth within 1.96 sigma in 90-99 % of the lake's pixels, nearly all of them drawn."
    surface = demo.lake_map.depth
    score = depth_score(truth, surface.estimate.values, surface.sigma.values, surface.frame)
    print(score)
    assert 0.90 <= score.within_1_96 <= 0.99
    assert score.share_drawn > 0.95


def test_hard_and_other_bottom_are_told_apart(demo, truth):
    "Balanced accuracy of 85 % within 30 m of a reading of hardness."
    rows = demo.lake_map.soundings
    read = np.isfinite(rows.hardness) & rows.usable()
    xy = np.column_stack([rows.x_m[read], rows.y_m[read]])
    hardness = demo.lake_map.hardness.estimate
    accuracy = hard_balanced_accuracy(truth, hardness.values, hardness.frame, xy)
    print(f"hard/not hard {accuracy:.3f}")
    assert accuracy >= 0.85


def test_planted_cover_is_found(demo, truth):
    "85 % of the cover that two pings or two passes hit, and that no mark means."
    hit = cover_hit(truth, demo_recordings(1), 1)
    share, _ = cover_recall(truth, demo.lake_map.spots, hit)
    print(f"cover found {share:.2f} of {len(hit)}")
    assert share >= 0.85


def test_most_spots_are_real(demo, truth):
    "75 % of the spots lie at planted cover or at a shape of the floor that is there."
    real, judged = spots_real(truth, demo.lake_map.spots)
    print(f"real {real[judged].mean():.2f} of {judged.sum()}")
    assert real[judged].mean() >= 0.75
