"""Depths by weighted line or pole settle what no crossover can show: a constant and a scale, sounder by sounder."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.clean.check_fit import LEAST_SIGMA_M, Equations, Fit, fit_groups
from lakemap.clean.check_groups import Groups, groups_of
from lakemap.clean.error_budget import with_common
from lakemap.clean.lake_level import level_at_times
from lakemap.clean.settings import CleanSettings
from lakemap.errors import InputError
from lakemap.geo.crossovers import find_crossovers
from lakemap.geo.crs import project
from lakemap.geo.pass_bias import PRIOR_SIGMA_M, solve_pass_bias
from lakemap.geo.shore import in_water, water_polygon
from lakemap.model.crossovers import Crossovers
from lakemap.model.error_budget import CommonPart
from lakemap.model.lake_facts import CheckDepths, LakeFacts
from lakemap.model.shoreline import Shoreline
from lakemap.model.soundings import Correction, Soundings
from lakemap.units import length_slot

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

REACH_M = 15.0
"""Soundings this near a check tell the depth at it, through a plane."""
LEAST_ROWS, MOST_ROWS = 3, 400
SLOPE_PRIOR = 0.2
"""Standard deviation of either slope of the plane before soundings are seen: lake floors rarely fall more steeply."""
CURVE_PER_M = 0.002
"""The floor departs from such a plane by so much times the square of the distance, usually (own choice, from invented
floors whose waves are 60 to 160 m long): far readings weigh less, and a check with none near is less sure."""
TOLD = 0.8
"""A quantity is told by the checks where they bring its error below this share of what it was."""


def apply_checks(
    soundings: Soundings, facts: LakeFacts, shore: Shoreline | None, settings: CleanSettings
) -> Soundings:
    """Depths of each sounder moved as far as check depths tell, and the common error as they leave it.

    Raises InputError where all check depths lie on land; those that lie on land else are left out and said.
    """
    checks = facts.checks
    if not len(checks) or not settings.applies("check depths") or soundings.crs is None:
        return soundings
    xy = np.column_stack(project(soundings.crs, checks.lon_deg, checks.lat_deg))
    wet, said = _off_land(checks, xy, shore, soundings, settings)
    on_datum, more = _on_datum(checks, facts, settings)
    soundings = soundings.with_messages(*checks.messages, *said, *more)
    groups = groups_of(soundings, facts, settings)
    below = soundings.depth_below_transducer_m()
    met = find_crossovers(soundings)
    even = _levelled(soundings, groups, met)
    told, matched = _checked(even, groups, below, xy, np.where(wet, on_datum, np.nan), checks.sigma_m)
    if not matched.any():
        return soundings.with_messages("no soundings near any check depth: they settle nothing; sail over them")
    if len(groups.names) > 1:
        told = Equations.joined(told, _crossed(soundings, groups, below, met))
    fit = fit_groups(told, groups.prior)
    shift_m = fit.shift_m(groups.of_row(soundings), below)
    return _moved(soundings, fit, groups, shift_m, int(matched.sum())).with_messages(*_said(fit, groups, told, matched))


def _off_land(
    checks: CheckDepths, xy: Floats, shore: Shoreline | None, soundings: Soundings, settings: CleanSettings
) -> tuple[Bools, list[str]]:
    if shore is None or soundings.crs is None:
        return np.ones(len(checks), dtype=bool), []
    wet = in_water(water_polygon(shore, soundings.crs), xy[:, 0], xy[:, 1], settings.shore_margin_m)
    if wet.all():
        return wet, []
    first = int(np.flatnonzero(~wet)[0])
    where = f"{checks.source[first]}: check depths on land by {shore.source}, line {checks.line[first]}"
    count = int((~wet).sum())
    if not wet.any():
        raise InputError(f"{where} and all {count} of them; mend their places, or leave the file out")
    return wet, [f"{where}" + (f" + {count - 1} more" if count > 1 else "") + "; left out"]


def _on_datum(checks: CheckDepths, facts: LakeFacts, settings: CleanSettings) -> tuple[Floats, list[str]]:
    """Check depths below the datum: that day's level taken off; NaN, and a message, where it is not known."""
    if not facts.levels or not settings.applies("lake level"):
        return checks.depth_m, []
    level = level_at_times(facts.levels, checks.time_s, settings)
    lost = ~np.isfinite(level)
    said = []
    if lost.any():
        said.append(f"{checks.source[0]}: {int(lost.sum())} check depths without a time within the gauge's; left out, "
                    "their lake level is not known")
    return checks.depth_m - level, said


@dataclass(frozen=True)
class Levelled:
    """Soundings whose depths are freed of what their passes are off by against others of their sounder, and how well
    that is known of each row (n,) [m]."""

    soundings: Soundings
    pass_sigma_m: Floats


