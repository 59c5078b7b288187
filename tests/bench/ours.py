"""Our own surfaces for the bench, made as the program makes them."""

from __future__ import annotations

import time

import numpy as np
from scores import Told

from lakemap.geo.crossovers import find_crossovers
from lakemap.geo.pass_bias import solve_pass_bias
from lakemap.grid import GridSettings, make_surface
from lakemap.model.frame import GridFrame
from lakemap.model.observations import Observations
from lakemap.model.soundings import PassBias, Soundings


def by_ours(
    obs: Observations, frame: GridFrame, method: str, passes: int, bias: PassBias | None = None,
    shore_depth: str = "free",
) -> Told:
    "One surface from soundings; biases solved unless they are given."
    begin = time.perf_counter()
    solved = bias if bias is not None else crossover_bias(obs)
    settings = GridSettings(method=method, pixel_m=frame.pixel_m, shore_depth=shore_depth)
    surface = make_surface(obs, frame, settings, solved)
    seconds = time.perf_counter() - begin
    table = dict(zip(surface.pass_bias.pass_id.tolist(), surface.pass_bias.bias_m.tolist(), strict=True))
    water = frame.water
    return Told(
        surface.estimate.values[water].astype(float), surface.sigma.values[water].astype(float), seconds,
        np.array([table.get(k, 0.0) for k in range(passes)]), surface.method,
    )


def crossover_bias(obs: Observations) -> PassBias:
    "Pass biases from crossovers, as the pipeline starts from."
    rows = Soundings.build(
        len(obs), x_m=obs.xy[:, 0], y_m=obs.xy[:, 1], depth_m=obs.value, depth_sigma_m=obs.sigma, pass_id=obs.pass_id,
        time_s=np.arange(len(obs)),
    )
    return solve_pass_bias(find_crossovers(rows))
