"""What the passes over a spot read, as the page carries it."""

import dataclasses

import numpy as np
import pytest
from drawn_lake import bare, frame_at, surface

from lakemap.geo.crs import unproject
from lakemap.model.flags import Flag
from lakemap.model.hits import Hits
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings
from lakemap.model.spots import Spots
from lakemap.publish.html_map.sections import sections

DAY = np.datetime64("2024-05-18T06:00", "ms")


def lake(passes, spot=(0.0, 0.0), hits_of=(), gap=False):
    "A lake with one spot and straight passes: offset to the north and height [m] of what stands at the middle of each."
    frame = frame_at((40, 40), 5.0)
    west, south, east, north = frame.bounds
    x0, y0 = (west + east) / 2, (south + north) / 2
    along = np.arange(-60.0, 60.5, 1.0)
    if gap:
        along = along[(along < 5) | (along > 15)]
    x = np.concatenate([x0 + along for _ in passes])
    y = np.concatenate([np.full(len(along), y0 + off) for off, _ in passes])
    depth = np.concatenate([8.0 + 0.02 * along - high * (np.abs(along) <= 2) for _, high in passes])
    number = np.repeat(np.arange(len(passes)), len(along))
    up = np.concatenate([(np.abs(along) <= 2) & (high > 0) for _, high in passes])
    lon, lat = unproject(frame.crs, x, y)
    built = Soundings.build(
        len(x), logs=(LogFacts(name="may.nmea", depth_unit="m", rows_in=len(x)),), x_m=x, y_m=y, lon_deg=lon,
        lat_deg=lat, pass_id=number, time_utc=DAY + (np.arange(len(x)) * 1000).astype("timedelta64[ms]"),
        time_s=np.arange(len(x)), depth_m=depth,
    )
    soundings = dataclasses.replace(built, crs=frame.crs).with_flag(Flag.rise, up)
    one = np.ones(len(hits_of))
    hits = Hits.empty() if not len(hits_of) else Hits(
        kind=np.full(len(one), "cover"), origin=np.ones(len(one), np.int8), x_m=x0 * one, y_m=y0 * one,
        position_sigma_m=one, depth_m=8 * one, height_m=one, confidence=one, pings=np.full(len(one), 5, np.int32),
        pass_id=np.asarray(hits_of, np.int32), time_s=one, time_utc=np.full(len(one), DAY),
        note=np.full(len(one), "", "U1"),
    )
    lon, lat = unproject(frame.crs, np.array([x0 + spot[0]]), np.array([y0 + spot[1]]))
    base = Spots.empty()
    columns = {spec.name: np.ones(1) for spec in dataclasses.fields(base)}
    columns |= {"name": ("a",), "kind": ("cover",), "hits": (np.arange(len(hits_of)),), "reasons": ((),),
                "x_m": np.array([x0 + spot[0]]), "y_m": np.array([y0 + spot[1]]), "lon_deg": lon, "lat_deg": lat,
                "last_seen": np.array([DAY]), "score_parts": {}}
    depths = surface(frame, "depth_m", "m", np.full((40, 40), 8.0), np.full((40, 40), 0.2))
    return bare(depths, soundings=soundings, hits=hits, spots=Spots(**columns))


def unpacked(steps, scale):
    "Whole steps back to metres."
    return np.cumsum(steps) / scale


def test_a_pass_over_a_thing_is_drawn_with_what_stood_up():
    "Depth along the pass to the slack, the stretch that stood up, how near, when, and that it was this pass."
    [[one]] = sections(lake([(3.0, 1.5)], hits_of=[0]))
    along, depth = unpacked(one["along"], 10), unpacked(one["depth"], 100)
    assert along[0] == pytest.approx(-24.0, abs=1.01) and along[-1] == pytest.approx(24.0, abs=1.01)
    at = np.arange(-24, 25)
    truth = 8.0 + 0.02 * at - 1.5 * (np.abs(at) <= 2)
    assert np.abs(np.interp(at, along, depth) - truth).max() <= 0.036
    assert one["rise"] == [[-25, 25]]
    assert (one["off_m"], one["seen"], one["day"]) == (3.0, True, "2024-05-18")


def test_passes_that_showed_it_come_first_then_the_nearest():
    "Three at most; one that is too far off is none."
    [told] = sections(lake([(1.0, 0), (4.0, 0), (8.0, 1.0), (-6.0, 0), (10.5, 1.0)], hits_of=[2, 4]))
    assert [(one["seen"], one["off_m"]) for one in told] == [(True, 8.0), (False, 1.0), (False, 4.0)]


def test_no_pass_alone_shows_a_shape_of_the_floor():
    "A spot without hits was crossed: neither shown nor missed."
    [[one]] = sections(lake([(3.0, 1.5)], hits_of=[]))
    assert one["seen"] is None


def test_a_gap_is_not_bridged():
    "The line ends where no reading follows within reach."
    [[one]] = sections(lake([(0.0, 0)], gap=True))
    assert unpacked(one["along"], 10)[-1] == pytest.approx(4.0, abs=0.05)


def test_a_lake_without_readings_or_spots_has_none():
    "No pass, no picture; no spot, no list."
    poor = lake([(0.0, 1.0)])
    blank = dataclasses.replace(Soundings.build(0), crs=poor.depth.frame.crs)
    assert sections(dataclasses.replace(poor, soundings=blank)) == [[]]
    assert sections(dataclasses.replace(poor, spots=Spots.empty())) == []
