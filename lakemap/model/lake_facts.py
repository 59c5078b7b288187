"""What the owner knows beside the logs: boats, the lake's level, its temperature by depth, check depths, own word."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Self

import numpy as np
from numpy.typing import NDArray

from lakemap.model.boat import Boat

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LakeLevels:
    """k readings of a gauge: ``time_s`` (k,) rising, since 1970; ``level_m`` (k,) above its zero.

    ``elevation`` says that levels are heights of the pool above some geodetic zero, so that a full pool's height is
    needed; ``full_pool_m`` and ``datum`` (its name) where the file tells them.
    """

    time_s: Floats
    level_m: Floats
    elevation: bool
    source: str
    full_pool_m: float | None = None
    datum: str | None = None
    messages: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.time_s)


@dataclass(frozen=True)
class Cast:
    """One lowering of a thermometer: ``depth_m`` (k,) rising, ``temperature_c`` (k,), time [s since 1970] or NaN.

    ``oxygen_mgl`` (k,) where it was measured too, NaN at levels without.
    """

    time_s: float
    depth_m: Floats
    temperature_c: Floats
    oxygen_mgl: Floats | None = None


@dataclass(frozen=True)
class WaterProfile:
    """Casts in the order of time."""

    casts: tuple[Cast, ...]
    source: str
    messages: tuple[str, ...] = ()


@dataclass(frozen=True)
class CheckDepths:
    """k depths by weighted line or pole, below the surface of that day: place, depth and its sigma (k,), time since
    1970 or NaN, line in the file."""

    lon_deg: Floats
    lat_deg: Floats
    depth_m: Floats
    sigma_m: Floats
    time_s: Floats
    line: NDArray[np.int64]
    source: tuple[str, ...]
    messages: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.depth_m)

    @classmethod
    def none(cls) -> Self:
        """No check depth."""
        none = np.empty(0)
        return cls(none, none, none, none, none, np.empty(0, np.int64), ())


EDIT_WORDS = ("bad", "restore", "looked_nothing", "drop_spot", "merge_spots")
"""What the owner may say: rows are bad; flagged rows are good; looked here, nothing; this is no spot; one spot."""


@dataclass(frozen=True)
class Edit:
    """One line of edits.csv. ``from_s, until_s`` [s since 1970] and ``west .. north`` [deg] are open where NaN; ``log``
    is a name with ``*`` and ``?``, empty for all; ``spots`` are names for drop_spot and merge_spots."""

    what: str
    why: str
    from_s: float
    until_s: float
    west: float
    south: float
    east: float
    north: float
    log: str
    spots: tuple[str, ...]
    line: int
    source: str

    @property
    def title(self) -> str:
        """How the line is named in messages."""
        return f"{self.source}, line {self.line}"


@dataclass(frozen=True)
class Edits:
    """The owner's word, in the order of files and lines."""

    lines: tuple[Edit, ...] = ()
    messages: tuple[str, ...] = ()


@dataclass(frozen=True)
class LakeFacts:
    """All of it; what was not given is empty."""

    boats: tuple[Boat, ...] = ()
    levels: tuple[LakeLevels, ...] = ()
    profile: WaterProfile | None = None
    checks: CheckDepths = field(default_factory=CheckDepths.none)
    edits: Edits = field(default_factory=Edits)
    messages: tuple[str, ...] = ()
