"""Everything that the invented boat and its owner left behind, as files: name and content."""

from __future__ import annotations

import json
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from lakemap.demo.lake import DEMO_NAME, DemoLake, demo_lake
from lakemap.demo.marks import Mark, make_marks
from lakemap.demo.nmea_text import Wiring, nmea_log
from lakemap.demo.outline import charted_outline
from lakemap.demo.recording import DAY_1, DAY_2, DAY_3, DAY_4, DAY_5, DAY_6, DAY_7, DAYS, Recording, record
from lakemap.demo.screen import display_range_m, read_screen
from lakemap.demo.sounder import Sounder
from lakemap.geo.crs import unproject
from lakemap.units import M_PER_FT

Floats = NDArray[np.float64]

MARKS_FILE, SHORE_FILE, BOAT_FILE = "harrow_marks.gpx", "harrow_shoreline.geojson", "harrow_boat.toml"

DEMO_SETTINGS = {
    "clean.draft_m": Sounder.draft_m, "clean.nominal_sound_speed_mps": Sounder.nominal_mps, "clean.water": "fresh",
    "hardness.gain_law": "none",
}
"""What the invented owner knows of the boat and says on the command line."""

WIRING = {
    DAY_1: Wiring(), DAY_2: Wiring("GN", "II", "GGA", "DPT"), DAY_3: Wiring("II", "II", "RMC", "DBT"),
    DAY_4: Wiring("GP", "SD", "RMC", "DPT"), DAY_7: Wiring("GP", "II", "RMC", "DPT"),
}
RANGES_M = (5.0, 10.0, 15.0, 20.0, 30.0, 40.0)
RANGES_FT = (10.0, 15.0, 20.0, 30.0, 40.0, 60.0, 80.0, 120.0)
"""Display ranges that the sounder offers, in its unit of that day."""


def demo_files(seed: int = 1) -> dict[str, bytes]:
    """Logs, tables, marks, shoreline and boat by file name; the same bytes for the same seed. One lake."""
    lake, sounder = demo_lake(), Sounder()
    files: dict[str, bytes] = {}
    for number, (day, wiring) in enumerate(WIRING.items()):
        taken = record(lake, day, seed, sounder)
        files[day.file] = nmea_log(taken, _degrees(lake, taken.fix_xy), wiring, sounder, 10 * seed + number)
    files[DAY_5.file] = _echo_levels(lake, record(lake, DAY_5, seed, sounder), sounder)
    files[DAY_6.file] = _screen_notes(lake, record(lake, DAY_6, seed, sounder), sounder, seed)
    files[MARKS_FILE] = _gpx(lake, make_marks(lake, seed))
    files[SHORE_FILE] = _geojson(lake)
    files[BOAT_FILE] = _boat(sounder)
    return files


def demo_recordings(seed: int = 1) -> dict[str, Recording]:
    """What lies behind the logs and tables of demo_files, true values included, by file name; for tests."""
    return {day.file: record(demo_lake(), day, seed) for day in DAYS}


def _boat(sounder: Sounder) -> bytes:
    """What the invented owner read on the transducer: its beam, so that banks can be put right."""
    return (f'[[sounder]]\nname = "bow"\ndraft_m = {sounder.draft_m:g}\nbeam_deg = {sounder.beam_deg:g}\n').encode()


def _degrees(lake: DemoLake, xy: Floats) -> Floats:
    return np.column_stack(unproject(lake.crs, xy[:, 0], xy[:, 1]))


def _where_and_when(lake: DemoLake, taken: Recording) -> list[list[str]]:
    """Columns time, lat, lon of a table: places between the fixes around each depth."""
    x, y = (np.interp(taken.time_s, taken.fix_time_s, taken.fix_xy[:, k]) for k in (0, 1))
    lonlat = _degrees(lake, np.column_stack([x, y]))
    stamps = np.datetime_as_string((taken.time_s * 10).round().astype(np.int64).astype("datetime64[100ms]"), unit="ms")
    return [[f"{stamp[:-2]}Z" for stamp in stamps.tolist()], _column(lonlat[:, 1], 7), _column(lonlat[:, 0], 7)]


