"""A hundred invented lakes with everything wrong at once: depths 0.8 s late, a draft wrong by 0.2 m that check depths
settle, two passes off by 0.3 m, a lake 0.6 m higher on the second day, a 1500 m/s sounder in water of 10 degC. What was
given is measured on the same lakes without the rest; drafts once more with checks anywhere, and wrong by more and less.
Run: python tests/bench/bench_corrected.py [lakes]
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from corrected_lake import NOMINAL_MPS, RISE_M, WATER_C, boat
from late_lake import floor_m, late_lake
from sailed import CORNER_M, UTM_33

from lakemap.clean import CleanSettings, check_depths, clean, placing
from lakemap.geo.agreement import agreement_of, bias_difference
from lakemap.geo.crossovers import find_crossovers
from lakemap.geo.crs import unproject
from lakemap.geo.pass_bias import solve_pass_bias
from lakemap.model.lake_facts import CheckDepths, LakeFacts, LakeLevels
from lakemap.model.soundings import PassBias
from lakemap.physics.sound_speed import fresh_water_sound_speed

LATE_S, GIVEN_DRAFT_M, DRAFT_M, WRONG_M, LINE_M, CHECKS = 0.8, 0.4, 0.6, (0.3, -0.3), 0.05, 10
SIZE_M = 400.0
FIRST = 100
"Beliefs about drafts were chosen on seeds 0 to 59, so these are others."
LAYOUTS = (("near lines", 40.0), ("anywhere", 40.0), ("anywhere", 80.0))
OFF_M = (0.0, 0.05, 0.1, 0.2, 0.35, 0.6)
SETTINGS = CleanSettings(water_c=WATER_C)
DAY_S, BEGAN_S = 86_400.0, float(np.datetime64("2025-06-01T08:00", "s").astype(np.int64))


def logged(lake, draft_m):
    "The lake's readings as such a sounder shows them, the lake standing RISE_M higher on the second day."
    soundings = lake.soundings
    below = soundings.logged_depth_m + RISE_M * soundings.log - draft_m
    told = tuple(replace(facts, depth_reference="transducer") for facts in soundings.logs)
    shown = below * NOMINAL_MPS / float(fresh_water_sound_speed(WATER_C))
    return replace(soundings.with_columns(logged_depth_m=shown, time_s=soundings.time_s + BEGAN_S), logs=told)


def known(checks=None, **more):
    "Gauge and boat; the boat's draft is what the owner believes."
    days = BEGAN_S + DAY_S * np.array([-0.3, 0.3, 0.9, 1.5])
    levels = LakeLevels(days, RISE_M * np.array([0.0, 0.0, 1.0, 1.0]), False, "gauge.csv", None)
    facts = {"boats": (boat(draft_m=GIVEN_DRAFT_M, **more),), "levels": (levels,)}
    return LakeFacts(**facts) if checks is None else LakeFacts(checks=checks, **facts)


def phases_of(seed):
    "Those that late_lake draws first."
    return np.random.default_rng(seed).uniform(0, 2 * np.pi, 6)


def by_line(seed, where="near lines"):
    "Depths by weighted line on the first day, anywhere or some 3 m off lines 40 m apart; the receiver errs by 1 m."
    rng = np.random.default_rng(seed + 10_000)
    x, y = rng.uniform(0.05, 0.95, (2, CHECKS)) * SIZE_M
    if where == "near lines":
        x = 20.0 + 40.0 * np.clip(np.round((x - 20.0) / 40.0), 0, 9) + rng.normal(0, 3, CHECKS)
    depth = floor_m(x, y, phases_of(seed)) + rng.normal(0, LINE_M, CHECKS)
    lon, lat = unproject(UTM_33, x + CORNER_M[0] + rng.normal(0, 1, CHECKS), y + CORNER_M[1] + rng.normal(0, 1, CHECKS))
    return CheckDepths(lon, lat, depth, np.full(CHECKS, LINE_M), np.full(CHECKS, BEGAN_S),
                       np.arange(2, CHECKS + 2), ("check.csv",) * CHECKS)


def given_error_m(seed):
    "Largest error of a depth where all that is wrong was given; no noise, and late by nothing."
    lake = late_lake(seed, (0.0, 0.0), wrong=(), fix_m=0.0, noise_m=0.0, size_m=200.0)
    cleaned = clean(logged(lake, GIVEN_DRAFT_M), SETTINGS, known(latency_s=0.0))
    truth = floor_m(cleaned.x_m - CORNER_M[0], cleaned.y_m - CORNER_M[1], phases_of(seed))
    return float(np.abs(cleaned.depth_m - truth)[cleaned.usable()].max())


class Heard:
    "What latency and check depths came to, which clean tells in words only."

    def __init__(self):
        decide, fit = placing.decide, check_depths.fit_groups
        placing.decide = lambda s, late, *more: (setattr(self, "late", late), decide(s, late, *more))[1]
        check_depths.fit_groups = lambda *told: (setattr(self, "fit", fit(*told)), self.fit)[1]


def one_lake(seed, heard):
    "Errors in their own sigmas: latency (2,), draft, the two wrong passes (2,), all others; medians of crossovers."
    lake = late_lake(seed, (LATE_S, LATE_S), wrong=WRONG_M)
    soundings = logged(lake, DRAFT_M)
    cleaned = clean(soundings, SETTINGS, known(by_line(seed)))
    late = (heard.late.latency_s - lake.latency_s) / heard.late.sigma_s
    off, fit = heard.fit.found[0], heard.fit.sigma[0]
    draft = (off[0] - (DRAFT_M - GIVEN_DRAFT_M)) / fit[0]
    crossed = find_crossovers(cleaned)
    solved = solve_pass_bias(crossed)
    truth = np.array([np.median(lake.bias_m[lake.leg[cleaned.pass_id == number]]) for number in solved.pass_id])
    bias = (solved.bias_m - truth) / solved.sigma_m
    told = agreement_of(cleaned, crossed, solved)
    raw = find_crossovers(clean(soundings, CleanSettings(off=("latency", "lake level", "check depths")), known()))
    best = clean(soundings, SETTINGS, known(by_line(seed), latency_s=LATE_S))
    met = find_crossovers(best)
    right = PassBias(np.unique(best.pass_id), np.array(
        [np.median(lake.bias_m[lake.leg[best.pass_id == number]]) for number in np.unique(best.pass_id)]),
        np.zeros(len(np.unique(best.pass_id))))
    left = float(np.median(np.abs(met.difference_m - bias_difference(met, right))))
    wrong, medians = np.abs(truth) > 0.2, (raw.median_abs_m, told.median_before_m, told.median_after_m, left)
    return late, draft, bias[wrong], bias[~wrong], medians, (off[0], fit[0])


def drafts_found(seeds, where, apart_m, heard):
    "For each of OFF_M, how a draft wrong by so much is found: within 2 sigma, error [m], sigma [m]; (6, lakes, 3)."
    found = np.empty((len(OFF_M), len(seeds), 3))
    for k, seed in enumerate(seeds):
        lake = late_lake(seed, (LATE_S, LATE_S), wrong=WRONG_M, apart_m=apart_m)
        for row, off_m in enumerate(OFF_M):
            clean(logged(lake, GIVEN_DRAFT_M + off_m), SETTINGS, known(by_line(seed, where)))
            error, sigma = heard.fit.found[0, 0] - off_m, heard.fit.sigma[0, 0]
            found[row, k] = abs(error) <= 2 * sigma, error, sigma
    return found


def tell_drafts(seeds, heard):
    for where, apart_m in LAYOUTS:
        found = drafts_found(seeds, where, apart_m, heard)
        print(f"drafts, checks {where}, lines {apart_m:.0f} m apart: {found[..., 0].mean():.1%} within 2 sigma")
        for off_m, (inside, error, sigma) in zip(OFF_M, np.moveaxis(found, 2, 1), strict=True):
            print(f"  {off_m:.2f} m: {inside.mean():.0%}, found {off_m + error.mean():.3f} m, root mean square error "
                  f"{np.sqrt(np.mean(error**2)):.3f} m, its sigma {sigma.mean():.3f} m")


def main(lakes):
    seeds = range(FIRST, FIRST + lakes)
    print(f"given ones: largest error of a depth {max(map(given_error_m, seeds[:20])):.4f} m (20 lakes)")
    heard = Heard()
    late, draft, wrong, others, medians, offs = zip(*(one_lake(seed, heard) for seed in seeds), strict=True)
    for name, values in (("latency, each log", late), ("draft", [[one] for one in draft]),
                         ("the two wrong passes", wrong), ("all other passes", others)):
        flat = np.concatenate(values)
        print(f"{name}: {np.mean(np.abs(flat) <= 2):.1%} of {len(flat)} within 2 sigma, root mean square "
              f"{np.sqrt(np.mean(flat**2)):.2f} sigma, mean {flat.mean():+.2f} sigma; all of a lake within in "
              f"{sum(bool(np.all(np.abs(one) <= 2)) for one in values)} of {lakes} lakes")
    print(f"draft moved by {np.mean(offs, axis=0)[0]:.3f} m on average (true {DRAFT_M - GIVEN_DRAFT_M:.1f}), its sigma "
          f"{np.mean(offs, axis=0)[1]:.3f} m")
    raw, before, after, best = np.mean(medians, axis=0)
    print(f"crossovers: median {raw:.3f} m as logged, {before:.3f} m corrected, {after:.3f} m without pass bias; "
          f"{best:.3f} m with latency and biases as they truly are, which is the noise put in")
    tell_drafts(seeds, heard)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
