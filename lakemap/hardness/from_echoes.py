"""The stage: levels and screen notes of each log, put on one scale, calibrated on samples, doubts kept as doubts."""

from __future__ import annotations

import dataclasses
from typing import NamedTuple

import numpy as np

from lakemap.hardness.by_gain import by_gain
from lakemap.hardness.calibrate import Calibration, calibrate, class_limits, contradicted
from lakemap.hardness.confounders import gassy, grown, layered, scattering
from lakemap.hardness.cut_points import cut_points
from lakemap.hardness.echo_levels import read_levels
from lakemap.hardness.instruments import Joined, Trust, join, shared_places
from lakemap.hardness.lone import told_by_samples
from lakemap.hardness.one_scale import Offset, find_offset
from lakemap.hardness.reading import Floats, Mask, Reading
from lakemap.hardness.receiver import Receiver, receivers
from lakemap.hardness.screen import read_screen, visible_gap
from lakemap.hardness.second_echo import second_echo
from lakemap.hardness.settings import HardnessSettings
from lakemap.hardness.told import Told, messages_of
from lakemap.model.flags import Flag
from lakemap.model.hardness_notes import HardnessNote
from lakemap.model.samples import BottomSamples
from lakemap.model.soundings import Soundings
from lakemap.physics.absorption import absorption_db_per_m
from lakemap.physics.grain_size import hardness_of_doubtful_grain
from lakemap.physics.reflection import LOSS_OF_HARDEST_DB, LOSS_OF_SOFTEST_DB

SPAN_DB = LOSS_OF_SOFTEST_DB - LOSS_OF_HARDEST_DB
OFFSET_DB = {"told": 1.5, "set": 1.5, "found": 2.0, "assumed": 8.0}
"""How far a log's losses may be off as a whole, by where its gain law came from: surface and gain of the day, or up to
two steps of 6 dB (own choice)."""
SCALE_SIGMA = 0.1
OTHER_FREQUENCY = 4.0
"""Error of absorption, in shares of it, where a log does not say its frequency: 400 kHz absorb four times as much."""


class HardnessReadings(NamedTuple):
    """Soundings with hardness filled in, and the scale it is on."""

    soundings: Soundings
    calibration: Calibration


def add_hardness(
    soundings: Soundings, settings: HardnessSettings, samples: BottomSamples | None = None,
    surface_slope_deg: Floats | None = None,
) -> Soundings:
    """Fill ``hardness, hardness_sigma, hardness_low, hardness_high, hardness_notes`` and say what was read.

    See read_hardness, which also gives the scale.
    """
    return read_hardness(soundings, settings, samples, surface_slope_deg).soundings


def read_hardness(
    soundings: Soundings, settings: HardnessSettings, samples: BottomSamples | None = None,
    surface_slope_deg: Floats | None = None,
) -> HardnessReadings:
    """Hardness of usable rows: by echo levels, else by what was seen on the screen; NaN where not observed.

    Logs, and what one log holds at several gains, are put on one scale where they meet, screen notes on that of the
    levels; ``samples`` (placed) calibrate it.
    ``surface_slope_deg`` (n,): slope of a depth surface under each row. Tops of weed are no floor and say nothing.
    """
    samples, recorded = samples or BottomSamples.none(), soundings
    soundings = by_gain(recorded)
    geometry = second_echo(soundings, settings, surface_slope_deg)
    rows = soundings.usable() & np.isfinite(soundings.depth_m) & ~soundings.has(Flag.weed_top)
    heard = receivers(soundings, geometry, settings)
    levels = read_levels(soundings, geometry, heard, settings).only(rows)
    xy = np.column_stack([soundings.x_m, soundings.y_m])
    screen = read_screen(soundings, geometry, settings)
    by_gap = visible_gap(soundings, geometry), screen.elsewhere & rows, xy
    cuts = cut_points(*by_gap, samples, settings)
    screen = read_screen(soundings, geometry, cuts.on(settings)) if cuts.samples else screen
    seen = screen.reading.only(rows)
    scatter = scattering(soundings, geometry, levels, settings)
    levels, joined, spent = _join_levels(levels.only(rows), scatter, soundings, heard, settings, samples)
    common = dataclasses.replace(samples, use=samples.use & ~spent)
    both = bool(levels.observed.any() and (seen.observed & ~levels.observed).any())
    seen, offsets = _join_screens(levels, seen, xy, soundings, settings) if both else (seen, {})
    reading = levels.or_else(seen)

    def without(i: int) -> Reading:
        left = dataclasses.replace(samples, use=samples.use & (np.arange(len(samples)) != i))
        moved = cut_points(*by_gap, left, settings).on(settings)
        other = read_screen(soundings, geometry, moved).reading.only(rows)
        return levels.or_else(_join_screens(levels, other, xy, soundings, settings)[0] if both else other)

    scale_sigma = _scale_sigma(levels, soundings, heard, joined)
    calibration = calibrate(reading, xy, common, settings, scale_sigma, without if cuts.samples else None)
    reading = calibration.apply(reading) if calibration.samples else reading
    reading = reading.noted(reading.observed & bool(calibration.samples), HardnessNote.calibrated)
    differs, _ = contradicted(calibration, reading, xy, samples, settings)
    reading = _doubts(reading, scatter, soundings, heard, settings)
    reading = _doubt_samples(reading, xy, samples, differs, settings).within_scale()
    told = Told(levels, seen, reading, screen, heard, joined, offsets, calibration, samples, differs, cuts)
    filled = recorded.with_columns(
        hardness=reading.value, hardness_sigma=reading.sigma, hardness_low=reading.low, hardness_high=reading.high,
        hardness_notes=reading.notes,
    ).with_messages(*messages_of(told, soundings, settings))
    return HardnessReadings(filled, calibration)


