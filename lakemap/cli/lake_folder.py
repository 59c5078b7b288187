"""A lake's folder, and files that come into it: judged by what they hold, put in whole, never over another file."""

from __future__ import annotations

import hashlib
import os
import shutil
from collections import Counter
from collections.abc import Sequence, Sized
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lakemap.errors import AmbiguousFile, InputError, OutputError, UsageError
from lakemap.model.marks import Marks
from lakemap.model.outputs import MAP, SUMMARY
from lakemap.project import Lake, folder_settings
from lakemap.read.archives import SIDECARS
from lakemap.read.b12 import is_b12_table, metadata_beside
from lakemap.read.find import LAKE_SETTINGS, sort_files
from lakemap.read.outputs import read_summary
from lakemap.read.plugins import read_one
from lakemap.read.reader import Role
from lakemap.read.source import Source

WORDS: dict[Role, str] = {
    "log": "soundings", "marks": "marks", "shore": "shoreline", "levels": "lake level", "profile": "water profile",
    "samples": "bottom samples", "check_depths": "check depths", "prior": "old map", "hazards": "dangers",
    "closed": "closed areas", "catches": "catches", "edits": "words of yours", "boat": "boat",
}
"""What is in a file of each role, for people."""
ONE: dict[Role, str] = {
    "marks": "mark", "samples": "bottom sample", "check_depths": "check depth", "hazards": "danger",
    "closed": "closed area", "catches": "catch", "edits": "word of yours",
}
"""The same of one alone, where that is another word."""
OWN_NAMES = (SUMMARY, MAP, LAKE_SETTINGS)
"""A folder with one of the first two is taken for results; the third is settings."""


@dataclass(frozen=True)
class Comer:
    """A file that can come in: ``files`` are itself and those that belong to it, ``told`` what it holds, ``same`` the
    file of the lake with the same content, if there is one."""

    path: Path
    files: tuple[Path, ...]
    told: str
    same: Path | None


def lake_of(folder: Path) -> Path:
    """The folder of a lake's files: ``folder`` itself, or for a map the one beside it that holds what it was made of.

    Raises InputError for no folder, UsageError where a map's files lie in none or several of the folders beside it.
    """
    if not folder.is_dir():
        raise InputError(f"{folder}: no such folder; make it for your lake's files, or name the one that they are in")
    if not ((folder / SUMMARY).exists() or (folder / MAP).exists()):
        return folder
    inputs = read_summary(folder).get("inputs")
    above = folder.resolve().parent
    try:
        beside = [above, *sorted(one for one in above.iterdir() if one.is_dir() and one != folder.resolve())]
    except OSError:
        beside = [above]
    found = [one for one in beside if isinstance(inputs, dict) and _holds(one, inputs)]
    if len(found) != 1:
        where = "several of the folders" if found else "none of the folders"
        raise UsageError(f"{folder} is a map, and the files that it was made of lie in {where} beside it; name theirs: "
                         "lakemap add FOLDER FILES...")
    return found[0]


def _holds(folder: Path, inputs: dict[str, Any]) -> bool:
    """Whether one of a map's files lies in a folder, by name and SHA-256."""
    for name, digest in inputs.items():
        path = folder / name
        if path.parent == folder and path.is_file():
            try:
                if Source.of(path).sha256 == digest:
                    return True
            except InputError:
                continue
    return False


