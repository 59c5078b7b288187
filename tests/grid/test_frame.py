"""The frame: pixel from what was surveyed, edges on whole multiples, water by pixel centre."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import CRS
from rough_lake import rough_lake, survey

from lakemap.errors import InputError, NothingUsable, SettingError
from lakemap.geo.crs import unproject
from lakemap.grid import GridSettings, frame_for
from lakemap.model.flags import Flag
from lakemap.model.shoreline import Shoreline
from lakemap.model.soundings import Soundings

UTM = CRS.from_epsg(32632)


def soundings_at(xy):
    "Usable soundings at places on the working CRS."
    xy = np.asarray(xy, float)
    made = Soundings.build(len(xy), x_m=xy[:, 0], y_m=xy[:, 1], depth_m=np.full(len(xy), 5.0))
    return type(made)(**{**vars(made), "crs": UTM})


def shore_of(polygon):
    "A polygon on the working CRS as a shoreline file gives it."
    def turned(xy):
        return np.column_stack(unproject(UTM, xy[:, 0], xy[:, 1]))

    return Shoreline(shapely.transform(polygon, turned), "pond.geojson")


@pytest.fixture(scope="module")
def lake_soundings():
    "Passes 30 m apart on a lake of 1.2 km."
    return soundings_at(survey(rough_lake(1), 1).xy)


def test_pixel_for_a_common_lake(lake_soundings):
    "Passes 30 m apart on a lake of about a kilometre get 5 m pixels."
    assert frame_for(lake_soundings, None, GridSettings()).pixel_m == 5.0


def test_frame_depends_on_no_order(lake_soundings):
    "Soundings in another order give the same frame, and its edges are whole multiples of the pixel."
    frame = frame_for(lake_soundings, None, GridSettings())
    shuffled = lake_soundings.take(np.random.default_rng(1).permutation(len(lake_soundings)))
    assert frame_for(shuffled, None, GridSettings()) == frame
    assert all(edge % frame.pixel_m == 0 for edge in frame.bounds)
    assert not frame.shore_known


def test_without_a_shoreline_the_tracks_make_the_outline(lake_soundings):
    "Everything between passes is drawn, nothing beyond three pixels outside; the corners of the box are not water."
    frame = frame_for(lake_soundings, None, GridSettings())
    row, column, _ = frame.pixel_of(lake_soundings.x_m, lake_soundings.y_m)
    assert frame.water[row, column].all() and not frame.water[0, 0] and not frame.water[-1, -1]
    inside = rough_lake(1).inside(*np.meshgrid(*frame.centres()))
    assert frame.water[inside].mean() > 0.95
    assert frame.water[~inside].mean() < 0.15


def test_land_between_two_arms_is_not_drawn_over():
    "Two surveyed arms 300 m apart with nothing between them stay two; passes 30 m apart are joined."
    arm = np.array([[x, y] for x in np.arange(0, 121, 30) for y in np.arange(0, 900, 3)], float)
    both = np.concatenate([arm, arm + [420, 0], [[x, 0.0] for x in range(120, 420, 3)]]) + [400_000, 5_000_000]
    frame = frame_for(soundings_at(both), None, GridSettings(pixel_m=2.0))
    at = np.array([[400_075.0, 5_000_400.0], [400_475.0, 5_000_400.0], [400_270.0, 5_000_400.0]])
    row, column, _ = frame.pixel_of(at[:, 0], at[:, 1])
    assert frame.water[row, column].tolist() == [True, True, False]


def test_island_is_land(lake_soundings):
    "With a shoreline the frame is its box, and pixels whose centre lies on an island are land."
    outline = shapely.box(400_000, 5_000_000, 401_200, 5_000_700)
    island = shapely.box(400_500, 5_000_300, 400_600, 5_000_400)
    frame = frame_for(lake_soundings, shore_of(outline.difference(island)), GridSettings(pixel_m=10.0))
    west, south, east, north = frame.bounds
    assert (west, south) == pytest.approx((400_000, 5_000_000), abs=10)
    assert (east, north) == pytest.approx((401_200, 5_000_700), abs=10)
    row, column, _ = frame.pixel_of(np.array([400_555.0, 400_305.0]), np.array([5_000_355.0, 5_000_355.0]))
    assert frame.water[row, column].tolist() == [False, True]
    assert np.count_nonzero(~frame.water) == pytest.approx(100, abs=280)


def test_shore_far_larger_than_the_survey_is_cut():
    "One corner surveyed on a lake of 40 km does not make a frame of 40 km."
    corner = soundings_at(np.random.default_rng(1).uniform(0, 300, (500, 2)) + [400_000, 5_000_000])
    frame = frame_for(corner, shore_of(shapely.box(399_900, 4_999_900, 440_000, 5_040_000)), GridSettings())
    assert frame.bounds[2] - frame.bounds[0] < 1000


def test_shore_elsewhere_is_refused(lake_soundings):
    "A shoreline of another lake is refused in one line that says how far it is off."
    with pytest.raises(InputError, match=r"^shoreline pond.geojson: the nearest sounding lies 1\d{4} m off"):
        frame_for(lake_soundings, shore_of(shapely.box(415_000, 5_000_000, 416_000, 5_001_000)), GridSettings())


def test_too_fine_a_pixel_names_one_that_does(lake_soundings):
    "A pixel that would need too much memory is refused, and the pixel that the message names is taken."
    with pytest.raises(SettingError, match="use a pixel of") as told:
        frame_for(lake_soundings, None, GridSettings(pixel_m=0.1))
    named = float(str(told.value).split("use a pixel of ")[1].split()[0])
    assert frame_for(lake_soundings, None, GridSettings(pixel_m=named)).pixel_m == named


def test_nothing_usable():
    "Soundings that are all flagged give one line."
    none = soundings_at(np.ones((4, 2))).with_flag(Flag.spike, np.ones(4, bool))
    with pytest.raises(NothingUsable, match="none of 4 soundings"):
        frame_for(none, None, GridSettings())


@pytest.mark.parametrize("xy", [
    [[400_000.0, 5_000_000.0]],
    [[400_000.0 + k, 5_000_000.0] for k in range(0, 600, 3)],
], ids=["one point", "one pass"])
def test_small_surveys_have_a_frame(xy):
    "One point and one single pass make a frame that holds them."
    soundings = soundings_at(xy)
    frame = frame_for(soundings, None, GridSettings())
    assert frame.pixel_of(soundings.x_m, soundings.y_m)[2].all()
    assert frame.water.size < 100_000


def test_strays_do_not_stretch_the_frame(lake_soundings):
    "A few fixes kilometres away leave the frame as it is."
    xy = np.column_stack([lake_soundings.x_m, lake_soundings.y_m])
    strayed = soundings_at(np.concatenate([xy, [[410_000.0, 5_000_000.0]] * 5]))
    assert frame_for(strayed, None, GridSettings()) == frame_for(lake_soundings, None, GridSettings())


def test_chosen_pixel_grows_with_the_survey():
    "Ship tracks over hundreds of kilometres get pixels of hundreds of metres, not a frame beyond memory."
    rng = np.random.default_rng(2)
    tracks = np.concatenate([
        np.column_stack([np.linspace(0, 4e5, 4000), np.full(4000, y)]) for y in rng.uniform(0, 4e5, 12)
    ])
    frame = frame_for(soundings_at(tracks + [300_000, 4_000_000]), None, GridSettings())
    assert frame.water.size <= 1_000_000
    assert frame.pixel_m >= 500


def test_more_memory_than_there_is_is_refused(lake_soundings, monkeypatch):
    "However many cells are allowed, a map that does not fit is refused with a pixel that fits."
    monkeypatch.setattr("lakemap.grid.frame._memory_bytes", lambda: 1e9)
    settings = GridSettings(pixel_m=0.5, max_cells=10**9)
    with pytest.raises(SettingError, match=r"where this machine has 1\.0; use a pixel of") as told:
        frame_for(lake_soundings, None, settings)
    named = float(str(told.value).split("use a pixel of ")[1].split()[0])
    assert frame_for(lake_soundings, None, GridSettings(pixel_m=named, max_cells=10**9)).pixel_m == named


def test_what_every_map_takes_counts_against_memory(lake_soundings, monkeypatch):
    "A million cells fit where a map of few would leave room for them, not where it takes nearly all; a few always fit."
    fine, coarse = GridSettings(pixel_m=1.0), GridSettings(pixel_m=20.0)
    cells = frame_for(lake_soundings, None, fine).water.size
    assert 500_000 < cells < 2_000_000
    for there, fits in ((4e9, True), (1e9, False)):
        monkeypatch.setattr("lakemap.grid.frame._memory_bytes", lambda there=there: there)
        if fits:
            assert frame_for(lake_soundings, None, fine).water.size == cells
        else:
            with pytest.raises(SettingError, match=r"GB where this machine has 1\.0; use a pixel of"):
                frame_for(lake_soundings, None, fine)
    monkeypatch.setattr("lakemap.grid.frame._memory_bytes", lambda: 0.5e9)
    assert frame_for(lake_soundings, None, coarse).water.size < 10_000


def test_the_outline_itself_goes_with_the_frame(lake_soundings):
    "Thin land and walls, which no pixel shows, stay known; without a shoreline there is none."
    outline = shapely.box(400_000, 5_000_000, 401_200, 5_000_700)
    parted = outline.difference(shapely.box(400_599, 5_000_000, 400_601, 5_000_500))
    frame = frame_for(lake_soundings, shore_of(parted), GridSettings(pixel_m=10.0))
    assert frame.shore.water.area == pytest.approx(parted.area, rel=1e-6)
    assert frame_for(lake_soundings, None, GridSettings()).shore is None
