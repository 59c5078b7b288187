"""Slope, position index, contours and volumes against reference answers."""

from __future__ import annotations

import numpy as np
import pytest
from floors import frame, mesh, noise, surface
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from reference_tables import rows
from shapely.geometry import Point

from lakemap.errors import SettingError
from lakemap.model.frame import Grid
from lakemap.terrain import TerrainSettings, describe_terrain
from lakemap.terrain.contours import chosen_step_m, draw_contours
from lakemap.terrain.position import position_index, ring_footprint
from lakemap.terrain.slope import horn_gradient, horn_slope_deg
from lakemap.terrain.volume import areal_scale, depth_area_volume, frustum_volume

# the elevations that tests/reference/dem6x6_terrain.csv was computed from
DEM = np.array([
    [-1.0, -1.5, -2.1, -2.8, -3.6, -4.5], [-1.2, -1.9, -2.7, -3.6, -4.6, -5.6], [-1.5, -2.4, -3.5, -4.7, -5.9, -6.9],
    [-1.9, -3.0, -4.4, -3.2, -7.0, -8.0], [-2.2, -3.5, -5.1, -6.8, -8.0, -8.8], [-2.4, -3.8, -5.5, -7.2, -8.4, -9.2],
])
THREE_BY_THREE = np.ones((3, 3), bool)
THREE_BY_THREE[1, 1] = False


@pytest.mark.parametrize("sign", [1, -1], ids=["elevation", "depth"])
def test_slope_matches_the_reference_grid(sign):
    "All 16 inner cells agree with the reference to 1e-4 deg, as elevation and as depth; the edge is NaN."
    slope = horn_slope_deg(sign * DEM, 10.0)
    for row in rows("dem6x6_terrain.csv"):
        assert slope[int(row["row"]), int(row["col"])] == pytest.approx(row["slope_horn_deg"], abs=1e-4)
    assert np.isnan(slope).sum() == 20


def test_slope_of_a_printed_window():
    "The widely printed manual window (50 45 50 / 30 30 30 / 8 10 10, cell 5) has 75.25766 deg."
    slope = horn_slope_deg(np.array([[50, 45, 50], [30, 30, 30], [8, 10, 10]], float), 5.0)
    assert slope[1, 1] == pytest.approx(75.25766, abs=1e-5)  # gdaldem 3.6.2


@given(east=st.floats(-0.5, 0.5), south=st.floats(-0.5, 0.5))
def test_slope_of_a_plane_is_exact(east, south):
    "A plane's gradient comes back exactly, in the right direction."
    row, column = np.mgrid[:5, :6] * 10.0
    found_east, found_south = horn_gradient(east * column + south * row, 10.0)
    assert_allclose(found_east[2, 2], east, atol=1e-12)
    assert_allclose(found_south[2, 2], south, atol=1e-12)


def test_a_missing_neighbour_makes_the_slope_missing():
    "Like gdaldem: each cell with NaN among its eight neighbours or in itself is NaN."
    grid = np.zeros((7, 7))
    grid[3, 3] = np.nan
    assert np.isfinite(horn_slope_deg(grid, 1.0)).sum() == 25 - 9


def test_position_index_matches_the_reference_grid():
    "With the 3 x 3 neighbourhood the index of a depth grid is the reference's TPI (Weiss 2001)."
    index = position_index(-DEM, THREE_BY_THREE, least_share=1.0)
    for row in rows("dem6x6_terrain.csv"):
        assert index[int(row["row"]), int(row["col"])] == pytest.approx(row["tpi_3x3_m"], abs=1e-9)


def test_position_index_is_positive_where_higher_than_around():
    "The top of a 2 m mound on a 10 m floor stands 2 m above the ring around it; NaN pixels do not count."
    east, south = mesh(60)
    depth = 10.0 - 2.0 * (np.hypot(east - 60, south - 60) < 8)
    depth[0:10] = np.nan
    index = position_index(depth, ring_footprint(10.0, 20.0, 2.0))
    assert index[30, 30] == pytest.approx(2.0, abs=1e-9)
    assert np.isnan(index[:10]).all()


@given(shift=st.floats(-100, 100))
def test_position_index_does_not_know_the_lake_level(shift):
    "A change of datum changes nothing."
    depth = 5.0 + noise((20, 20), 0.5, 1, seed=3)
    ring = ring_footprint(3.0, 8.0, 2.0)
    assert_allclose(position_index(depth + shift, ring), position_index(depth, ring), atol=1e-9)


# Hutchinson 1957 / Wetzel: volumes of a cone and a paraboloid, R = 100 m, depth 12 m, cut in n equal layers
@pytest.mark.parametrize(("power", "layers", "expected"), [
    (2, 1, 125663.7061), (2, 6, 125663.7061), (2, 12, 125663.7061),
    (1, 1, 125663.7061), (1, 2, 170092.5355), (1, 3, 179611.1814), (1, 6, 185972.3941), (1, 12, 187789.1809),
])
def test_frustum_rule_on_solids(power, layers, expected):
    "The frustum rule is exact for a cone (areas fall as the square) and short of a paraboloid as computed."
    areas = np.pi * 100.0**2 * (1.0 - np.arange(layers + 1) / layers) ** power
    assert frustum_volume(areas, 12.0 / layers) == pytest.approx(expected, abs=1e-3)


