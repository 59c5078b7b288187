"""IHO B-12 readings, GeoJSON and CSV, as a log: metres, positive down, UTC, by the standard."""

from __future__ import annotations

import dataclasses
import json
from typing import Any, ClassVar

from lakemap.model.log_facts import NOT_SAID
from lakemap.model.soundings import Soundings
from lakemap.read.b12 import B12Told, b12_told, is_b12, is_b12_geojson, metadata_beside
from lakemap.read.point_log import PointLogReader
from lakemap.read.reader import Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.read.table import TableReader

ABOVE_ALL = 1.0


class B12Reader(Reader):
    """One row a reading; unit and sign are the standard's, what depths count from is told by the metadata."""

    name: ClassVar[str] = "IHO B-12"
    role: ClassVar[Role] = "log"
    suffixes: ClassVar[tuple[str, ...]] = (".geojson", ".json", ".csv")
    summary: ClassVar[str] = "crowdsourced bathymetry 3.0 and 3.1, GeoJSON, or CSV with its metadata beside it"

    def likelihood(self, source: Source) -> float:
        """Certain where the convention is named; else no other reader knows its unit."""
        return ABOVE_ALL if is_b12(source) else 0.0

    def read(self, source: Source, settings: ReadSettings) -> Soundings:
        """Rows in file order. Raises InputError for broken JSON, no point or no depth."""
        points = is_b12_geojson(source)
        told = b12_told(_whole(source) if points else metadata_beside(source) or {})
        by_standard = dataclasses.replace(settings, depth_unit="m", depth_from=told.reference or settings.depth_from)
        reader = PointLogReader() if points else TableReader()
        return _with_facts(reader.read(source, by_standard), told, source.name)


def _whole(source: Source) -> dict[str, Any]:
    """The collection's metadata; empty where the JSON is broken, which the reader of its points then says."""
    try:
        whole = json.loads(source.text())
    except (ValueError, RecursionError):
        return {}
    return whole if isinstance(whole, dict) else {}


def _with_facts(rows: Soundings, told: B12Told, name: str) -> Soundings:
    (facts,) = rows.logs
    origins = {**facts.origins, "depth_unit": "the standard"}
    if told.reference:
        origins["depth_reference"] = "the file's metadata"
    known: dict[str, Any] = {}
    if told.draft_m is not None:
        known["draft_m"], origins["draft_m"] = told.draft_m, "the file's metadata"
    log = dataclasses.replace(facts, reader=B12Reader.name, origins=origins, **known)
    said = [text for text in rows.messages if told.reference is None or "what its depths count from" not in text]
    if told.processed:
        said.append(f"{name}: its metadata say that depths were processed; what was done is not undone")
    if told.reference is None and origins.get("depth_reference") == NOT_SAID:
        said.append(f"{name}: its metadata do not know what depths count from")
    return dataclasses.replace(rows, logs=(log,), messages=tuple(said))
