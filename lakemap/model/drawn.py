"""One layer of a finished map's lake.gpkg: shapes on the map's CRS and what is known of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True)
class Drawn:
    """k shapes with a row of ``fields`` each, in the order of the file; None where a field is not known."""

    shapes: tuple[BaseGeometry, ...] = ()
    fields: tuple[dict[str, Any], ...] = ()

    def __len__(self) -> int:
        return len(self.shapes)
