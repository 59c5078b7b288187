"""From readings to a surface with its error, on the pixels that the readings can speak for."""

from __future__ import annotations

import dataclasses
import importlib
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.errors import NothingUsable, SettingError
from lakemap.grid.contest import Fitted, Task, compete, fit
from lakemap.grid.interpolator import Interpolator
from lakemap.grid.left_out import Misses, sigma_scale, summarise
from lakemap.grid.realise import realise
from lakemap.grid.settings import GridSettings
from lakemap.grid.slope_in_beam import put_right
from lakemap.grid.variogram_told import variogram_told
from lakemap.model.frame import Grid, GridFrame
from lakemap.model.observations import Observations
from lakemap.model.soundings import NO_PASS, PassBias
from lakemap.model.surface import LeftOut, Rival, Surface
from lakemap.plugin_folder import find_classes

Floats = NDArray[np.float64]

DEPTH = "depth_m"
LIMITS: dict[str, tuple[float, float]] = {"hardness": (0.0, 1.0)}
"""What a reading cannot go beyond; estimates are clipped to it. A depth goes no higher than 0, or than the highest."""
UNITS = {"m": "m", "c": "degC", "deg": "degree"}
"""What the ending of a reading's name says of its unit; any other is a plain number."""

AUTOMATIC = "auto"
"""The word of ``grid.method`` that lets the interpolators compete."""

FEW_PASSES, SQUARES_ALONG = 3, 50
"""Fewer passes than this make an indicative surface; squares along a survey, to tell how many lines points without a
track amount to."""

MOST_DRY_SHARE = 0.1
"""More readings than this on what the shoreline calls land are told of (own choice)."""

UNSHORED_PIXELS = 3
"""Without a shoreline nothing is drawn farther than this outside the hull of the readings."""

BANK_SLOPE = 0.2
"""Usual slope of a bank (common practice of the trade): what an outline known to a pixel errs by in depth."""


def make_surface(
    obs: Observations, frame: GridFrame, settings: GridSettings, pass_bias: PassBias | None = None
) -> Surface:
    """Estimate and sigma on the water pixels of ``frame``.

    ``pass_bias`` is subtracted from the readings first; its sigma is an error that a pass's readings share. A pass
    that is not in it has the usual bias of any pass as that error; with None there is no such error. Where the beam
    is known, slopes read too shallow are put right. Sigma is scaled so that passes held back lie within it as often as
    they should.

    Raises NothingUsable without a finite reading or without water.
    """
    finite = np.isfinite(obs.value) & np.isfinite(obs.xy).all(axis=1)
    if not finite.any():
        raise NothingUsable(f"no usable reading of {obs.name} among {len(obs)}: there is nothing to make a surface of")
    if not frame.water.any():
        raise NothingUsable(f"{obs.name}: the frame has no water, so there is nothing to draw; check the shoreline")
    # a copy of a million readings is worth its memory only where some must go
    obs = obs if finite.all() else obs.take(finite)
    task = Task(obs, frame, settings, pass_bias)
    made, rivals = _made(task)
    fitted, blocks, misses, chosen = made.interpolator, made.blocks, made.misses, type(made.interpolator)
    scale = sigma_scale(misses)
    levelled, right = put_right(fitted, blocks, frame)
    data = right if chosen.solves_bias else _with_shore(right, frame, settings)
    on_data = levelled.with_data(data)
    estimate, sigma = _on_frame(on_data, data, frame)
    drawn = np.isfinite(estimate)
    draws, said = realise(on_data, frame, drawn, settings.realisations if obs.name == DEPTH else 0)
    highest = min(0.0, float(blocks.value.min())) if obs.name == DEPTH else -np.inf
    limits = LIMITS.get(obs.name, (highest, np.inf))
    if draws is not None:
        draws = np.clip(estimate[drawn] + scale * (draws - estimate[drawn]), *limits).astype(np.float32)
    return Surface(
        estimate=Grid(frame, np.clip(estimate, *limits).astype(np.float32), obs.name, _unit(obs.name)),
        sigma=Grid(frame, (scale * sigma).astype(np.float32), _sigma_name(obs.name), _unit(obs.name)),
        method=fitted.name, model={**fitted.facts(), "sigma_scale": scale, "blocks": float(len(blocks))},
        share_drawn=float(drawn.sum() / max(int(frame.water.sum()), 1)), left_out=_with_pairs(misses, blocks),
        pass_bias=on_data.pass_bias() if chosen.solves_bias else pass_bias or PassBias.none(),
        messages=(*_messages(obs, frame), *said), rivals=rivals, realisations=draws,
        variogram=variogram_told(fitted, blocks, frame.pixel_m),
    )


def _with_pairs(misses: Misses, blocks: Observations) -> LeftOut | None:
    """The figures of the readings held back, and the readings beside what was told of them."""
    told = summarise(misses)
    if told is None:
        return None
    reading = blocks.value[misses.row]
    return dataclasses.replace(told, reading=reading, estimate=reading + misses.miss)


def _made(task: Task) -> tuple[Fitted, tuple[Rival, ...]]:
    """The interpolator that was asked for, or the winner of all with their figures; fitted."""
    found = _interpolators()
    word = task.settings.method
    if word == AUTOMATIC:
        return compete(task, list(found.values()))
    if word not in found:
        raise SettingError(f"[grid] method = {word!r}: there is no such interpolator; there are {', '.join(found)}")
    return fit(task, found[word]), ()


