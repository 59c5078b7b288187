"""An invented lake for judging hardness: floors with edges, two sounders, three days, bottom samples.

Built on the laws of physics/ alone; nothing of the stage that inverts them is used, and its law was fixed before that
stage was fitted to anything. What differs from the stage's own picture of the world, on purpose: levels fade from ping
to ping, every pass has its own gain, the surface is rough by an amount nobody noted, one sounder's gain law is not
told, the beam is a piston's, words for the bottom come from a hand that errs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from affine import Affine
from pyproj import CRS
from scipy.ndimage import gaussian_filter, map_coordinates

from lakemap.model.frame import GridFrame
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings
from lakemap.physics.absorption import absorption_db_per_m
from lakemap.physics.beam import first_return_depth_m, slope_loss_db
from lakemap.physics.reflection import SEDIMENTS, reflection_from_loss, two_echo_levels_db
from lakemap.physics.rough_surface import surface_loss_db

STEP_M, PIXEL_M = 2.0, 5.0
WIDTH_M, HEIGHT_M = 480.0, 320.0
ORIGIN_X, ORIGIN_Y = 400_000.0, 5_000_000.0
WATER_C = 16.0

FACIES_PHI = ((-4.0, 1.2), (1.0, 0.5), (3.5, 0.5), (6.5, 0.8))
"""Mean grain size and its scatter [phi]: stones, sand, silty sand, mud."""
FACIES_SHARE = (0.12, 0.33, 0.25, 0.30)
LONE_WALL_DEG = 5.0
"""From this slope on a cell counts as on the slope: a quarter of the first sounder's beam."""

WORDS = (("rock", -8.5), ("stones", -5.0), ("gravel", -2.0), ("sand", 1.5), ("silt", 5.5), ("mud", 7.0))
"""What people call a bottom, each until about so many phi."""


@dataclass(frozen=True)
class BoatDay:
    """One log: its sounder, its water, and what is told of it."""

    name: str
    khz: float
    beam_deg: float
    law: str
    told_law: str | None
    source_db: float
    noise_db: float
    clip_db: float
    wind_mps: float
    range_m: float
    across: bool
    spacing_m: float
    band_m: tuple[float, float]
    skip_m: tuple[float, float] = (1e9, 1e9)


DAYS = (
    BoatDay("june.csv", 200.0, 20.0, "20logR", "20logR", 150.0, 84.0, 139.0, 1.0, 60.0, False, 25.0, (5.0, 315.0),
            (195.0, 260.0)),
    BoatDay("july.csv", 83.0, 30.0, "40logR", None, 141.0, 92.0, 1e9, 3.0, 60.0, True, 45.0, (10.0, 470.0)),
    BoatDay("august.csv", 200.0, 20.0, "20logR", "20logR", 150.0, 84.0, 139.0, 2.0, 8.0, False, 20.0, (187.5, 270.0)),
)
"""The same first sounder in June and August; in August its screen ends at 8 m. A band is sailed on that day alone."""

PASS_GAIN_DB, FADING_DB, POSITION_M, PING_M = 0.7, 1.8, 1.5, 2.0


@dataclass(frozen=True)
class World:
    """Lattices (rows, columns) from the south-west corner: depth [m], slope [deg], grain size [phi], reflection (for
    the first sounder and, where they differ, the second), stones that scatter; and which confounders are planted."""

    depth_m: np.ndarray
    slope_deg: np.ndarray
    phi: np.ndarray
    reflection: np.ndarray
    reflection_low: np.ndarray
    scatter: np.ndarray
    confounded: dict[str, np.ndarray]

    def at(self, lattice: np.ndarray, x_m: np.ndarray, y_m: np.ndarray) -> np.ndarray:
        """A lattice's value at places on the working CRS."""
        nodes = np.array([(y_m - ORIGIN_Y) / STEP_M, (x_m - ORIGIN_X) / STEP_M])
        return map_coordinates(lattice, nodes, order=1, mode="nearest")

    def pixel_mean(self, lattice: np.ndarray) -> np.ndarray:
        """Mean of a lattice in each pixel of ``frame()`` (rows, columns)."""
        frame, offsets = lake_frame(), (np.arange(4) + 0.5) / 4 - 0.5
        x_m, y_m = np.meshgrid(*frame.centres())
        parts = [self.at(lattice, (x_m + a * PIXEL_M).ravel(), (y_m + b * PIXEL_M).ravel())
                 for a in offsets for b in offsets]
        return np.mean(parts, axis=0).reshape(frame.shape)


def lake_frame() -> GridFrame:
    """The frame that maps of the lake are judged on: all of it is water."""
    shape = (int(HEIGHT_M / PIXEL_M), int(WIDTH_M / PIXEL_M))
    transform = Affine(PIXEL_M, 0, ORIGIN_X, 0, -PIXEL_M, ORIGIN_Y + HEIGHT_M)
    return GridFrame(shape, transform, CRS.from_epsg(32632), np.ones(shape, dtype=bool), True)


