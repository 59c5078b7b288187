"""Lines that learn the most: against mown lawns and random lines, and the error field against plain kriging."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rough_lake import ORIGIN_X, ORIGIN_Y, rough_lake
from scipy.linalg import cho_solve, cholesky
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern

from lakemap.trips.error_field import ErrorField, Variability, error_field
from lakemap.trips.lines import HEADINGS, Line, candidate_lines
from lakemap.trips.route import Outing, Route, duration_s
from lakemap.trips.survey import loose, plan_lines

FLOOR = Variability(6.0, 300.0, 0.1)
STEP_M = 60.0


def nodes_of(lake):
    x = np.arange(ORIGIN_X + STEP_M / 2, ORIGIN_X + 2 * lake.half_x, STEP_M)
    y = np.arange(ORIGIN_Y + STEP_M / 2, ORIGIN_Y + 2 * lake.half_y, STEP_M)
    xs, ys = np.meshgrid(x, y)
    inside = lake.inside(xs, ys)
    return np.column_stack([xs[inside], ys[inside]])


def five_uneven_passes(lake, rng):
    "Straight passes at random headings through random places."
    middle = np.array([ORIGIN_X + lake.half_x, ORIGIN_Y + lake.half_y])
    found = []
    for _ in range(5):
        course = rng.uniform(0, np.pi)
        place = middle + rng.uniform(-0.5, 0.5, 2) * [lake.half_x, lake.half_y]
        along = place + np.arange(-900, 900, 4.0)[:, None] * np.array([np.cos(course), np.sin(course)])
        found.append(along[lake.inside(along[:, 0], along[:, 1])])
    return np.concatenate(found)


def lattice(side, step_m):
    "side x side nodes."
    xs, ys = np.meshgrid(np.arange(float(side)) * step_m, np.arange(float(side)) * step_m)
    return np.column_stack([xs.ravel(), ys.ravel()])


def left_after(field, route):
    for line in route:
        field = field.after(line.nodes)
    return field.total


def mown_lawns(candidates, outing):
    "Parallel lines there and back, at every heading and as many as the time allows."
    for number in range(HEADINGS):
        lines = [line for line in candidates if abs(line.heading - number * np.pi / HEADINGS) < 1e-6]
        for count in range(len(lines), 0, -1):
            picked = np.unique(np.linspace(0, len(lines) - 1, count + 2).astype(int)[1:-1])
            route = [lines[i] if k % 2 == 0 else lines[i].turned()
                     for k, i in enumerate(picked)]
            if route and duration_s(route, outing) <= outing.time_s:
                yield route
                break


def random_lines(candidates, outing, rng):
    route = []
    for i in rng.permutation(len(candidates)):
        if duration_s([*route, candidates[i]], outing) <= outing.time_s:
            route.append(candidates[i])
    return route


def driven_error(lake, nodes, step_m, routes, seen):
    """Sum of squared errors of the map that is made of what was seen and, for each of the routes, what its lines read
    of the true floor: best linear prediction under the same covariance, one noise for all routes."""
    bare = error_field(nodes, step_m, FLOOR, np.empty((0, 2)))
    truth = lake.depth_at(nodes[:, 0], nodes[:, 1])
    read = truth + np.sqrt(FLOOR.noise) * np.random.default_rng(0).standard_normal(len(nodes))
    left = []
    for route in routes:
        at = np.unique(np.concatenate([seen, *(line.nodes for line in route)]))
        among = bare.covariance[np.ix_(at, at)] + bare.noise * np.eye(len(at))
        middle = read[at].mean()
        told = middle + bare.covariance[:, at] @ cho_solve((cholesky(among, lower=True), True), read[at] - middle)
        left.append(float(((told - truth) ** 2).sum()))
    return np.array(left)


@pytest.mark.parametrize("seed", range(2))
def test_planned_lines_learn_more_than_a_mown_lawn_or_random_lines(seed):
    """From five uneven passes, in the same time: more error removed than by the best lawn of all and by four random
    outings, as the plan expects and as it turns out when all are driven over the true floor."""
    lake, rng = rough_lake(seed), np.random.default_rng(seed)
    frame, nodes, before = lake.frame(10.0), nodes_of(lake), five_uneven_passes(lake, rng)
    field = error_field(nodes, STEP_M, FLOOR, before)
    candidates = candidate_lines(frame, frame.water, field, before)
    outing = Outing(np.array([ORIGIN_X + 150.0, ORIGIN_Y + lake.half_y]), 3600.0, 1.8)
    plan = plan_lines(field, candidates, outing)
    assert plan.lasts_s <= 3600.0 and plan.lasts_s == pytest.approx(duration_s(list(plan.lines), outing))
    others = [*mown_lawns(candidates, outing), *(random_lines(candidates, outing, rng) for _ in range(4))]
    assert plan.after.total < min(left_after(field, route) for route in others)
    driven, *beside = driven_error(lake, nodes, STEP_M, [plan.lines, *others], field.near(before))
    assert driven < min(beside)


def test_every_line_of_a_first_survey_is_crossed():
    "So that a wrong level or draft shows; without the lines across one of them crosses no other."
    lake = rough_lake(1)
    frame = lake.frame(10.0)
    field = error_field(nodes_of(lake), STEP_M, FLOOR, np.empty((0, 2)))
    outing = Outing(np.array([ORIGIN_X + 150.0, ORIGIN_Y + lake.half_y]), 2000.0, 1.8)
    plan = plan_lines(field, candidate_lines(frame, frame.water, field), outing)
    assert len(plan.lines) > 3 and not loose(plan.lines) and plan.lasts_s <= 2000.0


def test_a_line_is_loose_where_nothing_meets_it():
    "Two side by side are; one across both, or a pass driven before, ties them."
    lake = rough_lake(1)
    frame = lake.frame(10.0)
    field = error_field(nodes_of(lake), STEP_M, FLOOR, np.empty((0, 2)))
    lines = candidate_lines(frame, frame.water, field)
    one, other, *_ = (line for line in lines if line.heading < 1e-6)
    across = max((line for line in lines if abs(line.heading - np.pi / 2) < 1e-6), key=lambda line: line.length_m)
    assert loose([one, other]) == [one, other] and not loose([one, other, across])
    near = (one.start + one.end) / 2 + [0.0, 4.0]
    tied = [line.tied for line in candidate_lines(frame, frame.water, field, near[None])]
    assert tied[lines.index(one)] and sum(tied) < 30


def test_the_error_field_is_that_of_a_gaussian_process():
    "Standard errors of scikit-learn's regression with the same covariance (Matern 1/2) and wide mean, to 1e-6."
    rng = np.random.default_rng(0)
    xy = lattice(8, 10.0)
    floor = Variability(2.0, 60.0, 0.3)
    seen = np.sort(rng.choice(64, 12, replace=False))
    field = error_field(xy, 10.0, floor, xy[seen])
    kernel = ConstantKernel(2.0, "fixed") * Matern(20.0, "fixed", nu=0.5) + ConstantKernel(20.0, "fixed")
    process = GaussianProcessRegressor(kernel, alpha=0.3, optimizer=None).fit(xy[seen], np.zeros(12))
    assert np.allclose(np.sqrt(np.diag(field.covariance)), process.predict(xy, return_std=True)[1], atol=1e-6)


@settings(max_examples=20)
@given(st.integers(0, 1000), st.integers(1, 30))
def test_more_driving_never_adds_error(seed, count):
    "Gain is what total falls by, at least 0, and the order of two lines does not matter."
    rng = np.random.default_rng(seed)
    field = error_field(lattice(7, 10.0), 10.0, FLOOR, np.array([[0.0, 0.0]]))
    one, other = (np.sort(rng.choice(49, min(count, 49), replace=False)) for _ in range(2))
    after = field.after(one)
    assert field.gain(one) == pytest.approx(field.total - after.total, rel=1e-6) and field.gain(one) >= 0
    assert after.after(other).total == pytest.approx(field.after(other).after(one).total, rel=1e-6)


@settings(max_examples=20)
@given(st.integers(0, 1000), st.integers(1, 30))
def test_a_line_given_up_is_as_if_never_driven(seed, count):
    "Loss is what total rises by; over nodes that others cross too, driven before it or after."
    rng = np.random.default_rng(seed)
    field = error_field(lattice(7, 10.0), 10.0, FLOOR, np.empty((0, 2)))
    one, other = (np.sort(rng.choice(49, count, replace=False)) for _ in range(2))
    both, alone = field.after(one).after(other), field.after(other)
    assert np.allclose(both.without(one).covariance, alone.covariance, atol=1e-7)
    assert both.loss(one) == pytest.approx(alone.total - both.total, rel=1e-6, abs=1e-9)
    assert alone.gains([one, other]) == pytest.approx([alone.gain(one), alone.gain(other)], rel=1e-6)


def test_a_line_goes_where_it_costs_the_least():
    "As every place and direction tried in turn says."
    rng = np.random.default_rng(3)
    lines = [Line(*rng.uniform(0, 500, (2, 2)), np.array([0])) for _ in range(9)]
    xy = np.array([[0.0, 0.0]])
    outing = Outing(np.array([0.0, 0.0]), 1e9, 2.0)
    field = error_field(xy, 10.0, FLOOR, np.empty((0, 2)))
    route = Route((), field, outing)
    for line in lines:
        cost, place, turned = (one[0] for one in route.cheapest([line]))
        least = min(duration_s([*route.lines[:at], way, *route.lines[at:]], outing)
                    for at in range(len(route.lines) + 1) for way in (line, line.turned()))
        assert cost == pytest.approx(least - route.lasts_s)
        route = route.with_line(line.turned() if turned else line, place)
        assert route.lasts_s == pytest.approx(least)
    assert route.without(4).lines == (*route.lines[:4], *route.lines[5:])


def test_equal_gains_go_to_the_line_across_the_slope():
    "On a square lake without passes east-west and north-south learn the same; the slope decides."
    field = error_field(lattice(9, 20.0), 20.0, FLOOR, np.empty((0, 2)))
    middle = 80.0
    east = Line(np.array([0.0, middle]), np.array([160.0, middle]), field.on_line(np.array([0.0, middle]),
                                                                                  np.array([160.0, middle])))
    north = Line(np.array([middle, 0.0]), np.array([middle, 160.0]), field.on_line(np.array([middle, 0.0]),
                                                                                   np.array([middle, 160.0])))
    for axis, expected in ((0.0, east), (np.pi / 2, north)):
        outing = Outing(np.array([middle, middle]), 130.0, 4.0, axis)
        plan = plan_lines(field, [east, north], outing)
        assert [line.heading for line in plan.lines] == [expected.heading]


def test_lines_stay_in_drivable_water():
    "Candidates never leave the mask, whatever its shape."
    lake = rough_lake(1)
    frame = lake.frame(10.0)
    drivable = frame.water.copy()
    drivable[20:30, 30:80] = False
    field = error_field(nodes_of(lake), STEP_M, FLOOR, np.empty((0, 2)))
    for line in candidate_lines(frame, drivable, field):
        xy = line.start + np.linspace(0, 1, 200)[:, None] * (line.end - line.start)
        row, column, inside = frame.pixel_of(xy[:, 0], xy[:, 1])
        assert inside.all() and drivable[row, column].mean() > 0.995


def test_no_time_no_lines():
    "A minute is enough for no line."
    lake = rough_lake(0)
    frame = lake.frame(10.0)
    field = error_field(nodes_of(lake), STEP_M, FLOOR, np.empty((0, 2)))
    plan = plan_lines(field, candidate_lines(frame, frame.water, field), Outing(field.xy[0], 60.0, 1.8))
    assert plan.lines == () and plan.gain == 0.0 and isinstance(plan.after, ErrorField)
