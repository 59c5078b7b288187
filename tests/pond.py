"""A pond as a folder of files: a survey of two days with everything wrong that its owner can write down."""

from __future__ import annotations

import numpy as np

LAT, LON = 46.8, -100.3
M_PER_DEG = 111_200.0
RISE_M, DRAFT_M = 0.6, 0.4
BOAT = f"[[sounder]]\nname = \"bow\"\ndraft_m = {DRAFT_M}\nnominal_sound_speed_mps = 1500\n"
GAUGE = "time,level_m\n2025-05-31T12:00Z,0\n2025-06-01T20:00Z,0\n" \
    f"2025-06-02T04:00Z,{RISE_M}\n2025-06-03T12:00Z,{RISE_M}\n"


def depth_m(u, v):
    "Depth of the datum at u, v in 0..1 across the lake."
    return 6.0 + 3.0 * u + 2.0 * np.sin(2 * v)


def survey(unit="m", scale=1.0, decimals=3, floor=depth_m):
    "Two tables, a day each: depths below the transducer of a 1500 m/s sounder in water of 10 degC."
    tables = {}
    for day, swap in enumerate((False, True)):
        lines = [f"time,lat,lon,depth_{unit} below transducer,water_temp_c"]
        for i, v in enumerate(np.linspace(0, 1, 7)):
            for j, u in enumerate(np.linspace(0, 1, 80)):
                a, b = (v, u) if swap else (u, v)
                below = (floor(a, b) + day * RISE_M - DRAFT_M) * 1500.0 / 1447.289
                second = 100 * i + j
                clock = f"{10 + second // 3600:02d}:{second // 60 % 60:02d}:{second % 60:02d}"
                lines.append(f"2025-06-{1 + day:02d}T{clock}Z,"
                             f"{LAT + 200 * b / M_PER_DEG:.7f},{LON + 300 * a / M_PER_DEG / 0.6845:.7f},"
                             f"{below * scale:.{decimals}f},10.0")
        tables[f"day{day + 1}.csv"] = "\n".join(lines) + "\n"
    return tables


def folder(tmp_path, **files):
    "A lake folder with the survey and what else is given (by name, with _ for the dot)."
    lake = tmp_path / "lake"
    lake.mkdir(exist_ok=True)
    texts = survey() | {"boat.toml": BOAT, "gauge.csv": GAUGE} | {
        name.replace("__", "."): text for name, text in files.items()}
    for name, text in texts.items():
        if text:
            (lake / name).write_text(text)
    return lake


def true_m(soundings):
    "True depths at each row, from its degrees."
    return depth_m((soundings.lon_deg - LON) * M_PER_DEG * 0.6845 / 300, (soundings.lat_deg - LAT) * M_PER_DEG / 200)


def nmea(body):
    "A sentence with its checksum."
    total = 0
    for letter in body:
        total ^= ord(letter)
    return f"${body}*{total:02X}\r\n"