def reflection_of(phi: np.ndarray) -> np.ndarray:
    """Reflection for a mean grain size [phi], between the rows of the sediment table."""
    table = sorted(SEDIMENTS.values(), key=lambda one: one.mean_phi)
    return np.interp(phi, [one.mean_phi for one in table], [one.reflection for one in table])


def make_world(seed: int, confounders: bool = False) -> World:
    """A shelf, a wall of up to some 16 degrees, a soft deep basin; floors in patches with edges some metres wide."""
    rng = np.random.default_rng([seed, 1])
    x, y = np.meshgrid(np.arange(0, WIDTH_M + 1, STEP_M), np.arange(0, HEIGHT_M + 1, STEP_M))
    bend = 200.0 + 40.0 * np.sin(y / 70.0 + rng.uniform(0, 6)) + rng.uniform(-20, 20)
    depth = 3.0 + 9.0 / (1.0 + np.exp(-(x - bend) / 8.0)) + 0.6 * _field(rng, x.shape, 35.0)
    basin = np.exp(-((x - 390.0) ** 2 + (y - rng.uniform(120, 200)) ** 2) / (2 * 55.0**2))
    depth = np.maximum(depth + 4.0 * basin, 1.2)
    rank = _ranked(_field(rng, x.shape, 22.0) + 1.2 * basin + 0.25 * np.tanh((depth - 7.0) / 4.0))
    facies = np.searchsorted(np.cumsum(FACIES_SHARE)[:-1], rank)
    own = _field(rng, x.shape, 8.0)
    mean, scatter = np.array(FACIES_PHI).T
    phi = np.clip(gaussian_filter(mean[facies] + scatter[facies] * own, 1.0), -7.0, 9.0)
    south, east = np.gradient(depth, STEP_M)
    slope = np.degrees(np.arctan(np.hypot(south, east)))
    reflection = reflection_of(phi)
    planted = _confounders(rng, x, y, phi, depth) if confounders else {}
    low, rough = reflection.copy(), np.zeros(x.shape)
    for name, where in planted.items():
        if name == "gas":
            reflection, low = np.where(where, 0.6, reflection), np.where(where, 0.6, low)
        elif name == "boulders":
            phi, rough = np.where(where, -7.5, phi), np.where(where, 1.0, rough)
            reflection, low = np.where(where, 0.7, reflection), np.where(where, 0.7, low)
        else:
            phi = np.where(where, -7.0, phi)
            reflection, low = np.where(where, 0.08, reflection), np.where(where, 0.6, low)
    return World(depth, slope, phi, reflection, low, rough, planted)


def _confounders(rng, x, y, phi, depth):
    "Gas in the basin's mud, a field of boulders, silt over rock: discs 45 m wide on floors where they belong."
    out = {}
    for name, wanted in (("gas", (phi > 5.5) & (depth > 9)), ("boulders", (phi < 1.5) & (depth < 11)),
                         ("silt over rock", (phi > 2.5) & (depth < 14))):
        inner = wanted & (x > 40) & (x < WIDTH_M - 40) & (y > 40) & (y < HEIGHT_M - 40)
        row, column = np.nonzero(inner)
        k = rng.integers(len(row))
        out[name] = (x - x[row[k], column[k]]) ** 2 + (y - y[row[k], column[k]]) ** 2 < 22.5**2
    return out


def _field(rng: np.random.Generator, shape: tuple[int, ...], scale_m: float) -> np.ndarray:
    field = gaussian_filter(rng.standard_normal(shape), scale_m / STEP_M, mode="reflect")
    return (field - field.mean()) / field.std()


def _ranked(field: np.ndarray) -> np.ndarray:
    order = np.argsort(np.argsort(field.ravel()))
    return (order / (len(order) - 1)).reshape(field.shape)


def record(world: World, seed: int, days: tuple[BoatDay, ...] = DAYS) -> Soundings:
    """Cleaned soundings of all days: places, depths, passes, levels; nothing of hardness."""
    parts, passes = [], 0
    for number, day in enumerate(days):
        part = _one_day(world, day, np.random.default_rng([seed, 2, number]))
        part = part.with_columns(pass_id=part.pass_id + passes)
        passes = int(part.pass_id.max()) + 1
        parts.append(part)
    return Soundings.concatenate(parts)


