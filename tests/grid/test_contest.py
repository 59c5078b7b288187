"""Interpolators compete on passes held back; the preferred one loses only to a clearly better one."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS

from lakemap.grid import GridSettings, make_surface
from lakemap.grid.contest import Task, compete
from lakemap.grid.interpolator import Interpolator
from lakemap.grid.kriging import OrdinaryKriging
from lakemap.grid.left_out import Misses, summarise
from lakemap.grid.nearest import Nearest
from lakemap.model.frame import GridFrame
from lakemap.model.observations import Observations
from lakemap.model.soundings import PassBias

FRAME = GridFrame((60, 60), Affine(5, 0, 0, 0, -5, 300), CRS.from_epsg(32632), np.ones((60, 60), bool), True)


def floor(xy):
    "Depth of an even, rolling floor."
    return 6 + np.sin(xy[:, 0] / 25) + np.cos(xy[:, 1] / 30)


def surveyed(passes):
    "Parallel passes over it, 20 m apart."
    along = np.linspace(3, 297, 100)
    xy = np.concatenate([np.column_stack([np.full(100, 12.0 + 20 * k), along]) for k in range(passes)])
    rng = np.random.default_rng(4)
    return Observations.of("depth_m", xy, floor(xy) + 0.03 * rng.standard_normal(len(xy)), 0.03,
                           np.repeat(np.arange(passes), 100))


class Preferred(Interpolator):
    "Tells the true floor, but for an error on a share of the places."

    name = "field"
    error_m, share = 0.0, 1.0

    @classmethod
    def for_grid(cls, settings, pixel_m, pass_bias):
        return cls()

    def fit(self, obs):
        self.reach_m = 100.0
        return self

    def with_data(self, obs):
        return self

    def predict(self, xy):
        wrong = np.where(xy[:, 0] < 300 * self.share, self.error_m, 0.0)
        return floor(xy) + wrong, np.full(len(xy), 0.1)


class Wrong(Preferred):
    "By 2 m everywhere."

    error_m = 2.0


class WrongInPlaces(Preferred):
    "By 2 m on the first passes alone."

    error_m, share = 2.0, 0.3


def judged(cls, passes=12):
    "Name of the winner against plain kriging, and all figures."
    task = Task(surveyed(passes), FRAME, GridSettings(), PassBias.none())
    made, rivals = compete(task, [OrdinaryKriging, cls, Nearest])
    return made.interpolator.name, rivals


def test_the_best_is_told_first():
    "Figures of all, on the same readings, the smallest miss first."
    name, rivals = judged(Preferred)
    assert name == "field" == rivals[0].method and {one.method for one in rivals} == {"field", "kriging", "nearest"}
    assert rivals[0].rmse == pytest.approx(0.026, rel=0.2)
    assert rivals[0].rmse < rivals[1].rmse < rivals[2].rmse
    assert len({one.n for one in rivals}) == 1 and all(one.told == 1.0 for one in rivals)


def test_a_clearly_better_rival_wins():
    "Where the preferred one is wrong everywhere, kriging makes the surface."
    assert judged(Wrong)[0] == "kriging"


def test_few_bad_passes_do_not_settle_it():
    "Wrong on three passes of twelve: larger as a whole, but not in most groups."
    name, rivals = judged(WrongInPlaces)
    assert name == "field" and rivals[0].method == "kriging"


def test_too_few_passes_settle_nothing():
    "With three passes the preferred one stays, whatever they say."
    assert judged(Wrong, passes=3)[0] == "field"


def test_hardness_is_left_to_kriging():
    "The same numbers as hardness, too few to settle anything: kriging keeps its place, not the field."
    obs = dataclasses.replace(surveyed(3), name="hardness")
    made, _ = compete(Task(obs, FRAME, GridSettings(), None), [OrdinaryKriging, Preferred, Nearest])
    assert made.interpolator.name == "kriging"


@pytest.mark.parametrize("word", ["kriging", "nearest"])
def test_a_method_given_overrules(word):
    "Then nothing competes."
    surface = make_surface(surveyed(4), FRAME, GridSettings(method=word))
    assert surface.method == word and surface.rivals == ()


def test_the_curve_of_reliability_shows_what_sigma_is_worth():
    "Misses of a normal law with the claimed error lie on the diagonal; with a twentieth of it, sigma is far too wide."
    miss = np.random.default_rng(1).normal(size=4000)
    group = np.arange(4000) % 20

    def curve(sigma):
        told = summarise(Misses("pass", miss, np.full(4000, sigma), np.zeros(4000), group))
        return np.array(told.reliability)

    assert curve(1.0)[:, 1] == pytest.approx(curve(1.0)[:, 0], abs=0.03)
    assert (curve(20.0)[1:, 1] > 0.97).all()
