"""The catch log: place, count, hours; blanks are rows, what cannot be used is said."""

from __future__ import annotations

import numpy as np
import pytest

from lakemap.errors import InputError
from lakemap.read import read_catches
from lakemap.read.find import sort_files
from lakemap.read.settings import ReadSettings

TABLE = """time,lat,lon,species,count,effort_h,note
2025-06-01T08:00:00Z,45.01,-93.02,bass,2,1.5,on the stump
2025-06-01T10:00:00Z,45.02,-93.01,,0,1,nothing
2025-06-01T11:00:00Z,45.02,,perch,1,1,no place
2025-06-01T12:00:00Z,45.02,-93.01,perch,,1,no count
2025-06-01T13:00:00Z,45.02,-93.01,perch,3,90,minutes
"""


def catches(tmp_path, text):
    "Rows of one file, known by its content."
    path = tmp_path / "log of mine.csv"
    path.write_text(text)
    files = sort_files([path])
    assert files.of("catches") and not files.of("marks") and not files.of("log")
    return read_catches(files, ReadSettings())


def test_blanks_and_catches_are_read(tmp_path):
    "A count of 0 is a row; rows without place or count are left out and said; hours beyond two days are not noted."
    found = catches(tmp_path, TABLE)
    assert list(found.count) == [2, 0, 3] and found.kind == ("bass", "", "perch")
    assert np.array_equal(found.effort_h, [1.5, 1.0, np.nan], equal_nan=True)
    assert found.note[0] == "on the stump" and found.time_s[0] == 1748764800.0
    said = " ".join(found.messages)
    assert "no place or no count in line 4 + 1 more" in said and "effort beyond 0 to 48 hours in line 6" in said


def test_a_log_without_any_row_is_refused(tmp_path):
    "One line with the next step."
    with pytest.raises(InputError, match="write 0 for an empty hour"):
        catches(tmp_path, "lat,lon,count\n45.0,-93.0,\n")
