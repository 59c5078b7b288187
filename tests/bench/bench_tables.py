"""Tables read by us and by pyarrow's own reader, one thread, the same columns parsed from the same file: ratio of time,
agreement of every value, and memory beyond the result, also as the file grows.

Run: python tests/bench/bench_tables.py [millions of rows] [number of runs]
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pyarrow as pa
from pyarrow import csv

from lakemap.model.soundings import COLUMN_DTYPES
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.read.table import TableReader

PIECE = 200_000
FORMS = {
    "plain": ("time,lat,lon,depth_m", "{t}Z,{lat:.7f},{lon:.7f},{z:.2f}", ","),
    "wide": ("time,lat,lon,depth_m,note,speed,course,water_temp_c",
             "{t}Z,{lat:.7f},{lon:.7f},{z:.2f},ok,2.5,180,17.5", ","),
    "decimal comma": ("time;lat;lon;depth_m", "{t}Z;{lat:.7f};{lon:.7f};{z:.2f}", ";"),
    "one word in each 2,000 rows": ("time,lat,lon,depth_m", "{t}Z,{lat:.7f},{lon:.7f},{z:.2f}", ","),
}


def write(path: Path, rows: int, form: str) -> None:
    "A track that wanders, a second a row."
    head, row, _ = FORMS[form]
    rng = np.random.default_rng(1)
    with path.open("w") as file:
        file.write(head + "\n")
        for start in range(0, rows, PIECE):
            n = min(PIECE, rows - start)
            moments = np.datetime64("2025-06-01T10:00:00") + np.arange(start, start + n).astype("timedelta64[s]")
            lat, lon = (base + np.cumsum(rng.normal(0, 1e-6, n)) for base in (46.8, -100.3))
            z = 5 + rng.random(n)
            lines = [row.format(t=t, lat=a, lon=o, z=d) for t, a, o, d in
                     zip(np.datetime_as_string(moments).tolist(), lat.tolist(), lon.tolist(), z.tolist(), strict=True)]
            if form == "decimal comma":
                lines = [line.replace(".", ",") for line in lines]
            if form.startswith("one word"):
                lines[::2000] = [line.rsplit(",", 1)[0] + ",deep" for line in lines[::2000]]
            file.write("\n".join(lines) + "\n")


def by_pyarrow(path: Path, form: str) -> pa.Table:
    "The four or five columns that a sounding is made of, straight to their types; words count as nothing."
    head, _, delimiter = FORMS[form]
    wanted = [name for name in head.split(delimiter) if name in ("time", "lat", "lon", "depth_m", "water_temp_c")]
    types = dict.fromkeys(wanted, pa.float64()) | {"time": pa.timestamp("us", "UTC")}
    return csv.read_csv(
        path, csv.ReadOptions(use_threads=False), csv.ParseOptions(delimiter=delimiter),
        csv.ConvertOptions(include_columns=wanted, column_types=types, null_values=["", "deep"],
                           decimal_point="," if form == "decimal comma" else "."),
    )


def best_of(runs: int, job) -> float:
    "Shortest time of several runs [s of this process]."
    took = []
    for _ in range(runs):
        start = time.process_time()
        job()
        took.append(time.process_time() - start)
    return min(took)


def compare(folder: Path, rows: int, runs: int) -> None:
    "One line a form of table."
    for form in FORMS:
        path = folder / "t.csv"
        write(path, rows, form)
        source = Source.of(path)
        ours, theirs = TableReader().read(source, ReadSettings()), by_pyarrow(path, form)
        micros = np.asarray(theirs["time"].cast(pa.int64()))
        agree = np.array_equal(ours.time_s, micros / 1e6) and all(
            np.array_equal(mine, theirs[name].to_numpy(), equal_nan=True)
            for name, mine in (("lat", ours.lat_deg), ("lon", ours.lon_deg), ("depth_m", ours.logged_depth_m)))
        mine = best_of(runs, lambda source=source: TableReader().read(source, ReadSettings()))
        other = best_of(runs, lambda path=path, form=form: by_pyarrow(path, form))
        word = "all values equal" if agree else "VALUES DIFFER"
        print(f"{form:30} {rows:>10,} rows {path.stat().st_size / 1e6:7.0f} MB   ours {mine:6.3f} s   "
              f"pyarrow {other:6.3f} s   ratio {mine / other:5.2f}   {word}")


def memory(folder: Path, rows: int) -> None:
    "Peak of a fresh process beyond what is there before reading and beyond the result."
    for size in (rows, 4 * rows):
        path = folder / "m.csv"
        write(path, size, "plain")
        command = [sys.executable, __file__, "--peak", str(path)]
        out = subprocess.run(command, capture_output=True, text=True, check=True)
        print(f"{size:>10,} rows {path.stat().st_size / 1e6:7.0f} MB: {out.stdout.strip()}")


def most_held() -> float:
    "Peak of this process [MB]; Linux counts it anew for each program, getrusage goes on from the parent's."
    status = Path("/proc/self/status")
    if status.exists():
        return next(float(line.split()[1]) for line in status.read_text().splitlines() if "VmHWM" in line) / 1e3
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3


def peak(path: Path) -> None:
    "Read one file and say how much memory that took."
    small = path.with_name("small.csv")
    small.write_text("time,lat,lon,depth_m\n2025-06-01T10:00:00Z,46,-100,3\n")
    TableReader().read(Source.of(small), ReadSettings())
    before = most_held()
    rows = TableReader().read(Source.of(path), ReadSettings())
    result = sum(getattr(rows, name).nbytes for name in COLUMN_DTYPES) / 1e6
    took = most_held() - before
    print(f"result {result:.0f} MB, peak {took:.0f} MB more than before, so {took - result:+.0f} MB beyond the result")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--peak"]:
        peak(Path(sys.argv[2]))
    else:
        count = int(float(sys.argv[1]) * 1e6) if len(sys.argv) > 1 else 1_000_000
        with tempfile.TemporaryDirectory() as name:
            compare(Path(name), count, int(sys.argv[2]) if len(sys.argv) > 2 else 7)
            memory(Path(name), count)
