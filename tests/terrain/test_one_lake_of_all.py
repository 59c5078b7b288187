"One invented lake that has every kind of feature: all are found with their measures, and nothing where nothing is."

from __future__ import annotations

import numpy as np
import pytest
from floors import NORTH, WEST, bump, mesh, noise, surface

from lakemap.model.terrain import FEATURE_KINDS
from lakemap.terrain import TerrainSettings
from lakemap.terrain.features import find_features

EAST, SOUTH = mesh(500)
DROP_M, RUN_M = 3.5, 15.0


def all_kinds():
    """Depths, and where land is: from the north a bank with a point, humps and a hole, a drop-off, a river bed that
    bends, a slope with a ledge, a level field."""
    tongue = 0.75 * np.exp(-(((EAST - 150) / 18) ** 2)) / (1 + np.exp((SOUTH - 150) / 8))
    depth = np.interp(SOUTH, [30, 110, 300, 300 + RUN_M, 560, 650, 666, 760, 1000],
                      [0, 4.0, 5.0, 5.0 + DROP_M, 9.2, 17.7, 17.9, 26.8, 26.9])
    depth = depth * (1 - tongue)
    depth = depth - bump(EAST, SOUTH, (450, 215), 10, 2.5) + bump(EAST, SOUTH, (650, 215), 15, 2.0)
    bar = 1.5 * np.exp(-(((SOUTH - 215) / 22) ** 2)) * np.exp(-(((EAST - 880) / 60) ** 4))
    depth = depth - bar - bump(EAST, SOUTH, (840, 215), 16, 1.6) - bump(EAST, SOUTH, (920, 215), 16, 1.6)
    middle = 430.0 + 60.0 * np.exp(-(((EAST - 500.0) / 45.0) ** 2))
    away = (SOUTH - middle) / np.sqrt(1 + np.gradient(middle, EAST[0], axis=1) ** 2)
    depth = depth + 1.6 * np.exp(-((away / 11.0) ** 2))
    land = depth < 0.01
    return np.where(land, np.nan, depth), land


@pytest.fixture(scope="module", params=[None, 1, 2, 3, 4])
def found(request):
    depth, land = all_kinds()
    seen = depth if request.param is None else depth + noise(depth.shape, 0.1, 4, request.param)
    features = find_features(surface(seen, sigma=0.1, land=land), TerrainSettings())
    return {kind: [
        (features.x_m[i] - WEST, NORTH - features.y_m[i], features.relief_m[i], features.slope_deg[i])
        for i in range(len(features)) if features.kind[i] == kind
    ] for kind in FEATURE_KINDS}


def test_one_of_each_where_it_was_planted(found):
    "Place within some metres, relief within 0.4 m of what was planted less what smoothing takes."
    for kind, east, south, reach, relief in (
        ("point", 150, 155, 15, 1.6), ("hole", 650, 215, 8, 1.8), ("outside bend", 500, 503, 20, 1.45),
    ):
        ((x, y, told, _),) = found[kind]
        assert np.hypot(x - east, y - south) < reach and told == pytest.approx(relief, abs=0.4), (kind, x, y, told)
    between = [told for x, y, told, _ in found["saddle"] if np.hypot(x - 880, y - 215) < 12]
    assert between == [pytest.approx(1.0, abs=0.4)]


def test_humps_are_three(found):
    humps = sorted(found["hump"])
    assert [round(x, -1) for x, *_ in humps] == [450, 840, 920]
    assert humps[0][2] == pytest.approx(2.3, abs=0.4) and all(abs(y - 215) < 8 for _, y, *_ in humps)


def test_the_drop_off_has_its_height_and_steepness(found):
    "All of its length in one row of sections, 3.5 m within a sixth, its steepness of 13 degrees within 3."
    drops = [one for one in found["drop-off"] if 290 < one[1] < 325]
    assert 8 <= len(drops) <= 14 and all(300 <= y <= 315 for _, y, *_ in drops)
    assert np.ptp([x for x, *_ in drops]) > 850
    assert np.median([relief for *_, relief, _ in drops]) == pytest.approx(DROP_M, rel=1 / 6)
    steep = np.degrees(np.arctan(DROP_M / RUN_M))
    assert np.median([slope for *_, slope in drops]) == pytest.approx(steep, abs=3.0)


def test_a_broad_slope_has_no_drop_off(found):
    "90 m of 5.4 degrees on either side of the ledge: steeper pixels by chance make no narrow band of it."
    assert not [one for one in found["drop-off"] if 560 < one[1] < 760]


def test_ledge_flat_and_channel_lie_where_they_lie(found):
    assert found["ledge"] and all(648 <= y <= 668 and relief > 0.6 for _, y, relief, _ in found["ledge"])
    assert any(780 < y < 980 for _, y, *_ in found["flat"]) and not any(570 < y < 740 for _, y, *_ in found["flat"])
    ((_, y, relief, _),) = found["channel"]
    assert abs(y - 430) < 65 and relief == pytest.approx(1.5, abs=0.4)
