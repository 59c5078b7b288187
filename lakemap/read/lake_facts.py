"""What the owner knows beside the logs, from all its files: boats, levels, temperatures, check depths, edits."""

from __future__ import annotations

import numpy as np

from lakemap.errors import InputError
from lakemap.model.boat import Boat
from lakemap.model.catches import Catches
from lakemap.model.keep_out import ClosedAreas, Hazards
from lakemap.model.lake_facts import CheckDepths, Edits, LakeFacts, LakeLevels, WaterProfile
from lakemap.model.prior import DepthPriors
from lakemap.read.find import LakeFiles
from lakemap.read.plugins import read_one
from lakemap.read.reader import Role
from lakemap.read.settings import ReadSettings


def read_lake_facts(files: LakeFiles, settings: ReadSettings) -> LakeFacts:
    """Every such file, in the order of names. Raises InputError for the first that cannot be used: a fact that is left
    out in silence would be a guess.
    """
    boats = [boat for boat in _all(files, "boat", settings) if isinstance(boat, Boat)]
    levels = [level for level in _all(files, "levels", settings) if isinstance(level, LakeLevels)]
    profiles = [profile for profile in _all(files, "profile", settings) if isinstance(profile, WaterProfile)]
    checks = [check for check in _all(files, "check_depths", settings) if isinstance(check, CheckDepths)]
    edits = [edit for edit in _all(files, "edits", settings) if isinstance(edit, Edits)]
    lines = tuple(line for part in edits for line in part.lines)
    said = tuple(text for part in edits for text in part.messages)
    return LakeFacts(tuple(boats), tuple(levels), _one_profile(profiles), _one_list(checks), Edits(lines, said))


def read_priors(files: LakeFiles, settings: ReadSettings) -> DepthPriors:
    """Old maps, in the order of names. Raises InputError for the first that cannot be used."""
    return DepthPriors.of(_all(files, "prior", settings))


def read_keep_out(files: LakeFiles, settings: ReadSettings) -> tuple[Hazards, ClosedAreas]:
    """Dangers and closed areas of all files. Raises InputError for the first that cannot be used: a danger that is left
    out in silence would be met on the water.
    """
    dangers = [part for part in _all(files, "hazards", settings) if isinstance(part, Hazards)]
    areas = [part for part in _all(files, "closed", settings) if isinstance(part, ClosedAreas)]
    return Hazards.joined(dangers), ClosedAreas.joined(areas)


def read_catches(files: LakeFiles, settings: ReadSettings) -> Catches:
    """Rows of all catch logs, in the order of names. Raises InputError for the first that cannot be used."""
    return Catches.joined([part for part in _all(files, "catches", settings) if isinstance(part, Catches)])


def _all(files: LakeFiles, role: Role, settings: ReadSettings) -> list[object]:
    return [read_one(source, role, settings) for source in files.of(role)]


def _one_profile(parts: list[WaterProfile]) -> WaterProfile | None:
    if not parts:
        return None
    casts = sorted((cast for part in parts for cast in part.casts), key=lambda cast: np.nan_to_num(cast.time_s))
    names = ", ".join(part.source for part in parts)
    if len(casts) > 1 and not all(np.isfinite(cast.time_s) for cast in casts):
        raise InputError(f"{names}: several casts, not all with a date; write one beside each row")
    return WaterProfile(tuple(casts), names, tuple(text for part in parts for text in part.messages))


def _one_list(parts: list[CheckDepths]) -> CheckDepths:
    if not parts:
        return CheckDepths.none()
    return CheckDepths(
        np.concatenate([part.lon_deg for part in parts]), np.concatenate([part.lat_deg for part in parts]),
        np.concatenate([part.depth_m for part in parts]), np.concatenate([part.sigma_m for part in parts]),
        np.concatenate([part.time_s for part in parts]), np.concatenate([part.line for part in parts]),
        tuple(name for part in parts for name in part.source), tuple(text for part in parts for text in part.messages),
    )
