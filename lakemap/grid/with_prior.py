"""An old map holds the surface up where nobody drove, and yields where somebody did."""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.geo.crs import project
from lakemap.grid.settings import GridSettings
from lakemap.grid.surface import make_surface
from lakemap.model.frame import Grid, GridFrame
from lakemap.model.observations import Observations
from lakemap.model.prior import DepthPrior, DepthPriors
from lakemap.model.surface import Surface
from lakemap.units import length_slot

Floats = NDArray[np.float64]

DEPARTURE = "departure_m"
"""Name of soundings less the old map: no depth, so neither shore nor zero mean anything for it."""
FEWEST_SHARED = 30
"""Soundings on the old map that are needed to learn its zero and how far it may be believed."""
REACH_M = 200.0
"""Soundings this near to the old map's places can be compared with it."""
PLAIN_SIGMA_M = 0.05
"""Error of an old map's place against its own neighbours; how wrong it is as a whole the soundings tell."""


def hold_up(
    plain: Surface, obs: Observations, frame: GridFrame, settings: GridSettings, priors: DepthPriors
) -> Surface:
    """The surface ``plain`` of the soundings ``obs``, bettered by old maps where it is unsure.

    Each old map becomes a surface of its own; what the soundings depart from it is mapped as any reading, with its own
    fitted variability, so a bad old map departs widely and weighs little, and its zero and its shifted lines cost
    nothing but error. The two maps are averaged by the inverse of their error variances; the errors are taken as wholly
    alike, so that sigma is never smaller than the weighted mean of both. Kriging with external drift has the same aim
    (Chiles & Delfiner 2012, ch. 5); departures keep the old map's weight open.
    """
    made, own_miss = plain, _miss(plain)
    for prior in priors.parts:
        made = _with_one(made, own_miss, obs, frame, settings, prior)
    return made


def _with_one(
    plain: Surface, own_miss: float, obs: Observations, frame: GridFrame, settings: GridSettings, prior: DepthPrior
) -> Surface:
    xy = np.column_stack(project(frame.crs, prior.lon_deg, prior.lat_deg))
    near, depth, told = _sense(xy, obs, prior)
    if np.count_nonzero(near) < FEWEST_SHARED:
        return _said(plain, f"{prior.source}: only {np.count_nonzero(near)} soundings lie on it, too few to learn its "
                            "zero; left out", *prior.messages)
    old = make_surface(_as_readings(xy, depth), frame, dataclasses.replace(settings, method="field"))
    at = old.estimate.at(obs.xy[:, 0], obs.xy[:, 1])
    known = near & np.isfinite(at)
    departs = dataclasses.replace(obs.take(known), name=DEPARTURE, value=obs.value[known] - at[known])
    step = make_surface(departs, frame, dataclasses.replace(settings, method="field"), plain.pass_bias)
    estimate = old.estimate.values + step.estimate.values
    sigma = np.hypot(step.sigma.values, _beyond(old))
    better = _averaged(plain, np.asarray(estimate, np.float64), np.asarray(sigma, np.float64), _miss(step) / own_miss)
    return _said(better, *prior.messages, *told, _learnt(prior.source, departs.value))


def _learnt(source: str, departure: Floats) -> str:
    zero = float(np.median(departure))
    rest = 1.4826 * float(np.median(np.abs(departure - zero)))
    side = "below" if zero > 0 else "above"
    return (f"{source}: its zero lies {length_slot(abs(zero))} {side} that of the soundings; "
            f"beside that it errs by {length_slot(rest)}")


def _as_readings(xy: Floats, depth: Floats) -> Observations:
    return Observations.of("old_depth_m", xy, depth, PLAIN_SIGMA_M)


def _sense(xy: Floats, obs: Observations, prior: DepthPrior) -> tuple[NDArray[np.bool_], Floats, list[str]]:
    """Which soundings lie on the old map; its depths, turned where they fall as the soundings deepen; what to say."""
    away, nearest = cKDTree(xy).query(obs.xy)
    near = away <= REACH_M
    depth = prior.depth_m
    if prior.sense_known or np.count_nonzero(near) < FEWEST_SHARED:
        return near, depth, []
    together = float(np.corrcoef(depth[nearest[near]], obs.value[near])[0, 1])
    if together >= 0:
        return near, depth, []
    return near, -depth, [f"{prior.source}: taken as heights, since they fall where the soundings deepen"]


def _beyond(old: Surface) -> Floats:
    """How much less sure the old map is at each pixel than where it is usually read [m]: its gaps and its rim."""
    sigma = old.sigma.values.astype(np.float64)
    usual = float(np.nanpercentile(sigma, 25)) if np.isfinite(sigma).any() else 0.0
    return np.sqrt(np.maximum(sigma**2 - usual**2, 0.0))


def _miss(surface: Surface) -> float:
    """What passes held back are missed by, in the map's usual standard errors; 1 where none was held back.

    Sigma is made to hold 95 %: where misses have long tails it is wide, and says little of which map is nearer.
    """
    usual = float(np.sqrt(np.nanmean(surface.sigma.values.astype(np.float64) ** 2)))
    return 1.0 if surface.left_out is None else surface.left_out.rmse / max(usual, 1e-3)


def _averaged(plain: Surface, estimate: Floats, sigma: Floats, wider: float) -> Surface:
    """Both maps averaged by how sure they are, the old map's sigma counted ``wider`` times; where one says nothing the
    other stands."""
    own, own_sigma = plain.estimate.values.astype(np.float64), plain.sigma.values.astype(np.float64)
    worth, own_worth = (np.where(np.isfinite(s), 1.0 / np.maximum(np.nan_to_num(s, nan=1.0), 1e-3) ** 2, 0.0)
                        for s in (wider * sigma, own_sigma))
    total = worth + own_worth
    share = np.divide(worth, total, out=np.zeros_like(total), where=total > 0)
    mean = share * np.nan_to_num(estimate) + (1 - share) * np.nan_to_num(own)
    spread = share * np.nan_to_num(sigma) + (1 - share) * np.nan_to_num(own_sigma)
    drawn = total > 0
    return dataclasses.replace(
        plain, estimate=_like(plain.estimate, np.where(drawn, np.maximum(mean, 0.0), np.nan)),
        sigma=_like(plain.sigma, np.where(drawn, spread, np.nan)),
        share_drawn=float(drawn[plain.frame.water].mean()))


def _like(grid: Grid, values: Floats) -> Grid:
    return dataclasses.replace(grid, values=values.astype(np.float32))


def _said(surface: Surface, *texts: str) -> Surface:
    return dataclasses.replace(surface, messages=(*surface.messages, *texts))
