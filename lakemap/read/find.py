"""Which reader takes which file: roles are judged by content, or given; a file that could be two things is refused."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from lakemap.errors import AmbiguousFile, InputError, UnknownFormat
from lakemap.model.outputs import MAP, SUMMARY
from lakemap.read.archives import SIDECARS, sources_of
from lakemap.read.b12 import is_metadata
from lakemap.read.plugins import find_readers, likelihood, plugin_faults, readable, reader_for, roles_read
from lakemap.read.reader import LIKELY, OPTIONS, PERHAPS, Role
from lakemap.read.source import Source
from lakemap.read.unpack import packing_of

__all__ = ["LakeFiles", "find_readers", "reader_for", "roles_read", "sort_files"]

LAKE_SETTINGS = "lake.toml"
"""A lake folder's own settings: project.py reads them, no reader does."""
Forced = Role | Sequence[Role]


@dataclass(frozen=True)
class LakeFiles:
    """Files by role, each in the order of names (then of SHA-256), and what there is to say about the rest."""

    roles: Mapping[Role, tuple[Source, ...]] = field(default_factory=dict)
    messages: tuple[str, ...] = ()

    def of(self, role: Role) -> tuple[Source, ...]:
        """The files of a role; none where there is none."""
        return self.roles.get(role, ())

    @property
    def logs(self) -> tuple[Source, ...]:
        """Files of soundings."""
        return self.of("log")

    @property
    def marks(self) -> tuple[Source, ...]:
        """Files of marks."""
        return self.of("marks")

    @property
    def shore(self) -> tuple[Source, ...]:
        """Files of shoreline polygons."""
        return self.of("shore")


def sort_files(paths: Sequence[Path], forced: Mapping[Path, Forced] | None = None) -> LakeFiles:
    """Files and folders (with what is in them) by role; ``forced`` gives the role or roles of some by the user's word.

    Inside a folder a file that no reader takes, hidden files and folders of results cost a message only.
    Raises UnknownFormat, AmbiguousFile, InputError.
    """
    words: dict[Path, tuple[Role, ...]] = {}
    for path, given in (forced or {}).items():
        words[_same(path)] = words.get(_same(path), ()) + ((given,) if isinstance(given, str) else tuple(given))
    messages = list(plugin_faults())
    taken: list[tuple[Source, Role]] = []
    seen: set[Path] = set()
    for top in paths:
        for path in _files(top, messages):
            if _same(path) in seen:
                continue
            seen.add(_same(path))
            taken += _take(path, _Told(words, top), messages, alone=path == top)
    taken = _once_each(sorted(taken, key=lambda pair: (pair[0].name, pair[0].sha256)), messages)
    return _by_role(_numbered(taken), tuple(sorted(messages)))


def _once_each(taken: list[tuple[Source, Role]], messages: list[str]) -> list[tuple[Source, Role]]:
    """Of files with the same content and role only the first, with a message for the others."""
    kept: dict[tuple[str, Role], tuple[Source, Role]] = {}
    for source, role in taken:
        first = kept.setdefault((source.sha256, role), (source, role))[0]
        if (first.path, first.member) != (source.path, source.member):
            messages.append(f"{source.name}: the same content as {first.name}; read once")
    return list(kept.values())


def _same(path: Path) -> Path:
    return Path(os.path.abspath(path))


def _files(top: Path, messages: list[str]) -> Iterator[Path]:
    """A file itself; a folder's files in the order of names, without what leads out of it."""
    if not top.is_dir():
        yield top
        return
    home = top.resolve()
    for path in _walk(top, messages):
        if path.resolve().is_relative_to(home):
            yield path
        else:
            messages.append(f"{path.name}: not read, it is a link out of {top.name}; give the file itself")


def _walk(folder: Path, messages: list[str]) -> Iterator[Path]:
    try:
        entries = sorted(folder.iterdir())
    except OSError as fault:
        raise InputError(f"{folder}: cannot be read ({fault.strerror}); check the permission") from None
    for path in entries:
        if path.name.startswith(".") or path.name == LAKE_SETTINGS:
            continue
        if not path.is_dir():
            yield path
        elif path.is_symlink():
            messages.append(f"{path.name}: not entered, it is a link to a folder; give the folder itself")
        elif (path / SUMMARY).exists() or (path / MAP).exists():
            messages.append(f"{path.name}: not entered, it holds results")
        else:
            yield from _walk(path, messages)