def _levelled(soundings: Soundings, groups: Groups, met: Crossovers) -> Levelled:
    """A check on a pass that is off must not move the whole lake. What all passes are off by alike stays: it is part of
    the constant that checks settle."""
    group = groups.of_row(soundings)
    own = met.take((group[met.row_a] == group[met.row_b]) & np.isfinite(met.difference_m + met.sigma_m))
    solved = solve_pass_bias(own)
    bias, sigma = np.zeros(len(soundings)), np.full(len(soundings), PRIOR_SIGMA_M)
    if len(solved.pass_id):
        at = np.minimum(np.searchsorted(solved.pass_id, soundings.pass_id), len(solved.pass_id) - 1)
        known = solved.pass_id[at] == soundings.pass_id
        alike = PRIOR_SIGMA_M**2 / len(solved.pass_id)
        bias[known] = solved.bias_m[at[known]]
        sigma[known] = np.sqrt(np.maximum(solved.sigma_m[at[known]] ** 2 - alike, 0.0))
    return Levelled(soundings.with_columns(depth_m=soundings.depth_m - bias), sigma)


def _checked(
    even: Levelled, groups: Groups, below_m: Floats, xy: Floats, check_m: Floats, sigma_m: Floats
) -> tuple[Equations, Bools]:
    """What each check says of each group that has soundings near it, and which checks (k,) have any.

    ``below_m`` (n,) is each row's depth below the transducer; checks are at ``xy`` (k, 2) on the working CRS,
    ``check_m`` (k,) on the datum of depth_m, NaN where that is not known.
    """
    soundings = even.soundings
    group = groups.of_row(soundings)
    rows = np.flatnonzero(soundings.usable() & np.isfinite(soundings.depth_m + soundings.x_m) & (group >= 0))
    tree = cKDTree(np.column_stack([soundings.x_m[rows], soundings.y_m[rows]]))
    matched = np.zeros(len(xy), dtype=bool)
    difference, sigma, by_pass, design = [], [], [], []
    for k in np.flatnonzero(np.isfinite(xy).all(axis=1) & np.isfinite(check_m)).tolist():
        near = rows[_within(tree, xy[k])]
        for number in np.unique(group[near]).tolist():
            own = near[group[near] == number]
            if len(own) < LEAST_ROWS:
                continue
            depth, error, main = _depth_at(soundings, own, xy[k])
            matched[k] = True
            difference.append(check_m[k] - depth)
            sigma.append(max(float(np.hypot(sigma_m[k], error)), LEAST_SIGMA_M))
            by_pass.append((int(soundings.pass_id[main]), float(even.pass_sigma_m[main])))
            design.append(_row_of(len(groups.names), number, float(np.median(below_m[own]))))
    told = Equations(np.array(difference), _shared(np.array(sigma), by_pass),
                     np.array(design).reshape(-1, 2 * len(groups.names)), np.ones(len(sigma), dtype=bool))
    return told, matched


def _shared(sigma: Floats, by_pass: list[tuple[int, float]]) -> Floats:
    """Errors (k,) with that of the pass that tells each check: checks on one pass share it; many count as few."""
    if not by_pass:
        return sigma
    number, own = np.array([number for number, _ in by_pass]), np.array([error for _, error in by_pass])
    _, code, often = np.unique(number, return_inverse=True, return_counts=True)
    return np.asarray(np.hypot(sigma, np.sqrt(often[code]) * own), dtype=np.float64)


def _row_of(groups: int, number: int, below_m: float) -> Floats:
    row = np.zeros(2 * groups)
    row[2 * number : 2 * number + 2] = 1.0, below_m
    return row


def _crossed(soundings: Soundings, groups: Groups, below_m: Floats, met: Crossovers) -> Equations:
    """What crossings of two groups say of their difference. The constant errors of the passes enter each; crossings of
    one pass share its own, so that many of them count as few."""
    group = groups.of_row(soundings)
    a, b = group[met.row_a], group[met.row_b]
    met = met.take((a != b) & (a >= 0) & (b >= 0) & np.isfinite(met.difference_m + met.sigma_m))
    a, b = group[met.row_a], group[met.row_b]
    here, design = np.arange(len(met)), np.zeros((len(met), 2 * len(groups.names)))
    for side, rows, sign in ((a, met.row_a, -1.0), (b, met.row_b, 1.0)):
        design[here, 2 * side], design[here, 2 * side + 1] = sign, sign * below_m[rows]
    often = np.maximum(*(np.bincount(side)[side] if len(side) else side for side in (met.pass_a, met.pass_b)))
    sigma = np.sqrt(met.sigma_m**2 + 2.0 * PRIOR_SIGMA_M**2 * often)
    return Equations(met.difference_m, np.maximum(sigma, LEAST_SIGMA_M), design, np.zeros(len(met), dtype=bool))


def _within(tree: cKDTree, place: Floats) -> Ints:
    return np.sort(np.asarray(tree.query_ball_point(place, REACH_M), dtype=np.int64))