def _column(values: Floats, decimals: int) -> list[str]:
    return ["" if value != value else f"{value:.{decimals}f}" for value in values.tolist()]


def _table(header: tuple[str, ...], columns: list[list[str]]) -> bytes:
    rows = [",".join(header), *(",".join(row) for row in zip(*columns, strict=True))]
    return ("\n".join(rows) + "\n").encode("ascii")


def _echo_levels(lake: DemoLake, taken: Recording, sounder: Sounder) -> bytes:
    """A table in metres below the surface with both echo levels in dB."""
    depth = taken.shown_m + sounder.draft_m
    screen = np.where(np.isfinite(depth), display_range_m(np.nan_to_num(depth), RANGES_M, 2.4), np.nan)
    header = ("time", "lat", "lon", "depth_m", "first_echo_db", "second_echo_db", "display_range_m", "water_temp_c")
    warm = np.full(len(depth), sounder.water_c)
    return _table(header, [
        *_where_and_when(lake, taken), _column(depth, 2), _column(taken.first_db, 1), _column(taken.second_db, 1),
        _column(screen, 0), _column(warm, 1),
    ])


def _screen_notes(lake: DemoLake, taken: Recording, sounder: Sounder, seed: int) -> bytes:
    """A table in feet below the surface with what the screen showed of the second bottom.

    In the second half of the day the screen is set so close that most second bottoms fall off its end.
    """
    rng = np.random.default_rng([seed, 66])
    below = np.where(taken.shown_m > 0, taken.shown_m, np.nan)
    late = np.arange(len(below)) > 0.6 * len(below)
    feet = np.nan_to_num((below + sounder.draft_m) / M_PER_FT)
    screen_ft = np.where(late, display_range_m(feet, RANGES_FT, 1.2), display_range_m(feet, RANGES_FT, 2.3))
    notes = read_screen(
        below, (taken.first_db, taken.second_db), screen_ft * M_PER_FT - sounder.draft_m, sounder, rng
    )
    known = np.isfinite(below)
    header = ("time", "lat", "lon", "depth_ft", "first_echo_end_ft", "second_bottom_ft", "second_seen",
              "display_range_ft")
    places = (below, notes.first_end_m, notes.second_m)
    lengths = [_column((place + sounder.draft_m) / M_PER_FT, 1) for place in places]
    seen = [word if sure else "" for word, sure in zip(notes.seen, known.tolist(), strict=True)]
    screen = _column(np.where(known, screen_ft, np.nan), 0)
    return _table(header, [*_where_and_when(lake, taken), *lengths, seen, screen])


def _gpx(lake: DemoLake, marks: list[Mark]) -> bytes:
    lonlat = _degrees(lake, np.array([[mark.x_m, mark.y_m] for mark in marks]))
    points = "".join(
        f'  <wpt lat="{lat:.6f}" lon="{lon:.6f}">\n    <time>{mark.time}</time>\n    <name>{mark.name}</name>\n'
        + (f"    <desc>{escape(mark.note)}</desc>\n" if mark.note else "")
        + f"    <type>{mark.kind}</type>\n  </wpt>\n"
        for mark, (lon, lat) in zip(marks, lonlat.tolist(), strict=True)
    )
    head = ('<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="Harrow plotter" '
            'xmlns="http://www.topografix.com/GPX/1/1">\n')
    return f"{head}{points}</gpx>\n".encode()


def _geojson(lake: DemoLake) -> bytes:
    """The shoreline as traced from above: one polygon, the island a hole."""
    traced = charted_outline(lake.shoreline, np.random.default_rng([1, 88]))
    rings = []
    for ring in (traced.exterior, *traced.interiors):
        lonlat = _degrees(lake, np.asarray(ring.coords)).round(6).tolist()
        rings.append([*lonlat[:-1], lonlat[0]])
    feature = {"type": "Feature", "properties": {"name": DEMO_NAME, "note": "invented"},
               "geometry": {"type": "Polygon", "coordinates": rings}}
    return (json.dumps({"type": "FeatureCollection", "features": [feature]}) + "\n").encode("ascii")
