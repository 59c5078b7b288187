"""Loss at a surface that the wind has roughened."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lakemap.physics.rough_surface import SLOPE_PER_MPS, surface_loss_db


def test_a_calm_surface_loses_nothing():
    "No wind, a mirror."
    assert surface_loss_db(0.0, 20.0) == 0.0


@given(st.floats(0, 20), st.floats(0, 20), st.floats(4, 60))
def test_more_wind_never_loses_less(one, other, beam):
    "And a wider beam never loses more."
    calm, rough = surface_loss_db(np.sort([one, other]), beam)
    assert calm <= rough + 1e-12
    assert surface_loss_db(one, beam + 5.0) <= surface_loss_db(one, beam) + 1e-12


def test_the_share_that_stays_is_the_beam_over_the_slopes():
    "The closed form against facets drawn one by one and weighed by the beam both ways."
    rng = np.random.default_rng(3)
    wind, beam = 5.0, np.radians(20.0)
    slopes = np.sqrt(SLOPE_PER_MPS * wind / 2.0) * rng.standard_normal((2, 400_000))
    stays = np.mean(np.exp(-8.0 * np.log(2.0) * (slopes**2).sum(axis=0) / beam**2))
    assert surface_loss_db(wind, 20.0) == pytest.approx(-10 * np.log10(stays), abs=0.02)
