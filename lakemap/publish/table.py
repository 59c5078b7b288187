"""depth_area_volume.csv."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.model.terrain import DepthAreaVolume
from lakemap.publish.csv_cells import csv_text
from lakemap.units import M2_PER_ACRE, M3_PER_ACRE_FOOT, M_PER_FT

Column = NDArray[np.float64]


def table_columns(table: DepthAreaVolume, unit: str) -> dict[str, tuple[Column, int]]:
    """Columns by name with their decimals: SI first, then what a reader of feet uses (ft, acre, acre-foot).

    Where realisations were drawn, the ends of the interval of each area and volume too.
    """
    columns = {"depth_m": (table.depth_m, 3), "area_m2": (table.area_m2, 1), "volume_m3": (table.volume_m3, 1)}
    ends = table.intervals
    if ends is not None:
        columns |= {
            "area_low_m2": (ends.area_low_m2, 1), "area_high_m2": (ends.area_high_m2, 1),
            "volume_low_m3": (ends.volume_low_m3, 1), "volume_high_m3": (ends.volume_high_m3, 1),
        }
    if unit == "ft":
        columns |= {
            "depth_ft": (table.depth_m / M_PER_FT, 3), "area_acre": (table.area_m2 / M2_PER_ACRE, 4),
            "volume_acre_ft": (table.volume_m3 / M3_PER_ACRE_FOOT, 4),
        }
    if unit == "ft" and ends is not None:
        columns |= {
            "area_low_acre": (ends.area_low_m2 / M2_PER_ACRE, 4),
            "area_high_acre": (ends.area_high_m2 / M2_PER_ACRE, 4),
            "volume_low_acre_ft": (ends.volume_low_m3 / M3_PER_ACRE_FOOT, 4),
            "volume_high_acre_ft": (ends.volume_high_m3 / M3_PER_ACRE_FOOT, 4),
        }
    return columns


def depth_area_volume_csv(table: DepthAreaVolume, unit: str) -> str:
    """For each depth the area at least that deep and the volume that lies below it; numbers have no exponent."""
    columns = table_columns(table, unit)
    return csv_text(list(columns), [
        [f"{values[i]:.{decimals}f}" for values, decimals in columns.values()] for i in range(len(table.depth_m))
    ])
