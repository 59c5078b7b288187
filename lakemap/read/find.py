"""Which reader takes which file: roles are judged by content, or given; a file that could be two things is refused."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

from lakemap.errors import AmbiguousFile, InputError, UnknownFormat
from lakemap.model.outputs import MAP, SUMMARY
from lakemap.plugin_folder import find_classes
from lakemap.read.reader import LIKELY, OPTIONS, PERHAPS, Reader, Role
from lakemap.read.source import Source

GROUP = "lakemap.readers"
SIDECARS = frozenset((".shx", ".dbf", ".prj", ".cpg", ".qix", ".sbn", ".sbx"))
"""Files that belong to a Shapefile beside them."""
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


@lru_cache(maxsize=1)
def find_readers() -> tuple[Reader, ...]:
    """One of each reader: those of this folder, and those that installed packages offer."""
    import lakemap.read

    return tuple(cls() for cls in find_classes(lakemap.read, Reader, group=GROUP))  # type: ignore[type-abstract]


def roles_read() -> tuple[Role, ...]:
    """Roles that some reader takes, in the order of OPTIONS."""
    taken = {reader.role for reader in find_readers()}
    return tuple(role for role in OPTIONS if role in taken)


def reader_for(source: Source, role: Role) -> Reader:
    """The likeliest reader of a file in a role. Raises UnknownFormat where none of that role knows its content."""
    odds = {reader: reader.likelihood(source) for reader in find_readers() if reader.role == role}
    best = max(odds, key=lambda reader: odds[reader], default=None)
    if best is None or odds[best] <= 0:
        raise UnknownFormat(f"{source.name}: cannot be taken as {role}; such a file may be: {_readable(role)}")
    return best


def sort_files(paths: Sequence[Path], forced: Mapping[Path, Forced] | None = None) -> LakeFiles:
    """Files and folders (with what is in them) by role; ``forced`` gives the role or roles of some by the user's word.

    Inside a folder a file that no reader takes, hidden files and folders of results cost a message only.
    Raises UnknownFormat, AmbiguousFile, InputError.
    """
    words: dict[Path, tuple[Role, ...]] = {}
    for path, given in (forced or {}).items():
        words[_same(path)] = words.get(_same(path), ()) + ((given,) if isinstance(given, str) else tuple(given))
    messages: list[str] = []
    taken: list[tuple[Source, Role]] = []
    seen: set[Path] = set()
    for top in paths:
        for path in _files(top, messages):
            if _same(path) in seen:
                continue
            seen.add(_same(path))
            told = words.get(_same(path), words.get(_same(top), ()))
            taken += _take(path, told, messages, alone=path == top)
    taken = _once_each(sorted(taken, key=lambda pair: (pair[0].name, pair[0].sha256)), messages)
    return _by_role(_numbered(taken), tuple(sorted(messages)))


def _once_each(taken: list[tuple[Source, Role]], messages: list[str]) -> list[tuple[Source, Role]]:
    """Of files with the same content and role only the first, with a message for the others."""
    kept: dict[tuple[str, Role], tuple[Source, Role]] = {}
    for source, role in taken:
        first = kept.setdefault((source.sha256, role), (source, role))[0]
        if first is not source:
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
        if path.name.startswith("."):
            continue
        if not path.is_dir():
            yield path
        elif path.is_symlink():
            messages.append(f"{path.name}: not entered, it is a link to a folder; give the folder itself")
        elif (path / SUMMARY).exists() or (path / MAP).exists():
            messages.append(f"{path.name}: not entered, it holds results")
        else:
            yield from _walk(path, messages)


def _take(path: Path, told: Sequence[Role], messages: list[str], *, alone: bool) -> list[tuple[Source, Role]]:
    """The file with its role or roles; none, and a message, for one inside a folder that cannot be taken."""
    if not alone and path.suffix.lower() in SIDECARS and path.with_suffix(".shp").exists():
        return []
    try:
        source = Source.of(path)
        return [(source, role) for role in _roles(source, told)]
    except InputError as fault:
        if alone:
            raise
        unknown = isinstance(fault, UnknownFormat)
        messages.append(f"{path.name}: not read, no reader takes it" if unknown else f"{fault}")
        return []


def _roles(source: Source, told: Sequence[Role]) -> tuple[Role, ...]:
    """The roles that the user told, else the one role that the content is fit for."""
    if told:
        for role in told:
            reader_for(source, role)
        return tuple(role for role in OPTIONS if role in told)
    odds = {
        role: max(reader.likelihood(source) for reader in find_readers() if reader.role == role)
        for role in roles_read()
    }
    least = LIKELY if max(odds.values()) >= LIKELY else PERHAPS
    likely = [role for role in odds if odds[role] >= least]
    if not likely:
        raise UnknownFormat(f"{source.name}: no reader takes it; what can be read: {_readable()}; see lakemap formats")
    if len(likely) > 1:
        options = " or ".join(f"{OPTIONS[role]} {source.name}" for role in likely)
        raise AmbiguousFile(f"{source.name}: could be {' or '.join(likely)}; say which with {options}")
    return (likely[0],)


def _readable(role: Role | None = None) -> str:
    return ", ".join(reader.name for reader in find_readers() if role in (None, reader.role))


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
