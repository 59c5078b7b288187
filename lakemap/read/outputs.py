"""Reads back what publish/ wrote to a folder: only files that summary.json lists, as it lists them."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from lakemap.errors import InputError
from lakemap.model.log_facts import LogFacts
from lakemap.model.outputs import FORMAT, SOUNDINGS, SUMMARY
from lakemap.model.soundings import COLUMN_DTYPES, SECOND_SEEN, Soundings
from lakemap.read.source import Source

_WORDS = {"second_seen": SECOND_SEEN}


def read_summary(folder: Path) -> dict[str, Any]:
    """summary.json of a finished map. Raises InputError where there is none, or of another format."""
    try:
        told = json.loads((folder / SUMMARY).read_text(encoding="utf-8"))
    except OSError:
        raise InputError(f"{folder}: no finished map in it ({SUMMARY} is missing); make one with lakemap map") from None
    except ValueError as fault:
        raise InputError(f"{folder / SUMMARY}: broken ({fault}); make the map again") from None
    if not isinstance(told, dict) or told.get("format") != FORMAT or not isinstance(told.get("files"), dict):
        raise InputError(f"{folder / SUMMARY}: not of format {FORMAT}; make the map again with this version")
    return told


def listed_file(folder: Path, summary: Mapping[str, Any], name: str) -> Path:
    """A file of the map. Raises InputError where it is not listed, or not as listed."""
    listed = summary["files"].get(name)
    if not isinstance(listed, dict):
        raise InputError(f"{folder}: its {SUMMARY} lists no {name}; make the map again")
    if Source.of(folder / name).sha256 != listed.get("sha256"):
        raise InputError(f"{folder / name}: not the file that {SUMMARY} lists; make the map again")
    return folder / name


def read_soundings(folder: Path) -> Soundings:
    """Every row of a map's soundings.parquet with the facts of its logs. Raises InputError for no finished map."""
    import pyarrow
    import pyarrow.parquet

    summary = read_summary(folder)
    path = listed_file(folder, summary, SOUNDINGS)
    try:
        table = pyarrow.parquet.read_table(path)
        columns = {name: _column(table, name) for name in COLUMN_DTYPES if name in table.column_names}
        logs = [_facts(told) for told in summary["logs"]]
    except (OSError, pyarrow.ArrowException, KeyError, TypeError, ValueError) as fault:
        reason = " ".join(str(fault).split())
        raise InputError(f"{path}: cannot be read ({reason}); make the map again") from None
    names = table.column("log").combine_chunks().dictionary.to_pylist() if "log" in columns else []
    if len(logs) < len(names) and len(table):
        raise InputError(f"{path}: {len(names)} logs, but {SUMMARY} has {len(logs)}; make the map again")
    return Soundings.build(len(table), logs, **columns)


def _column(table: Any, name: str) -> Any:
    """A column as model/soundings.py has it: words as codes, null as NaN or NaT."""
    import pyarrow

    values = table.column(name).combine_chunks()
    if name == "log":
        return values.indices.fill_null(0).to_numpy(zero_copy_only=False)
    if name in _WORDS:
        words = values.dictionary.to_pylist()
        codes = np.array([_WORDS[name].index(word) for word in words] or [-1])
        return np.where(values.indices.is_null().to_numpy(zero_copy_only=False), -1,
                        codes[values.indices.fill_null(0).to_numpy(zero_copy_only=False)])
    if pyarrow.types.is_timestamp(values.type):
        return values.cast(pyarrow.timestamp("ms")).to_numpy(zero_copy_only=False).astype("datetime64[ms]")
    return values.to_numpy(zero_copy_only=False)


def _facts(told: Mapping[str, Any]) -> LogFacts:
    """What summary.json says of a log; facts that are lists stay behind."""
    known = {spec.name for spec in dataclasses.fields(LogFacts)}
    plain: dict[str, Any] = {
        name: value for name, value in told["facts"].items()
        if name in known and isinstance(value, str | int | float | bool)
    }
    return LogFacts(
        name=told["name"], sha256=told["sha256"], reader=told["reader"], rows_in=told["rows_in"],
        origins=dict(told.get("origins", {})), **plain,
    )