def test_frustum_rule_on_printed_areas():
    "Areas of a printed exercise, 3 m steps: 69513.4048 m3; acres at 5 ft: 1021.427012 acre-feet."
    assert frustum_volume([13340, 8550, 5149, 2088, 1975], 3.0) == pytest.approx(69513.4048, abs=1e-3)
    assert frustum_volume([100, 80, 55, 25, 0], 5.0) == pytest.approx(1021.427012, abs=1e-5)


def test_table_of_a_cone():
    "Pixels of a cone give its areas and volumes to 0.5 %, grid areas turned to the ground's; volume at 0 is the sum."
    east, south = mesh(220, 1.0)
    depth = 12.0 * (1.0 - np.hypot(east - 110, south - 110) / 100.0)
    grid = Grid(frame(depth.shape, 1.0), np.where(depth > 0, depth, np.nan).astype(np.float32), "depth_m", "m")
    table = depth_area_volume(grid, 1.0)
    scale = areal_scale(grid.frame)
    assert scale == pytest.approx(0.9996**2, abs=1e-5)  # UTM's scale on its central meridian
    left = 1.0 - table.depth_m / 12.0
    assert_allclose(table.area_m2, np.pi * 100**2 * left**2 / scale, atol=160)
    assert_allclose(table.volume_m3, np.pi * 100**2 * 4.0 * left**3 / scale, atol=300)
    assert table.volume_m3[0] == pytest.approx(np.nansum(grid.values.astype(float)) / scale, rel=1e-9)
    assert table.depth_m[0] == 0 and table.area_m2[-1] == 0 and table.volume_m3[-1] == 0
    assert table.area_lake_m2 is None


def test_contours_lie_at_their_depth():
    "On a cone each contour is a circle of the right radius, shallow first, one a depth."
    east, south = mesh(120)
    contours = draw_contours(surface(np.hypot(east - 120, south - 120) / 10.0).estimate, 2.0, loop_m=15.0)
    rings = {depth: line for depth, line in zip(contours.depth_m, contours.lines, strict=True) if line.is_ring}
    assert list(contours.depth_m) == sorted(contours.depth_m)
    middle = Point(500_120, 4_999_880)
    for depth, ring in rings.items():
        assert_allclose([middle.distance(Point(corner)) for corner in ring.coords], 10 * depth, atol=0.3)
    assert set(rings) == {2.0, 4.0, 6.0, 8.0, 10.0}


def test_small_loops_are_left_out():
    "A bump of one pixel draws no contour of its own."
    depth = np.full((30, 30), 5.5)
    depth[15, 15] = 4.4
    assert len(draw_contours(surface(depth).estimate, 1.0, loop_m=15.0)) == 0
    assert len(draw_contours(surface(depth).estimate, 1.0, loop_m=0.0)) == 1


@pytest.mark.parametrize(("deepest", "sigma", "step"), [
    (12.0, 0.1, 1.0), (30.0, 0.1, 2.0), (3.0, 0.05, 0.2), (3, 0.5, 1.0),
])
def test_step_is_round_and_no_finer_than_the_error(deepest, sigma, step):
    "About a dozen lines, at a round step, never closer than two standard errors."
    assert chosen_step_m(np.linspace(0, deepest, 500), sigma) == step


def test_a_step_is_round_in_feet_for_who_reads_feet():
    "0 to 9 m is 30 ft: about twelve lines are 2 ft apart, not 0.5 m."
    assert chosen_step_m(np.linspace(0, 9.0, 500), 0.0, "ft") == pytest.approx(2 * 0.3048)


def test_step_asked_for_is_used():
    "A step of 5 ft in metres is kept to the digit; a step of 0 is refused with the reason."
    east, _ = mesh(40)
    assert describe_terrain(surface(east / 10), TerrainSettings(contour_m=1.524)).contours.step_m == 1.524
    with pytest.raises(SettingError, match=r"\[terrain\] contour_m = 0: must be above 0"):
        TerrainSettings(contour_m=0)


@pytest.mark.parametrize("depth", [np.full((20, 20), np.nan), np.full((1, 1), 3.0), np.full((30, 30), 3.0)])
def test_little_or_nothing_gives_little_or_nothing(depth):
    "A surface without a pixel, of one pixel, or dead flat makes empty layers and no error."
    terrain = describe_terrain(surface(depth), TerrainSettings())
    assert set(terrain.features.kind) <= {"flat"}
    assert len(terrain.contours) == 0
    assert any("shoreline" in text for text in terrain.messages)