@dataclass(frozen=True)
class _Told:
    """The user's word on roles; what is said of a member goes before what is said of its archive or folder."""

    words: Mapping[Path, tuple[Role, ...]]
    top: Path

    def of(self, source: Source) -> tuple[Role, ...]:
        """The roles told for a source, none where nothing is said."""
        places = (source.path / source.inner, source.path, self.top)
        return next((self.words[_same(place)] for place in places if _same(place) in self.words), ())


def _take(path: Path, told: _Told, messages: list[str], *, alone: bool) -> list[tuple[Source, Role]]:
    """The file (each member of an archive) with its roles; what is no file given by itself costs a message only."""
    if not alone and path.suffix.lower() in SIDECARS and path.with_suffix(".shp").exists():
        return []
    faults: list[InputError] = []
    taken: list[tuple[Source, Role]] = []
    try:
        sources, said = sources_of(path)
    except InputError as fault:
        sources, said, faults = [], [], [fault]
    for source in sources:
        if is_metadata(source):
            continue
        try:
            taken += [(source, role) for role in _roles(source, told.of(source), messages)]
        except InputError as fault:
            faults.append(fault)
    faults += [InputError(text) for text in said]
    if alone and faults and not taken:
        raise faults[0] if len(faults) == 1 else UnknownFormat(f"{path.name}: nothing in it can be read; {faults[0]}")
    messages += [_in_short(fault) for fault in faults]
    return taken


def _in_short(fault: InputError) -> str:
    name = str(fault).partition(": ")[0]
    return f"{name}: not read, no reader takes it" if isinstance(fault, UnknownFormat) else str(fault)


def _roles(source: Source, told: Sequence[Role], messages: list[str]) -> tuple[Role, ...]:
    """The roles that the user told, else the one role that the content is fit for."""
    if told:
        for role in told:
            reader_for(source, role)
        return tuple(role for role in OPTIONS if role in told)
    judged = [(reader.role, likelihood(reader, source, messages)) for reader in find_readers()]
    odds = {role: max(value for own, value in judged if own == role) for role in roles_read()}
    least = LIKELY if max(odds.values()) >= LIKELY else PERHAPS
    likely = [role for role in odds if odds[role] >= least]
    if not likely:
        raise UnknownFormat(f"{source.name}: no reader takes it{_why(source)}; what can be read: {readable()}; "
                            "see lakemap formats")
    if len(likely) > 1:
        options = " or ".join(f"{OPTIONS[role]} {source.name}" for role in likely)
        raise AmbiguousFile(f"{source.name}: could be {' or '.join(likely)}; say which with {options}")
    return (likely[0],)


def _why(source: Source) -> str:
    """What can be said of a file that nobody takes."""
    packing = packing_of(source.head)
    return f" (it is packed with {packing}; gzip, xz and zip are read, else unpack it first)" if packing else ""


def _by_role(taken: list[tuple[Source, Role]], messages: tuple[str, ...]) -> LakeFiles:
    roles = {wanted: tuple(source for source, role in taken if role == wanted) for wanted in OPTIONS}
    return LakeFiles({role: sources for role, sources in roles.items() if sources}, messages)


def _numbered(taken: list[tuple[Source, Role]]) -> list[tuple[Source, Role]]:
    """Files that share a base name get a number, in the order of their SHA-256; a file in two roles keeps one name."""
    known: dict[str, list[str]] = {}
    for source, _ in taken:
        hashes = known.setdefault(source.name, [])
        hashes += [source.sha256] if source.sha256 not in hashes else []
    out = []
    for source, role in taken:
        hashes = known[source.name]
        name = f"{source.name} ({hashes.index(source.sha256) + 1})" if len(hashes) > 1 else source.name
        out.append((dataclasses.replace(source, name=name), role))
    return out