def comers(lake: Path, paths: Sequence[Path]) -> tuple[list[Comer], tuple[str, ...]]:
    """Files, and what is in folders, as they can come into a lake; messages on what is passed over in folders.

    Each is read whole, as a map would read it with the lake's settings. Raises InputError, UsageError or
    AmbiguousFile for the first that cannot be taken: then none is.
    """
    for path in paths:
        if not path.exists():
            raise InputError(f"{path}: no such file; nothing is taken")
    settings = Lake.from_files([], folder_settings([lake])).settings.read
    try:
        given = sort_files(paths)
    except AmbiguousFile as fault:
        raise AmbiguousFile(f"{fault}, given to lakemap map; a folder's map would pass it over") from None
    held: dict[Path, list[str]] = {}
    for role, sources in given.roles.items():
        for source in sources:
            _may_be_called(source.path)
            try:
                held.setdefault(source.path, []).append(_told(read_one(source, role, settings), role, source))
            except InputError as fault:
                raise InputError(f"{fault} (or in the folder's {LAKE_SETTINGS}); nothing is taken") from None
    found = [Comer(path, (path, *_belongings(path)), ", ".join(told), _same_in(lake, path))
             for path, told in sorted(held.items(), key=lambda one: one[0].name)]
    return found, given.messages


def _may_be_called(path: Path) -> None:
    """Raises UsageError for names that a map would pass over or take for something else."""
    name = path.name
    if name.startswith(".") or name in OWN_NAMES or not name.isprintable():
        raise UsageError(f"{name!r}: a lake's file cannot be called so (hidden, a name of our own, or signs that "
                         "do not print); rename it first")


def _told(found: object, role: Role, source: Source) -> str:
    """``3 marks (2 stump, 1 place)``. Raises InputError where there is nothing in it."""
    if not isinstance(found, Sized):
        return WORDS[role]
    if not len(found):
        raise InputError(f"{source.name}: no {WORDS[role]} in it that can be used")
    kinds = Counter(found.kind) if isinstance(found, Marks) else {}
    listed = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items(), key=lambda one: (-one[1], one[0])))
    what = ONE.get(role, WORDS[role]) if len(found) == 1 else WORDS[role]
    return f"{len(found)} {what}" + (f" ({listed})" if listed else "")


def _belongings(path: Path) -> list[Path]:
    """Files beside a Shapefile, or beside a table of B-12, that it cannot be read without."""
    if path.suffix.lower() == ".shp":
        return sorted(one for one in path.parent.iterdir() if one.stem == path.stem and one.suffix.lower() in SIDECARS)
    source = Source.of(path)
    if is_b12_table(source) and metadata_beside(source) is not None:
        return [one for ending in (".json", ".JSON") if (one := path.with_suffix(ending)).is_file()][:1]
    return []


def _same_in(lake: Path, path: Path) -> Path | None:
    """The first file of a lake with the same bytes; hidden ones and links are passed over."""
    size, digest = path.stat().st_size, _digest(path)
    for top, folders, names in os.walk(lake):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for known in (Path(top) / name for name in sorted(names) if not name.startswith(".")):
            plain = known.is_file() and not known.is_symlink()
            if plain and known.stat().st_size == size and _digest(known) == digest:
                return known
    return None


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def take_in(lake: Path, comer: Comer) -> Path:
    """Copy a file, and what belongs to it, into a lake's folder under its own name or, where that is taken, a numbered
    one; its new path. Raises OutputError; nothing of it is left then."""
    stem, number = comer.path.stem, 1
    while any(os.path.lexists(lake / f"{stem}{one.suffix}") for one in comer.files):
        number += 1
        stem = f"{comer.path.stem} {number}"
    placed: list[Path] = []
    try:
        for one in comer.files:
            target = lake / f"{stem}{one.suffix}"
            # an exclusive name first: whatever else writes here, no file of it is ever replaced
            target.open("xb").close()
            placed.append(target)
            _copy(one, target)
    except OSError as fault:
        for target in placed:
            target.unlink(missing_ok=True)
        raise OutputError(f"{lake / comer.path.name}: cannot be written ({fault.strerror or fault}); make room or "
                          "mend the permission, then add it again") from None
    return placed[0]


def _copy(path: Path, target: Path) -> None:
    unfinished = target.with_name(f".{target.name}.part")
    try:
        shutil.copyfile(path, unfinished)
        with unfinished.open("rb+") as copied:
            os.fsync(copied.fileno())
        os.replace(unfinished, target)
    finally:
        unfinished.unlink(missing_ok=True)
