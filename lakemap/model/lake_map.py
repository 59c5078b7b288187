"""LakeMap: everything one lake's readings have told, before any file is written."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

from lakemap.model.bottom import Bottom
from lakemap.model.changes import Changes
from lakemap.model.crossovers import Crossovers
from lakemap.model.hits import Hits
from lakemap.model.keep_out import ClosedAreas, Hazards
from lakemap.model.shoreline import Shoreline
from lakemap.model.soundings import Soundings
from lakemap.model.spots import Spots
from lakemap.model.surface import Surface
from lakemap.model.terrain import Terrain
from lakemap.model.water import Water, WaterTemperature


@dataclass(frozen=True)
class LakeMap:
    """``hardness`` and ``bottom`` are None where no reading speaks of them, ``changes`` where no two dates can be
    compared, ``water`` without a profile, ``temperature`` where no log carries any; ``hazards`` and ``closed`` are the
    owner's word, empty without it.

    ``settings`` as used; ``inputs`` file -> sha256. ``page`` makes the page that a notebook shows: publish/ hands it
    in, because nothing here knows of pages.
    """

    page: ClassVar[Callable[[LakeMap], str] | None] = None

    name: str
    soundings: Soundings
    crossovers: Crossovers
    hits: Hits
    depth: Surface
    hardness: Surface | None
    terrain: Terrain
    spots: Spots
    shore: Shoreline | None
    changes: Changes | None = None
    bottom: Bottom | None = None
    water: Water | None = None
    temperature: WaterTemperature | None = None
    hazards: Hazards = field(default_factory=Hazards)
    closed: ClosedAreas = field(default_factory=ClosedAreas)
    settings: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    inputs: Mapping[str, str] = field(default_factory=dict)
    messages: tuple[str, ...] = ()

    def _repr_html_(self) -> str | None:
        """The map itself, where a notebook shows it."""
        page = type(self).page
        return None if page is None else page(self)
