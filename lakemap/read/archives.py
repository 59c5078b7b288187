"""What a file holds: itself, or the members of a zip archive, each a source of its own."""

from __future__ import annotations

import zipfile
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from lakemap.errors import InputError
from lakemap.read.source import Source, first_bytes
from lakemap.read.unpack import Budget, TooMuch, open_member, open_zip, packing_of

SIDECARS = frozenset((".shx", ".dbf", ".prj", ".cpg", ".qix", ".sbn", ".sbx"))
"""Files that belong to a Shapefile beside them."""
_ENCRYPTED = 0x1
_READ_PACKINGS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)


def sources_of(path: Path) -> tuple[list[Source], list[str]]:
    """The sources in a file, and a message for each member of a zip that is passed over.

    ``archive.zip/member`` names one member. Raises InputError where the file, or a whole archive, cannot be read.
    """
    archive = _archive_above(path)
    if archive is not None:
        inner = path.relative_to(archive).as_posix()
        found, messages = _members(archive, inner)
        if not found:
            raise InputError(messages[0] if messages else f"{path}: no such member in {archive.name}; check the name")
        return found, []
    if packing_of(first_bytes(path)) == "zip":
        return _members(path)
    source = Source.of(path)
    if (packing := packing_of(source.head)) and source.packing:
        raise InputError(f"{path}: an archive in an archive ({packing}) is not read; unpack it once and give that")
    return [source], []


def _archive_above(path: Path) -> Path | None:
    """The zip archive that a path leads into, None for every other path."""
    try:
        above = None if path.exists() else next((parent for parent in path.parents if parent.exists()), None)
        inside = above is not None and above.is_file() and packing_of(first_bytes(above)) == "zip"
    except (OSError, ValueError):
        return None
    return above if inside else None


def _members(path: Path, only: str | None = None) -> tuple[list[Source], list[str]]:
    """Each member that may be read, in the archive's order; ``only`` the one of this name."""
    size = path.stat().st_size
    budget = Budget(path.name, size)
    out: list[Source] = []
    messages: list[str] = []
    with path.open("rb") as file, open_zip(file, path.name, size) as archive:
        files = {info.filename for info in archive.infolist()}
        for index, info in enumerate(archive.infolist()):
            if info.is_dir() or (only is not None and info.filename != only) or _of_no_interest(info.filename, files):
                continue
            name = f"{path.name}/{_printable(info.filename)}"
            try:
                blank = Source(path, name, "", 0, b"", "zip", index, info.filename)
                out.append(_looked_at(archive, info, blank, budget))
            except TooMuch:
                raise
            except InputError as fault:
                messages.append(str(fault))
    if not (out or messages or only):
        messages.append(f"{path.name}: no file in the archive; pack the logs into it")
    return out, messages


def _looked_at(archive: zipfile.ZipFile, info: zipfile.ZipInfo, blank: Source, budget: Budget) -> Source:
    """The source of a member. Raises InputError where it must not be read, or cannot."""
    parts = PurePosixPath(info.filename.replace("\\", "/")).parts
    if ".." in parts or info.filename.startswith(("/", "\\")) or ":" in info.filename[:3]:
        raise InputError(f"{blank.name}: not read, its name leads out of the archive; pack it under a plain name")
    if info.flag_bits & _ENCRYPTED:
        raise InputError(f"{blank.name}: not read, it has a password; pack it without")
    if info.compress_type not in _READ_PACKINGS:
        raise InputError(f"{blank.name}: not read, packed in an unusual way; pack it again with the usual method")
    with open_member(archive, info, lambda: None, blank.name, budget) as stream:
        source = blank.looked_at(stream)
    if packing := packing_of(source.head):
        raise InputError(f"{blank.name}: an archive in an archive ({packing}) is not read; unpack it once")
    return source


def _of_no_interest(name: str, files: set[str]) -> bool:
    """Hidden files, what some systems put beside each file, and parts of a Shapefile."""
    path = PurePosixPath(name.replace("\\", "/"))
    if path.name.startswith(".") or path.parts[:1] == ("__MACOSX",):
        return True
    shapes = {path.with_suffix(ending).as_posix() for ending in (".shp", ".SHP")} if path.name else set()
    return path.suffix.lower() in SIDECARS and bool(shapes & files)


def _printable(name: str) -> str:
    return "".join(letter if letter.isprintable() else "_" for letter in name)


def open_beside(source: Source, suffix: str) -> BinaryIO | None:
    """The file of the same name with another ending, in the same folder or archive; None where there is none."""
    if source.inner:
        wanted = PurePosixPath(source.inner).with_suffix(suffix).as_posix().lower()
        with source.path.open("rb") as file, open_zip(file, source.path.name, source.path.stat().st_size) as archive:
            names = [info.filename.lower() for info in archive.infolist()]
        if wanted not in names:
            return None
        member = Source(source.path, f"{source.name}{suffix}", "", 0, b"", "zip", names.index(wanted), source.inner)
        return member.open()
    for ending in (suffix, suffix.upper()):
        if (beside := source.path.with_suffix(ending)).is_file():
            return beside.open("rb")
    return None
