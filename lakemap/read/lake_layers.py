"""Layers of a finished map's lake.gpkg, as publish/ wrote them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from lakemap.errors import InputError
from lakemap.model.drawn import Drawn
from lakemap.model.outputs import LAKE
from lakemap.read.outputs import listed_file


def read_layers(folder: Path, summary: Mapping[str, Any], names: Iterable[str]) -> dict[str, Drawn]:
    """Those of the layers that the map has, in the order asked for; none where it has no lake.gpkg.

    Raises InputError where the file is not the one that the map wrote.
    """
    import pyogrio

    if LAKE not in summary["files"]:
        return {}
    path = listed_file(folder, summary, LAKE)
    try:
        there = set(pyogrio.list_layers(path)[:, 0].tolist())
        return {name: _drawn(pyogrio.read_dataframe(path, layer=name)) for name in names if name in there}
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, ValueError) as fault:
        raise InputError(f"{path}: cannot be read ({' '.join(str(fault).split())}); make the map again") from None


def _drawn(table: Any) -> Drawn:
    columns = [name for name in table.columns if name != "geometry"]
    plain = table[columns].astype(object)
    rows = plain.where(plain.notna(), None).to_dict("records")
    return Drawn(tuple(table.geometry), tuple({str(key): value for key, value in row.items()} for row in rows))
