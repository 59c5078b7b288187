"""How many spots keep their names while a lake grows: the suite's small lake, sounded with several seeds, mapped anew
after each of ten more days. The suite holds one such lake, tests/spots/test_names_stay.py.

Run: python tests/bench/bench_names.py [lakes] [first seed]
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from itertools import pairwise
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[1] / "spots"))

from growing_lake import DAYS, write_days
from test_names_stay import again

from lakemap import Lake, map_lake


def grown(seed):
    "Spots of the map after each day."
    with tempfile.TemporaryDirectory() as folder:
        for days in range(1, DAYS + 1):
            write_days(Path(folder), days, seed)
            yield map_lake(Lake.from_files([Path(folder)], {"grid": {"pixel_m": 4.0, "method": "linear"}})).spots


def main(lakes, first):
    total = Counter()
    for seed in range(first, first + lakes):
        pairs = [pair for before, after in pairwise(grown(seed)) for pair in again(before, after)]
        changed = [pair for pair in pairs if pair[1] != pair[2]]
        total += Counter(there=len(pairs), kept=len(pairs) - len(changed))
        print(f"seed {seed}: {len(pairs) - len(changed)} of {len(pairs)} names kept; changed: "
              f"{', '.join(f'{old} to {new}' for _, old, new in changed) or 'none'}", flush=True)
    print(f"all: {total['kept']} of {total['there']}")


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:3]]
    main(*given, *(7, 1)[len(given):])
