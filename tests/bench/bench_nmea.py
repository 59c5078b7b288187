"""NMEA logs: our reader beside pynmea2 on the same million sentences in one run, with the same fields read and their
values compared; then the memory for ever longer logs, made on the fly in a temporary folder.

Run: python tests/bench/bench_nmea.py [longest log in MB, 1000 unless given]
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pynmea2

sys.path.insert(0, str(Path(__file__).parents[1]))

from log_lines import sentence

from lakemap.read.nmea import NmeaReader
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

SENTENCES = 1_000_000
RUNS = 3


def second(i):
    "What a boat says in one second: fix twice, depth twice, heading, now and then the water."
    clock = f"{i // 3600 % 24:02d}{i // 60 % 60:02d}{i % 60:02d}.00"
    place = f"48{7 + i % 40000 * 1e-3:07.4f},N,011{31 + i % 20000 * 1e-3:07.4f},E"
    depth = 3 + i % 100 * 0.1
    lines = [
        f"GPRMC,{clock},A,{place},004.2,084.4,{1 + i // 86400 % 28:02d}0625,,,A",
        f"GPGGA,{clock},{place},1,08,{0.8 + i % 7 * 0.1:.1f},545.4,M,46.9,M,,",
        f"SDDPT,{depth:.1f},0.4", f"SDDBT,{depth / 0.3048:.1f},f,{depth:.1f},M,,F", f"HCHDT,{i % 360}.0,T",
    ]
    return "".join(sentence(body) for body in [*lines, *(["YXMTW,18.6,C"] if i % 10 == 0 else [])])


def write(path, bytes_wanted=None):
    "A log of a million sentences, or of a size: one hour said again and again on other days."
    if bytes_wanted is None:
        path.write_text("".join(second(i) for i in range(SENTENCES * 10 // 51)), newline="")
        return
    hour = "".join(second(i) for i in range(3600)).encode()
    with path.open("wb") as file:
        while file.tell() < bytes_wanted:
            file.write(hour)


def theirs(path):
    "Position, time, date, dilution, depth, offset, heading and water by pynmea2, checksums checked."
    fixes, precisions, depths, metres, headings, water = [], [], [], [], [], []
    for line in path.open():
        message = pynmea2.parse(line, check=True)
        kind = message.sentence_type
        if kind == "RMC":
            fixes.append((message.longitude, message.latitude, message.timestamp, message.datestamp))
        elif kind == "GGA":
            fixes.append((message.longitude, message.latitude, message.timestamp, None))
            precisions.append(float(message.horizontal_dil))
        elif kind == "DPT":
            depths.append((float(message.depth), float(message.offset)))
        elif kind == "DBT":
            metres.append(float(message.depth_meters))
        elif kind == "HDT":
            headings.append(float(message.heading))
        elif kind == "MTW":
            water.append(float(message.temperature))
    return fixes, precisions, depths, metres, headings, water


def compare(rows, found):
    "Whether our rows say what pynmea2 found: depths to the bit, places half-way between its fixes, and what held."
    fixes, precisions, depths, _, headings, _ = found
    place = np.array([fix[:2] for fix in fixes[::2]])
    half = (place[:-1] + place[1:]) / 2
    near = np.hypot(*np.diff(place, axis=0).T) < 0.01
    ours = np.column_stack([rows.lon_deg, rows.lat_deg])[:-1]
    print(f"depths equal: {rows.logged_depth_m.tolist() == [d for d, _ in depths]}; offset equal: "
          f"{rows.logs[0].datum_offset_m == depths[0][1]}; places differ by at most "
          f"{np.abs(ours - half)[near].max():.1e} deg; headings equal: "
          f"{np.array_equal(rows.heading_deg[1:], np.array(headings[:-1], np.float32))}; HDOP to sigma: "
          f"{np.allclose(rows.position_sigma_m, 3.5 * np.sqrt(0.5) * np.array(precisions), rtol=1e-6)}")


def speed(folder):
    "The ratio, best of RUNS for us; theirs once."
    path = folder / "million.nmea"
    write(path)
    source = Source.of(path)
    start = time.perf_counter()
    NmeaReader().read(source, ReadSettings())
    print(f"first read, with loading (or compiling) the loops: {time.perf_counter() - start:.2f} s")
    wall, work = [], []
    for _ in range(RUNS):
        start, spent = time.perf_counter(), time.process_time()
        rows = NmeaReader().read(source, ReadSettings())
        wall.append(time.perf_counter() - start)
        work.append(time.process_time() - spent)
    start, spent = time.perf_counter(), time.process_time()
    found = theirs(path)
    their_wall, their_work = time.perf_counter() - start, time.process_time() - spent
    lines = sum(1 for _ in path.open("rb"))
    print(f"{path.stat().st_size / 1e6:.0f} MB, {lines} sentences: ours {min(wall):.3f} s, pynmea2 {their_wall:.1f} s: "
          f"{their_wall / min(wall):.0f} times (of processor time {their_work / min(work):.0f} times)")
    compare(rows, found)


def status_mb(name):
    "A line of the process's own account, such as its peak memory."
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith(name + ":"))


def memory(path):
    "In a process of its own: peak memory while reading, above what it was before, and the size of the result."
    reader, source = NmeaReader(), Source.of(path)
    small = path.with_name("small.nmea")
    small.write_text("".join(second(i) for i in range(100)), newline="")
    reader.read(Source.of(small), ReadSettings())
    Path("/proc/self/clear_refs").write_text("5")  # the peak so far is forgotten (Linux)
    before = status_mb("VmHWM")
    start = time.perf_counter()
    rows = reader.read(source, ReadSettings())
    took = time.perf_counter() - start
    peak = status_mb("VmHWM")
    result = sum(column.nbytes for column in vars(rows).values() if isinstance(column, np.ndarray)) / 2**20
    print(f"{path.stat().st_size / 1e6:5.0f} MB log: {len(rows)} rows in {took:.1f} s; result {result:.0f} MB; peak "
          f"{peak - before:.0f} MB above the {before:.0f} MB before: result {peak - before - result:+.0f} MB")


def main():
    "Speed, then memory by size."
    if len(sys.argv) > 2 and sys.argv[1] == "--memory":
        memory(Path(sys.argv[2]))
        return
    longest = float(sys.argv[1]) if len(sys.argv) > 1 else 1000.0
    with tempfile.TemporaryDirectory() as name:
        speed(Path(name))
        for share in (1 / 16, 1 / 4, 1 / 2, 1):
            path = Path(name) / "long.nmea"
            write(path, longest * share * 1e6)
            subprocess.run([sys.executable, __file__, "--memory", str(path)], check=True)


if __name__ == "__main__":
    main()
