"""Dangers and closed areas off the map are counted; those on it, and beside it, are not."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from worlds import SMALL_CRS, SMALL_NORTH, SMALL_WEST, small_lake_map

from lakemap.geo.crs import unproject
from lakemap.geo.off_map import off_map_said
from lakemap.model.keep_out import ClosedAreas, Hazards

LON, LAT = (float(part) for part in unproject(SMALL_CRS, SMALL_WEST + 100.0, SMALL_NORTH - 100.0))


@pytest.mark.parametrize(("places", "areas", "told"), [
    ([(LON, LAT)], [(LON, LAT)], []),
    ([(LON, LAT), (LAT, LON)], [], ["1 of 2 dangers"]),
    ([(LAT, LON), (0.0, 0.0)], [(LON, LAT), (LON, -LAT)], ["2 of 2 dangers", "1 of 2 closed areas"]),
    ([(LON + 0.009, LAT)], [(LON - 0.3, LAT)], ["1 of 1 closed area;"]),
])
def test_what_lies_off_the_map_is_counted_by_kind(places, areas, told):
    "Swapped degrees, a lost minus, another lake; half a kilometre off may be meant."
    frame = small_lake_map().depth.frame
    hazards = Hazards([shapely.Point(*place) for place in places], np.full(len(places), 5.0), [""] * len(places))
    closed = ClosedAreas([shapely.Point(*place).buffer(1e-4) for place in areas], *([[""] * len(areas)] * 3))
    said = off_map_said(frame, hazards, closed)
    assert len(said) == len(told) and all(words in text for words, text in zip(told, said, strict=True))