def _join_levels(
    levels: Reading, scatter: Mask, soundings: Soundings, heard: tuple[Receiver, ...], settings: HardnessSettings,
    samples: BottomSamples,
) -> tuple[Reading, Joined | None, Mask]:
    """Levels on one scale, how they came there, and which samples (k,) were spent on logs that meet no other."""
    used = np.unique(soundings.log[levels.observed])
    if len(used) < 2:
        return levels, None, np.zeros(len(samples), dtype=bool)
    trust = _trust(soundings, heard, settings)
    clear = levels.only(~scatter)
    xy = np.column_stack([soundings.x_m, soundings.y_m])
    instrument = np.where(levels.observed, soundings.log, -1).astype(np.int64)
    places = shared_places(clear, instrument, xy, soundings.depth_m, settings.join_m)
    joined, spent = told_by_samples(
        join(places, trust, settings.join_places), trust, clear, instrument, xy, samples, settings)
    a, b, c, error = (column[soundings.log] for column in (joined.offset, joined.scale, joined.trend, joined.error))
    depth = np.nan_to_num(soundings.depth_m)
    moved = levels.moved(a + c * depth, b, error)
    return moved.noted(levels.observed & (joined.places[soundings.log] > 0), HardnessNote.joined), joined, spent


def _trust(soundings: Soundings, heard: tuple[Receiver, ...], settings: HardnessSettings) -> Trust:
    offset = np.array([OFFSET_DB[one.origin] / SPAN_DB for one in heard])
    alpha = absorption_db_per_m(
        np.array([facts.frequency_khz or settings.frequency_khz for facts in soundings.logs]), settings.water_c,
        settings.salinity)
    share = np.array([settings.absorption_sigma_share if facts.frequency_khz else OTHER_FREQUENCY
                      for facts in soundings.logs])
    return Trust(offset, np.full(len(heard), SCALE_SIGMA), np.maximum(2.0 * alpha * share / SPAN_DB, 1e-6))


def _scale_sigma(
    levels: Reading, soundings: Soundings, heard: tuple[Receiver, ...], joined: Joined | None
) -> float:
    """How far the scale as it stands may be off: that of the best known log, less where days that meet check it.

    Surface and gain are those of a day: joined days, each held by how far it may be off, average; logs of one day, and
    all without a date, count as one. Notes off a screen know their scale least.
    """
    used = np.unique(soundings.log[levels.observed]).tolist()
    best = min((OFFSET_DB[heard[code].origin] for code in used), default=OFFSET_DB["assumed"])
    if joined is None:
        return best / SPAN_DB
    of_day: dict[str, float] = {}
    for code in used:
        if joined.places[code]:
            day = str(soundings.time_utc[int(np.argmax(soundings.log == code))].astype("datetime64[D]"))
            of_day[day] = min(of_day.get(day, np.inf), OFFSET_DB[heard[code].origin])
    together = float(np.sum([sigma**-2.0 for sigma in of_day.values()])) ** -0.5 if of_day else np.inf
    return min(best, together) / SPAN_DB


def _join_screens(
    levels: Reading, seen: Reading, xy: Floats, soundings: Soundings, settings: HardnessSettings
) -> tuple[Reading, dict[str, Offset]]:
    """Each log's notes moved onto the levels' scale where they meet; notes of one log are one pair of eyes."""
    offset, error, found = np.zeros(len(xy)), np.zeros(len(xy)), {}
    for code, facts in enumerate(soundings.logs):
        rows = (soundings.log == code) & seen.observed & ~levels.observed
        if rows.any():
            one = find_offset(levels, seen.only(soundings.log == code), xy, settings)
            offset[rows], error[rows], found[facts.name] = one.offset, one.sigma, one
    return seen.moved(-offset, np.ones(len(xy)), error), found


def _doubts(
    reading: Reading, scatter: Mask, soundings: Soundings, heard: tuple[Receiver, ...], settings: HardnessSettings
) -> Reading:
    """What boulders, layers and gas make uncertain becomes anything between the two things it may be."""
    low, high = class_limits(settings)
    xy = np.column_stack([soundings.x_m, soundings.y_m])
    instrument = np.where(reading.observed & ~scatter, soundings.log, -1).astype(np.int64)
    clear = reading.only(~scatter)
    khz = np.array([facts.frequency_khz or np.nan for facts in soundings.logs] or [np.nan])
    layers, other = np.zeros(len(xy), dtype=bool), np.full(len(xy), np.nan)
    if len(np.unique(khz[np.isfinite(khz)])) > 1:
        layers, other = layered(clear, khz, settings.join_m, xy, instrument)
        layers, other = grown(layers, other, reading.value, xy, instrument)
    gas = gassy(clear, xy, soundings.depth_m, settings) & ~layers
    reading = reading.noted(scatter, HardnessNote.scatter).doubted(scatter, (high + 1.0) / 2.0)
    reading = reading.noted(layers, HardnessNote.layered).doubted(layers, other)
    return reading.noted(gas, HardnessNote.gas).doubted(gas, low / 2.0)


def _doubt_samples(
    reading: Reading, xy: Floats, samples: BottomSamples, differs: Mask, settings: HardnessSettings
) -> Reading:
    """Readings beside a sample that says the opposite: one of the two is wrong, and nobody knows which."""
    for i in np.flatnonzero(differs):
        near = np.hypot(xy[:, 0] - samples.x_m[i], xy[:, 1] - samples.y_m[i]) <= settings.join_m
        said, _ = hardness_of_doubtful_grain(samples.phi[i], samples.phi_sigma[i])
        reading = reading.noted(near & reading.observed, HardnessNote.sample_differs).doubted(near, said)
    return reading