def _with_shore(blocks: Observations, frame: GridFrame, settings: GridSettings) -> Observations:
    """The blocks, and zero depth where water meets land, when the user says that the outline is that day's waterline.

    Readings other than depth, and the variogram, never see these.
    """
    if settings.shore_depth != "zero" or blocks.name != DEPTH or not frame.shore_known:
        return blocks
    edge = _shore_points(frame)
    zero = Observations.of(DEPTH, edge, np.zeros(len(edge)), BANK_SLOPE * frame.pixel_m / np.sqrt(12), NO_PASS)
    columns: dict[str, Any] = {
        name: np.concatenate([getattr(blocks, name), getattr(zero, name)])
        for name in ("xy", "value", "sigma", "pass_id", "rise", "lower", "upper")
    }
    return dataclasses.replace(blocks, **columns)


def _shore_points(frame: GridFrame) -> Floats:
    """Middles (k, 2) of the pixel sides that part water from land; the frame's own edge is no shore."""
    x_m, y_m = frame.centres()
    half, water = frame.pixel_m / 2, frame.water
    row, column = np.nonzero(water[:, 1:] != water[:, :-1])
    upright = np.column_stack([x_m[column] + half, y_m[row]])
    row, column = np.nonzero(water[1:] != water[:-1])
    return np.concatenate([upright, np.column_stack([x_m[column], y_m[row] - half])])


def _on_frame(fitted: Interpolator, data: Observations, frame: GridFrame) -> tuple[Floats, Floats]:
    """Estimate and sigma (rows, columns), NaN on land and where the readings cannot speak."""
    xy = frame.water_xy()
    lag = cKDTree(data.xy).query(xy)[0]
    asked = lag <= max(fitted.reach_m, frame.pixel_m)
    if not frame.shore_known:
        asked &= (lag <= UNSHORED_PIXELS * frame.pixel_m) | _in_hull(data.xy, xy)
    estimate, sigma = np.full(frame.shape, np.nan), np.full(frame.shape, np.nan)
    row, column = (index[asked] for index in np.nonzero(frame.water))
    estimate[row, column], sigma[row, column] = fitted.predict(xy[asked])
    return estimate, sigma


def _in_hull(data_xy: Floats, xy: Floats) -> NDArray[np.bool_]:
    hull = shapely.convex_hull(shapely.multipoints(data_xy))
    shapely.prepare(hull)
    return np.asarray(shapely.contains_xy(hull, xy[:, 0], xy[:, 1]))


def _messages(obs: Observations, frame: GridFrame) -> tuple[str, ...]:
    """One line for each thing a reader of the surface should know."""
    told = [*_few_said(obs), *_sigma_said(obs)]
    row, column, inside = frame.pixel_of(obs.xy[:, 0], obs.xy[:, 1])
    off = int(np.count_nonzero(~inside))
    dry = int(np.count_nonzero(~frame.water[row[inside], column[inside]])) if frame.shore_known else 0
    if dry > MOST_DRY_SHARE * len(obs):
        told.append(f"{obs.name}: {dry} of {len(obs)} readings lie on land by the shoreline; is it of another level?")
    if off:
        told.append(f"{obs.name}: {off} of {len(obs)} readings lie off the frame")
    if not frame.shore_known and obs.name == DEPTH:
        told.append(f"{obs.name}: no shoreline given, so the outline is what the tracks enclose; it is no bank")
    return tuple(told)


def _few_said(obs: Observations) -> tuple[str, ...]:
    """That the surface is indicative, where so few passes made it; where no passes are known (a table of gathered
    points without times), where all readings together cover no more than so few lines along the whole survey."""
    numbers = np.unique(obs.pass_id[obs.pass_id != NO_PASS])
    passes = max(len(numbers), 1)
    if passes >= FEW_PASSES:
        return ()
    if obs.has_time or len(numbers):
        return (f"{obs.name}: {passes} pass{'es' if passes > 1 else ''} only, so the surface is indicative",)
    side_m = max(float(np.ptp(obs.xy, axis=0).max()) / SQUARES_ALONG, 1e-6)
    lines = len(np.unique(np.floor(obs.xy / side_m).astype(np.int64), axis=0)) / SQUARES_ALONG
    if lines >= FEW_PASSES:
        return ()
    return (f"{obs.name}: readings without times that cover no more water than {max(round(lines), 1)} "
            f"line{'s' if lines >= 1.5 else ''} along the survey, so the surface is indicative",)


def _sigma_said(obs: Observations) -> tuple[str, ...]:
    """That readings have no error of their own; where none has, and each says 0, nobody claimed one."""
    wrong = int(np.count_nonzero(~(np.isfinite(obs.sigma) & (obs.sigma > 0))))
    if not wrong or not obs.sigma.any():
        return ()
    given = "the usual one of the others" if wrong < len(obs) else "what the readings show among themselves"
    return (f"{obs.name}: {wrong} of {len(obs)} readings have an error that is no number above 0; they get {given}",)


def _unit(name: str) -> str:
    return UNITS.get(name.rpartition("_")[2], "1") if "_" in name else "1"


def _sigma_name(name: str) -> str:
    first, _, ending = name.rpartition("_")
    return f"{first}_sigma_{ending}" if first and ending in UNITS else f"{name}_sigma"


def _interpolators() -> dict[str, type[Interpolator]]:
    folder = importlib.import_module("lakemap.grid")
    classes = find_classes(folder, Interpolator, "lakemap.interpolators")  # type: ignore[type-abstract]
    return {cls.name: cls for cls in classes}
