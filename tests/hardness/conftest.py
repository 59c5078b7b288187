"""Rows of readings over floors of known make."""

from __future__ import annotations

import numpy as np
import pytest

from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings
from lakemap.physics.absorption import absorption_db_per_m
from lakemap.physics.reflection import two_echo_levels_db


@pytest.fixture
def rows():
    "Builds cleaned soundings from depths below the surface; one log, any facts, any columns."

    def build(depth_m, facts=None, **columns):
        depth = np.atleast_1d(np.asarray(depth_m, dtype=float))
        facts = facts or LogFacts("log.csv", gain_law="none")
        reference = 0.0 if facts.depth_reference == "surface" else facts.draft_m or 0.0
        given = {
            "row": np.arange(len(depth)) + 1, "x_m": 10.0 * np.arange(len(depth)), "y_m": np.zeros(len(depth)),
            "depth_m": depth, "logged_depth_m": depth - reference, "draft_m": facts.draft_m or 0.0,
        }
        spread = {name: np.broadcast_to(value, depth.shape) for name, value in {**given, **columns}.items()}
        return Soundings.build(len(depth), logs=[facts], **spread)

    return build


@pytest.fixture
def echoes(rows):
    "Builds soundings whose echo levels come from the simulating law of physics."

    def build(depth_m, reflection, facts=None, source_db=0.0, noise_db=0.0, water_c=15.0, **columns):
        facts = facts or LogFacts("log.csv", gain_law="none")
        depth = np.atleast_1d(np.asarray(depth_m, dtype=float))
        alpha = absorption_db_per_m(facts.frequency_khz or 200.0, water_c)
        below = depth - (facts.draft_m or 0.0)
        first, second = two_echo_levels_db(below, reflection, alpha, gain_law=facts.gain_law or "none")
        noise = noise_db * np.random.default_rng(7).standard_normal((2, len(depth)))
        return rows(
            depth, facts, first_echo_db=first + source_db + noise[0], second_echo_db=second + source_db + noise[1],
            water_c=water_c, **columns,
        )

    return build
