"""A finished map as its folder alone tells it: what paper and other later results are made from."""

from __future__ import annotations

from dataclasses import dataclass

from shapely.geometry.base import BaseGeometry

from lakemap.model.frame import Grid
from lakemap.model.spots import Spots


@dataclass(frozen=True)
class Danger:
    """A danger where the owner drew it, on the map's CRS, with the distance to keep [m] and what it is."""

    shape: BaseGeometry
    keep_m: float
    what: str


@dataclass(frozen=True)
class ClosedArea:
    """A closed area on the map's CRS; ``first`` and ``last`` closed day, empty for always; ``why``."""

    shape: BaseGeometry
    first: str
    last: str
    why: str


@dataclass(frozen=True)
class OwnMark:
    """A mark of the owner's at x, y on the map's CRS [m]: its kind (a word of model/marks.py) and their words."""

    x_m: float
    y_m: float
    kind: str
    words: str


@dataclass(frozen=True)
class FinishedMap:
    """``depth`` and ``sigma`` on one frame [m]; ``shore`` the water's outline on its CRS, None where none was given.

    ``unit`` the lengths of the map are written in (m or ft); ``offset_m`` and ``scale`` the common error of all depths;
    ``soft_below`` and ``hard_from`` part the hardness; ``first_day`` and ``last_day`` of the soundings (ISO, empty
    where no time is known); ``contour_m`` the owner's step, None where none was asked for.
    """

    name: str
    unit: str
    depth: Grid
    sigma: Grid
    datum: str
    offset_m: float
    scale: float
    spots: Spots
    shore: BaseGeometry | None = None
    dangers: tuple[Danger, ...] = ()
    closed: tuple[ClosedArea, ...] = ()
    marks: tuple[OwnMark, ...] = ()
    first_day: str = ""
    last_day: str = ""
    soft_below: float = 0.0
    hard_from: float = 1.0
    contour_m: float | None = None

    @property
    def words(self) -> tuple[str, ...]:
        """Every name and word of the owner's that may stand on paper."""
        return (self.name, *self.spots.name, *self.spots.kind, *(one.what for one in self.dangers),
                *(one.why for one in self.closed), *(one.words for one in self.marks))
