"""Depth figures: to the shallow side, few over flats, many where the floor is irregular, none on another."""

from __future__ import annotations

import numpy as np
import pytest
from paper_lake import floor_lake, paper_lake
from shapely import STRtree

from lakemap.publish.chart.depth_figures import rounded_shoal
from lakemap.publish.chart.layers import prepare
from lakemap.publish.chart.sheets import lay_out


def layers_of(lake, unit="m", scale=None, step_m=1.0):
    "The first sheet prepared, and its view."
    sheet = lay_out(lake.depth, "a4", scale).sheets[0]
    return prepare(lake, sheet.view, unit, step_m, 60), sheet.view


@pytest.fixture(scope="module", params=["m", "ft"])
def sheet(request):
    "The lake on paper, its layers and view, in both units."
    lake = paper_lake()
    return lake, *layers_of(lake, request.param), request.param


def under(lake, view, place):
    "Depths of all pixels whose middle lies under a box of the sheet."
    x_m, y_m = lake.depth.frame.centres()
    x, y = view.to_mm(x_m, y_m)
    return lake.depth.values[np.ix_((y >= place.south) & (y <= place.north), (x >= place.west) & (x <= place.east))]


def test_no_figure_is_deeper_than_the_least_depth_under_it(sheet):
    "Printed <= least pixel under the figure and half its free space around; short of it by rounding and little more."
    lake, layers, view, unit = sheet
    assert len(layers.figures) > 25
    shown = {"m": 1.0, "ft": 0.3048}[unit]
    for figure in layers.figures:
        here = under(lake, view, figure.place.grown(0.3))
        said = float(f"{figure.whole}.{figure.tenth or 0}") * shown
        assert said == pytest.approx(figure.depth_m, abs=1e-6)
        assert np.isfinite(here).all() and said <= here.min() + 1e-5


def test_nothing_lies_on_anything(sheet):
    "Figures, labels of contours, names and words: no two boxes meet."
    _, layers, _, _ = sheet
    boxes = [place.polygon() for place in layers.text_places()]
    pairs = STRtree(boxes).query(boxes, predicate="intersects").T
    assert len(boxes) > 50
    assert not [(a, b) for a, b in pairs if a < b and boxes[a].intersection(boxes[b]).area > 1e-9]
    assert len(layers.gaps()) >= len(layers.contour_labels)


def test_the_top_of_a_shoal_has_its_figure(sheet):
    "The hump of the drawn lake, 3.9 m above what is around it, shows its least depth."
    lake, layers, view, unit = sheet
    depth = np.where(np.isfinite(lake.depth.values), lake.depth.values, np.inf)
    west, south, east, north = lake.depth.frame.bounds
    at = (west + east) / 2 + 0.22 * (east - west) / 2, (south + north) / 2 - 0.22 * (north - south) / 2
    near = [f for f in layers.figures if np.hypot(*(np.array(view.to_ground(f.x_mm, f.y_mm)) - at)) < 30]
    row, column, _ = lake.depth.frame.pixel_of(np.array([at[0]]), np.array([at[1]]))
    top = float(depth[row[0] - 6:row[0] + 7, column[0] - 6:column[0] + 7].min())
    assert [f for f in near if f.why == "shoal"]
    assert min(f.depth_m for f in near) == pytest.approx(top, abs=0.11 if unit == "m" else 0.31)


def test_irregular_floors_have_more_figures_than_flat_ones():
    "The same lake, flat in the west and full of humps in the east: at least twice as many in the east."
    lake = floor_lake(lambda x, y: 9.0 + np.where(x > 0, 2.5 * np.sin(x / 14) * np.sin(y / 14), 0.0))
    layers, view = layers_of(lake, step_m=20.0)
    middle = (view.at.west + view.at.east) / 2
    east = sum(figure.x_mm > middle + 5 for figure in layers.figures)
    west = sum(figure.x_mm < middle - 5 for figure in layers.figures)
    assert west > 10 and east > 2 * west


def test_an_even_slope_counts_as_flat():
    "A plane needs few figures, however steep: lines say the rest."
    flat, _ = layers_of(floor_lake(lambda x, y: 9.0 + 0.0 * x), step_m=50.0)
    steep, _ = layers_of(floor_lake(lambda x, y: 20.0 + 0.05 * x), step_m=50.0)
    assert len(steep.figures) < 1.4 * len(flat.figures)


@pytest.mark.parametrize(("depth_m", "unit", "said"), [
    (3.29, "m", ("3", "2")), (3.3, "m", ("3", "3")), (0.04, "m", ("0", "0")), (20.99, "m", ("20", "9")),
    (21.4, "m", ("21", "")), (21.6, "m", ("21", "5")), (31.9, "m", ("31", "")), (-0.3, "m", ("0", "0")),
    (3.0, "ft", ("9", "")), (3.048, "ft", ("10", "")),
])
def test_rounding_goes_to_the_shallow_side(depth_m, unit, said):
    "Decimetres, half metres from 21, metres from 31, whole feet: always down."
    whole, tenth, printed_m = rounded_shoal(depth_m, unit)
    assert (whole, tenth) == said and printed_m <= max(depth_m, 0.0) + 1e-5


def test_guesses_are_told_from_the_rest():
    "Where 95 % of the error is beyond what counts as fair, figures are slanted and the water is hatched."
    lake = paper_lake()
    layers, view = layers_of(lake)
    assert layers.guess and any(figure.guess for figure in layers.figures)
    for figure in layers.figures:
        x_m, y_m = view.to_ground(np.array([figure.x_mm]), np.array([figure.y_mm]))
        sigma = float(lake.sigma.at(x_m, y_m)[0])
        assert figure.guess == (1.96 * sigma > np.hypot(1.0, 0.023 * lake.depth.at(x_m, y_m)[0]))
