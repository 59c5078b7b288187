"""soundings.parquet: every row ever read, with its flags and corrections."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pyarrow
import pyarrow.parquet

from lakemap.model.flags import FAULTS, first_fault
from lakemap.model.soundings import COLUMN_DTYPES, SECOND_SEEN, Soundings
from lakemap.publish.wording import printable


def write_soundings(soundings: Soundings, path: Path) -> None:
    """Write all rows and columns; raises OSError where the file cannot be written."""
    pyarrow.parquet.write_table(
        soundings_table(soundings), path, compression="zstd", write_statistics=True, store_schema=True
    )


def soundings_table(soundings: Soundings) -> pyarrow.Table:
    """Columns as in model/soundings.py; not observed is null; log and second_seen are words.

    ``flags`` is the bit field, ``fault`` the name of the first fault, null where the row is in use.
    """
    columns = {name: _column(soundings, name) for name in COLUMN_DTYPES}
    columns["fault"] = _words(_fault_codes(soundings), tuple(flag.name or "" for flag in FAULTS))
    return pyarrow.table(columns).replace_schema_metadata(_metadata(soundings))


def _column(soundings: Soundings, name: str) -> pyarrow.Array:
    values = getattr(soundings, name)
    if name == "log":
        return _words(values, tuple(printable(facts.name) for facts in soundings.logs) or ("",))
    if name == "second_seen":
        return _words(values, SECOND_SEEN)
    if name == "time_utc":
        return pyarrow.array(values, pyarrow.timestamp("ms", tz="UTC"))
    return pyarrow.array(values, from_pandas=True)


def _words(codes: np.ndarray, words: tuple[str, ...]) -> pyarrow.Array:
    """Words by code, null where the code is below 0."""
    indices = pyarrow.array(codes.astype(np.int32), mask=codes < 0)
    return pyarrow.DictionaryArray.from_arrays(indices, pyarrow.array(words, pyarrow.string()))


def _fault_codes(soundings: Soundings) -> np.ndarray:
    first = first_fault(soundings.flags)
    codes = np.full(len(soundings), -1)
    for code, flag in enumerate(FAULTS):
        codes[first == flag.value] = code
    return codes


def _metadata(soundings: Soundings) -> dict[str, str]:
    corrections = [[one.name, one.before_m, one.after_m] for one in soundings.corrections]
    return {
        "crs": soundings.crs.to_string() if soundings.crs is not None else "",
        "datum": soundings.datum, "depth": "positive down",
        "common_offset_m": f"{soundings.common_offset_m:.6g}", "common_scale": f"{soundings.common_scale:.6g}",
        "corrections": json.dumps(corrections),
    }