def _depth_at(soundings: Soundings, rows: Ints, place: Floats) -> tuple[float, float, int]:
    """Depth at a place, its sigma, and the nearest row, from a plane through the soundings near it."""
    away = np.hypot(soundings.x_m[rows] - place[0], soundings.y_m[rows] - place[1])
    order = np.lexsort((rows, away))[:MOST_ROWS]
    rows, bend = rows[order], CURVE_PER_M * away[order] ** 2
    u, v = soundings.x_m[rows] - place[0], soundings.y_m[rows] - place[1]
    own = np.maximum(soundings.depth_sigma_m[rows].astype(np.float64), LEAST_SIGMA_M)
    sigma = np.hypot(own, bend)
    design = np.column_stack([np.ones(len(rows)), u, v])
    middle = float(np.median(soundings.depth_m[rows]))
    normal = (design / sigma[:, None] ** 2).T @ design + np.diag([0.0, SLOPE_PRIOR**-2, SLOPE_PRIOR**-2])
    right = design.T @ ((soundings.depth_m[rows] - middle) / sigma**2)
    level, east, north = np.linalg.solve(normal, right)
    left = soundings.depth_m[rows] - middle - design @ np.array([level, east, north])
    fit = float(np.sqrt(np.linalg.inv(normal)[0, 0] * max(1.0, float(np.mean((left / sigma) ** 2)))))
    # the boat stood where its receiver said no more surely than it sailed there
    place_m = float(np.sqrt(2.0) * np.median(soundings.position_sigma_m[rows]))
    slope = float(np.hypot(east, north))
    # readings of one pass share most of their error, and all of them the floor's bend, so these do not average away
    shared = np.hypot(0.5 * float(np.median(own)), float(np.average(bend, weights=sigma**-2)))
    error = float(np.sqrt(fit**2 + shared**2 + (slope * np.nan_to_num(place_m)) ** 2))
    return middle + float(level), error, int(rows[0])


def _moved(soundings: Soundings, fit: Fit, groups: Groups, shift_m: Floats, count: int) -> Soundings:
    """Depths shifted; the common error is that of the least sure sounder."""
    moved = soundings.with_columns(depth_m=soundings.depth_m + shift_m)
    used = soundings.usable() & np.isfinite(shift_m)
    listed = Correction(
        "check depths", fit.before_m, fit.after_m, float(np.mean(shift_m[used])), "check depths", np.nan_to_num(shift_m)
    )
    moved = replace(moved, corrections=(*soundings.corrections, listed))
    several = f", the least sure of {len(groups.names)} sounders" if len(groups.names) > 1 else ""
    part = CommonPart("check depths", float(fit.sigma[:, 0].max()), float(fit.sigma[:, 1].max()),
                      f"settled by {count} checks{several}")
    return with_common(moved, (part,))


def _said(fit: Fit, groups: Groups, told: Equations, matched: Bools) -> list[str]:
    """What was moved and what the checks leave open, for each group."""
    said = []
    for number, name in enumerate(groups.names):
        own = told.design[:, 2 * number] != 0
        checks, crossings = int((own & told.check).sum()), int((own & ~told.check).sum())
        whose = "all depths" if len(groups.names) == 1 else f"depths of {name}"
        if not checks and not crossings:
            said.append(f"no check depth and no crossing tells the zero of {name}: its depths stay as they are; "
                        "measure some where it sailed")
            continue
        offset, scale = fit.found[number]
        sure, sure_scale = fit.sigma[number]
        by = f"{int(matched.sum()) if len(groups.names) == 1 else checks} check depths"
        by += "" if len(groups.names) == 1 else f" and {crossings} crossings with others"
        said.append(f"{by}: {whose} moved by {length_slot(offset, 2)} (sigma {length_slot(sure, 2)}) and "
                    f"{100 * scale:+.2f} % (sigma {100 * sure_scale:.2f} %)")
        said += _open(fit, groups, number, whose)
    return said


def _open(fit: Fit, groups: Groups, number: int, whose: str) -> list[str]:
    error, prior, drafts = fit.sigma[number], groups.prior[number], groups.drafts_m[number]
    names = ("a constant", "a scale")
    untold = [name for name, now, before in zip(names, error, prior, strict=True) if now > TOLD * before]
    said = []
    if untold:
        said.append(f"check depths do not tell {' or '.join(untold)} of {whose} apart from what was known before: "
                    "measure some in shallow and some in the deepest water")
    constant = float(fit.found[number, 0])
    if drafts and abs(constant) > 3 * error[0] and abs(constant + drafts[0]) < 2 * error[0]:
        said.append(f"the constant is the draft of {length_slot(drafts[0], 2)} with its sign turned: the sounder seems "
                    "to have added its draft already, so it counted twice")
    return said
