"""Where the second echo must show, by the draft that a row had and the correction that it got."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from pyproj import CRS

from lakemap.clean import CleanSettings, clean
from lakemap.hardness import HardnessSettings, add_hardness
from lakemap.hardness.second_echo import second_echo
from lakemap.model.boat import Boat, Sounder
from lakemap.model.lake_facts import LakeFacts
from lakemap.model.log_facts import DraftSpan, LogFacts
from lakemap.model.soundings import Soundings
from lakemap.physics.absorption import absorption_db_per_m
from lakemap.physics.reflection import bottom_loss_db, hardness_index, two_echo_levels_db

BELOW_M, USUAL_M, LOWERED_M, REFLECTION = 8.0, 0.4, 1.6, 0.3
PLAIN = HardnessSettings(wind_mps=0.0)
NOON_S = 1.75e9


def sailed_twice(reference="transducer", included=None):
    """Twenty pings 8 m below a transducer that hangs 0.4 m deep, then twenty where it hangs 1.6 m deep, at 800 kHz,
    whose absorption tells a wrong range."""
    n = 40
    facts = LogFacts("a.csv", depth_reference=reference, gain_law="none", frequency_khz=800.0, beam_deg=20.0,
                     included_draft_m=included, origins={"depth_reference": "file"})
    first, second = two_echo_levels_db(BELOW_M, REFLECTION, absorption_db_per_m(800.0, 15.0))
    shown = BELOW_M + (included or 0.0)
    built = Soundings.build(
        n, [facts], time_s=NOON_S + 4.0 * np.arange(n), x_m=8.0 * np.arange(n), y_m=np.zeros(n), lon_deg=np.zeros(n),
        lat_deg=np.zeros(n), row=np.arange(n) + 1, logged_depth_m=np.full(n, shown), first_echo_db=np.full(n, first),
        second_echo_db=np.full(n, second), display_range_m=np.full(n, 17.0), water_c=np.full(n, 15.0),
    )
    return dataclasses.replace(built, crs=CRS.from_epsg(32633))


LOWERED = np.arange(40) >= 20
SOUNDER = Sounder(draft_m=USUAL_M, drafts=(DraftSpan(NOON_S + 78.0, NOON_S + 200.0, LOWERED_M),))
OF_BOAT = LakeFacts(boats=(Boat("boat.toml", (SOUNDER,)),))


@pytest.mark.parametrize("off", [(), ("draft",)])
@pytest.mark.parametrize(("reference", "included"), [("transducer", None), ("surface", 0.25)])
def test_range_below_the_transducer_follows_the_draft_that_was_put_in(reference, included, off):
    "By the boat, for a span of time, by the sounder itself, or switched off: depth less what was added is the range."
    cleaned = clean(sailed_twice(reference, included), CleanSettings(off=off), OF_BOAT)
    assert second_echo(cleaned, PLAIN).below_m == pytest.approx(np.full(40, BELOW_M), abs=1e-6)


@pytest.mark.parametrize("off", [(), ("draft",)])
def test_hardness_is_the_same_with_the_draft_corrected_or_not(off):
    "The floor put in comes out, before and after the transducer was lowered."
    found = add_hardness(clean(sailed_twice(), CleanSettings(off=off), OF_BOAT), PLAIN)
    assert found.hardness == pytest.approx(float(hardness_index(bottom_loss_db(REFLECTION))), abs=1e-4)


@pytest.mark.parametrize("off", [(), ("draft",)])
def test_the_bounced_echo_stands_at_twice_the_depth_and_the_draft_of_its_time(off):
    "16.4 m, and 17.6 m where the transducer hung lower: a screen of 17 m shows the first of them alone."
    cleaned = clean(sailed_twice(), CleanSettings(off=off), OF_BOAT)
    geometry = second_echo(cleaned, PLAIN)
    assert geometry.place_m == pytest.approx(2 * BELOW_M + np.where(LOWERED, LOWERED_M, USUAL_M))
    assert np.array_equal(geometry.could_show, ~LOWERED)


def test_a_draft_nobody_told_leaves_the_place_unsure():
    "Only within the span is it known: there the place is sharp, else 0.3 m wider."
    some = LakeFacts(boats=(Boat("boat.toml", (dataclasses.replace(SOUNDER, draft_m=None),)),))
    wide = second_echo(clean(sailed_twice(), CleanSettings(), some), PLAIN).tolerance_m
    known = second_echo(clean(sailed_twice(), CleanSettings(), OF_BOAT), PLAIN).tolerance_m
    assert wide[LOWERED] == pytest.approx(known[LOWERED])
    assert wide[~LOWERED] == pytest.approx(np.maximum(known[~LOWERED] - 0.03 * USUAL_M, 0.0) + 0.3, abs=1e-6)
