"""One lake written down in other units is one lake: corrected depths do not depend on the units of the files."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from pond import LAT, LON, M_PER_DEG, nmea

from lakemap.pipeline import check_lake
from lakemap.project import Lake

M_PER_UNIT = {"m": 1.0, "ft": 0.3048, "fathom": 1.8288}
"International foot and fathom, exact (BIPM, The International System of Units, 9th ed., and the 1959 agreement)."
FULL_POOL_M = 215.0


def degrees(u, v):
    "Latitude and longitude of a place in 0..1 across a pond of 300 by 200 m."
    return LAT + 200 * v / M_PER_DEG, LON + 300 * u / M_PER_DEG / 0.6845


def rows(shown_m):
    "Time, place and shown depth of two days: three lines east, three lines north."
    for day, swap in enumerate((False, True)):
        for i, across in enumerate((0.1, 0.5, 0.9)):
            for j, along in enumerate(np.linspace(0, 1, 25)):
                u, v = (across, along) if swap else (along, across)
                second = 200 * i + 5 * j
                yield (f"2025-06-{1 + day:02d}T10:{second // 60:02d}:{second % 60:02d}Z", *degrees(u, v),
                       shown_m + 3 * u + np.sin(2 * v))


def temperature(celsius, unit):
    "Degrees of the unit's country: feet go with Fahrenheit."
    return f"{celsius:.12g}" if unit == "m" else f"{celsius * 9 / 5 + 32:.12g}"


def written(place, unit, known):
    "The lake's files in one unit: log, gauge, profile, check depths, boat."
    def length(metres):
        return f"{metres / M_PER_UNIT[unit]:.12g}"

    degree = "c" if unit == "m" else "f"
    lines = [f"time,lat,lon,depth_{unit} below transducer,water_temp_{degree}"]
    lines += [f"{when},{lat:.8f},{lon:.8f},{length(depth)},{temperature(known['water_c'], unit)}"
              for when, lat, lon, depth in rows(known["shown_m"])]
    own, zero_m = ("elevation", FULL_POOL_M) if known["pool"] else ("level", 0.0)
    levels = [f"time,{own}_{unit}"] + [f"{when},{length(zero_m + part * known['rise_m'])}" for when, part in (
        ("2025-05-31T12:00Z", 0.0), ("2025-06-01T20:00Z", 0.3), ("2025-06-03T12:00Z", 1.0))]
    if known["pool"]:
        levels.insert(0, f"# full_pool_{unit}: {length(FULL_POOL_M)}")
    lat, lon = degrees(0.5, 0.5)
    files = {
        "log.csv": lines, "gauge.csv": levels,
        "checks.csv": [f"lat,lon,check_depth_{unit},sigma_{unit},time",
                       f"{lat:.8f},{lon:.8f},{length(known['shown_m'] + 2.6)},{length(0.05)},2025-06-01T12:00Z"],
        "boat.toml": ["[[sounder]]", f"draft_m = {known['draft_m']!r}",
                      "nominal_sound_speed_mps = " + ("1500" if unit == "m" else f'"{1500 / 0.3048:.9f} ft/s"')],
    }
    if known["cast"]:
        files["temps.csv"] = [f"depth_{unit},temperature_{degree}"] + [
            f"{length(depth)},{temperature(celsius, unit)}"
            for depth, celsius in ((0.0, known["water_c"]), (4.0, known["water_c"] - 1.0), (9.0, 4.5))]
    for name, text in files.items():
        (place / name).write_text("\n".join(text) + "\n")


def corrected(write):
    "Readings of a folder that ``write`` fills."
    with tempfile.TemporaryDirectory() as place:
        write(Path(place))
        return check_lake(Lake.from_files([place])).soundings


KNOWN = st.fixed_dictionaries({
    "shown_m": st.floats(2.0, 30.0), "draft_m": st.floats(0.1, 1.5), "water_c": st.floats(6.0, 20.0),
    "rise_m": st.floats(0.1, 1.5), "pool": st.booleans(), "cast": st.booleans(),
})


@settings(max_examples=8, deadline=None, phases=(Phase.explicit, Phase.reuse, Phase.generate))
@given(known=KNOWN, unit=st.sampled_from(["ft", "fathom"]))
def test_corrections_commute_with_the_units_of_the_files(known, unit):
    "Feet or fathoms, degF, ft/s and a full pool in feet, or metres, degC and m/s: the same depths, levels and errors."
    one = corrected(lambda place: written(place, "m", known))
    other = corrected(lambda place: written(place, unit, known))
    assert one.usable().all() and other.usable().all()
    assert_allclose(other.depth_m, one.depth_m, rtol=0, atol=2e-5)
    assert_allclose(other.level_m, one.level_m, rtol=0, atol=1e-6)
    assert_allclose(other.common_offset_m, one.common_offset_m, atol=2e-5)
    assert_allclose(other.common_scale, one.common_scale, atol=2e-6)
    assert [part.name for part in other.corrections] == [part.name for part in one.corrections]
    assert {"sound speed", "lake level", "check depths"} <= {part.name for part in one.corrections}
    assert not np.allclose(one.depth_m, one.logged_depth_m, atol=0.003)


def sentences(place, field, known):
    "The same rows as a log of sentences whose depth stands in one of three fields: feet, metres, fathoms."
    text = ""
    for when, lat, lon, depth in rows(known["shown_m"]):
        clock, date = when[11:19].replace(":", ""), f"{when[8:10]}{when[5:7]}{when[2:4]}"
        north, west = abs(lat), abs(lon)
        text += nmea(f"GPRMC,{clock},A,{int(north):02d}{north % 1 * 60:010.7f},N,"
                     f"{int(west):03d}{west % 1 * 60:010.7f},W,4.0,000.0,{date},,")
        told = {unit: f"{depth / M_PER_UNIT[unit]:.10f}" if unit == field else "" for unit in M_PER_UNIT}
        text += nmea(f"SDDBT,{told['ft']},f,{told['m']},M,{told['fathom']},F")
    (place / "log.nmea").write_text(text)
    (place / "boat.toml").write_text(f"[[sounder]]\ndraft_m = {known['draft_m']!r}\nnominal_sound_speed_mps = 1500\n")
    (place / "lake.toml").write_text(f"[clean]\nwater_c = {known['water_c']!r}\n")


@settings(max_examples=4, deadline=None, phases=(Phase.explicit, Phase.reuse, Phase.generate))
@given(known=KNOWN, unit=st.sampled_from(["ft", "fathom"]))
def test_corrections_commute_with_the_field_of_a_sentence(known, unit):
    "DBT carries feet, metres and fathoms; whichever is filled in, corrected depths are the same."
    one, other = (corrected(lambda place, field=field: sentences(place, field, known)) for field in ("m", unit))
    assert_allclose(other.depth_m, one.depth_m, rtol=0, atol=1e-6)
    assert "sound speed" in [part.name for part in one.corrections]
