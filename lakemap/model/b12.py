"""IHO B-12, crowdsourced bathymetry: what its metadata must say of the boat, and readings at its precision.

Edition 3.0.0, tables 1 to 3, and the public schemas of its GeoJSON 3.0 and 3.1; how 3.1 writes its CRS member is in
part from memory.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from lakemap.errors import UsageError

Convention = Literal["3.0", "3.1"]
ONLY_LICENCE = "CC0 1.0"
"""The one licence that the standard takes: anybody may use the readings for anything."""
DEGREE_DECIMALS, DEPTH_DECIMALS = 6, 1
"""Table 2: six decimals of a degree, decimetres, milliseconds."""
_UNIQUE_ID = {
    "3.0": re.compile(r"[0-9a-zA-Z]{2,}(-[0-9a-zA-Z]{2,})+"),
    "3.1": re.compile(r"[a-zA-Z][0-9a-zA-Z]+-[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}"),
}
_EMAIL = re.compile(r"[^@\s]+@[^@\s]+")


@dataclass(frozen=True)
class B12About:
    """Who gives the readings and of which boat: the trusted node's name and e-mail, the boat's identifier there (the
    node's prefix, a hyphen, a UUID) and name, the logger that recorded and its version. Raises UsageError."""

    convention: Convention
    organisation: str
    email: str
    platform_id: str
    platform_name: str
    licence: str
    logger: str
    logger_version: str

    def __post_init__(self) -> None:
        if not _UNIQUE_ID[self.convention].fullmatch(self.platform_id):
            example = "LAKE-1b4e28ba-2fa1-11d2-883f-0016d3cca427"
            raise UsageError(f"--platform-id {self.platform_id}: must be the node's prefix, a hyphen and a UUID, such "
                             f"as {example}; the trusted node that takes your readings gives it")
        if not _EMAIL.fullmatch(self.email):
            raise UsageError(f"--email {self.email}: no address; give the one of the trusted node's contact")
        if self.licence != ONLY_LICENCE:
            raise UsageError(f"--licence {self.licence}: the standard takes {ONLY_LICENCE} only, by which anybody may "
                             f"use the readings for anything; say --licence '{ONLY_LICENCE}' if you agree")


@dataclass(frozen=True)
class B12Readings:
    """n timed readings: degrees, metres below ``reference`` as logged, UTC [ms], all (n,); draft where all logs know
    it; ``left_out`` counts rows that are not among them, by reason."""

    lon_deg: NDArray[np.float64]
    lat_deg: NDArray[np.float64]
    depth_m: NDArray[np.float64]
    time_utc: NDArray[np.datetime64]
    reference: str
    draft_m: float | None
    left_out: dict[str, int]
