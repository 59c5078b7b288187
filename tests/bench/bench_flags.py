"""Flags against the invented boat on several invented lakes: the share of planted faults that is held out, and of good
rows that is. Run: python tests/bench/bench_flags.py [lakes]
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from demo.test_flags import judge

from lakemap import Lake
from lakemap.demo import DEMO_NAME, DEMO_SETTINGS, demo_files, demo_recordings
from lakemap.pipeline import check_lake
from lakemap.project import with_settings

FIRST_SEED = 2
"The flags were made on the demo lake, which is seed 1."


def main(lakes):
    print("lake  faults held out (of)  noted as rises  good rows held out (of)")
    rows = []
    for seed in range(FIRST_SEED, FIRST_SEED + lakes):
        with tempfile.TemporaryDirectory() as folder:
            for name, content in demo_files(seed).items():
                (Path(folder) / name).write_bytes(content)
            told = [f"{key}={value!r}".replace("'", '"') for key, value in DEMO_SETTINGS.items()]
            soundings = check_lake(Lake.from_files([folder], with_settings({}, told), name=DEMO_NAME)).soundings
        _, big, good, held, rise, frozen = judge(soundings, demo_recordings(seed))
        faults, fine = big & ~rise, good & ~frozen
        rows.append([held[faults].mean(), held[fine].mean()])
        print(f"{seed:4d}  {rows[-1][0]:15.4f} {faults.sum():5d}  {np.count_nonzero(big & rise):14d}  "
              f"{rows[-1][1]:15.5f} {fine.sum():6d}", flush=True)
    found, wrongly = np.array(rows).T
    print(f"mean {found.mean():.4f} (least {found.min():.4f}); {wrongly.mean():.5f} (most {wrongly.max():.5f})")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10)