def _one_day(world: World, day: BoatDay, rng: np.random.Generator) -> Soundings:
    x_m, y_m, pass_id = _sail(day, rng)
    depth, slope = world.at(world.depth_m, x_m, y_m), world.at(world.slope_deg, x_m, y_m)
    shown = first_return_depth_m(depth, slope, day.beam_deg)
    first, second = _levels(world, day, (x_m, y_m, shown, slope, pass_id), rng)
    second = np.minimum(second, day.clip_db)
    second = np.where((second > day.noise_db) & (2.0 * shown < day.range_m), second, np.nan)
    rough = world.at(world.scatter, x_m, y_m) > 0.5
    tail = shown * np.where(rough, 1.35, 1.06) + 0.04 * rng.standard_normal(len(shown))
    n, facts = len(shown), LogFacts(
        day.name, gain_law=day.told_law, frequency_khz=day.khz, beam_deg=day.beam_deg, pulse_ms=0.1, draft_m=0.0,
    )
    noise = POSITION_M * rng.standard_normal((2, n))
    noon = np.datetime64(f"2025-{6 + [one.name for one in DAYS].index(day.name):02d}-15T12:00:00", "ms")
    logged = shown + (0.02 + 0.004 * shown) * rng.standard_normal(n)
    return Soundings.build(
        n, [facts], time_s=np.arange(n), time_utc=np.full(n, noon), row=np.arange(n) + 1,
        x_m=x_m + noise[0], y_m=y_m + noise[1],
        pass_id=pass_id, depth_m=logged, logged_depth_m=logged, depth_sigma_m=np.full(n, 0.1),
        position_sigma_m=np.full(n, POSITION_M), first_echo_end_m=tail, water_c=np.full(n, WATER_C),
        first_echo_db=np.minimum(first, day.clip_db), second_echo_db=second, display_range_m=np.full(n, day.range_m),
    )


def _sail(day: BoatDay, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    low, high = day.band_m
    lines = np.arange(low, high + 0.1, day.spacing_m)
    lines = lines[(lines < day.skip_m[0]) | (lines > day.skip_m[1])]
    length = HEIGHT_M if day.across else WIDTH_M
    xs, ys, ids = [], [], []
    for number, line in enumerate(lines):
        along = np.arange(4.0, length - 4.0, PING_M)
        side = line + 2.0 * np.sin(along / 60.0 + rng.uniform(0, 6))
        xs.append(side if day.across else along)
        ys.append(along if day.across else side)
        ids.append(np.full(len(along), number))
    return np.concatenate(xs) + ORIGIN_X, np.concatenate(ys) + ORIGIN_Y, np.concatenate(ids)


def _levels(world, day, sailed, rng):
    "Levels of both echoes before noise and the end of the screen are looked at."
    x_m, y_m, depth, slope, pass_id = sailed
    lattice = world.reflection if day.khz > 150 else world.reflection_low
    alpha = absorption_db_per_m(day.khz, WATER_C)
    lost = surface_loss_db(day.wind_mps, day.beam_deg)
    first, second = two_echo_levels_db(depth, world.at(lattice, x_m, y_m), alpha, lost, day.law)
    on_first, on_second = slope_loss_db(slope, day.beam_deg)
    rough = world.at(world.scatter, x_m, y_m)
    gain = PASS_GAIN_DB * rng.standard_normal(int(pass_id.max()) + 1)[pass_id]
    fading = FADING_DB * rng.standard_normal((2, len(depth)))
    first = day.source_db + gain + first - on_first - 4.0 * rough + fading[0]
    return first, day.source_db + gain + second - on_second - 16.0 * rough + fading[1]


@dataclass(frozen=True)
class Probed:
    """Bottom samples (n,): place, the word given, the true class."""

    x_m: np.ndarray
    y_m: np.ndarray
    word: tuple[str, ...]


def probe(world: World, seed: int, n: int) -> Probed:
    """``n`` places felt with a pole, near where the boat went, and what a hand that errs by 0.7 phi calls them."""
    rng = np.random.default_rng([seed, 3])
    x_m, y_m = ORIGIN_X + rng.uniform(15, WIDTH_M - 15, n), ORIGIN_Y + rng.uniform(15, HEIGHT_M - 15, n)
    felt = world.at(world.phi, x_m, y_m) + 0.7 * rng.standard_normal(n)
    middles = np.array([phi for _, phi in WORDS])
    nearest = np.abs(felt[:, None] - middles).argmin(axis=1)
    noise = 3.0 * rng.standard_normal((2, n))
    return Probed(x_m + noise[0], y_m + noise[1], tuple(WORDS[k][0] for k in nearest))


def truly_hard(world: World) -> np.ndarray:
    """Pixels (rows, columns) whose mean reflection is 0.3 or more."""
    return world.pixel_mean(reflection_of(world.phi)) >= float(reflection_from_loss(10.5))


def truly_soft(world: World) -> np.ndarray:
    """Pixels (rows, columns) whose mean reflection is below 0.1."""
    return world.pixel_mean(reflection_of(world.phi)) < 0.1
