"""Which reader takes which file: roles are judged by content, or given; a file that could be two things is refused."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from lakemap.errors import AmbiguousFile, InputError, UnknownFormat
from lakemap.model.outputs import MAP, SUMMARY
from lakemap.plugin_folder import find_classes
from lakemap.read.reader import PERHAPS, Reader, Role
from lakemap.read.source import Source

GROUP = "lakemap.readers"
SIDECARS = frozenset((".shx", ".dbf", ".prj", ".cpg", ".qix", ".sbn", ".sbx"))
"""Files that belong to a Shapefile beside them."""
OPTIONS: Mapping[Role, str] = {"log": "--log", "marks": "--marks", "shore": "--shore"}


@dataclass(frozen=True)
class LakeFiles:
    """Files by role, each in the order of names (then of SHA-256), and what there is to say about the rest."""

    logs: tuple[Source, ...] = ()
    marks: tuple[Source, ...] = ()
    shore: tuple[Source, ...] = ()
    messages: tuple[str, ...] = ()


@lru_cache(maxsize=1)
def find_readers() -> tuple[Reader, ...]:
    """One of each reader: those of this folder, and those that installed packages offer."""
    import lakemap.read

    return tuple(cls() for cls in find_classes(lakemap.read, Reader, group=GROUP))  # type: ignore[type-abstract]


def reader_for(source: Source, role: Role) -> Reader:
    """The likeliest reader of a file in a role. Raises UnknownFormat where none of that role knows its content."""
    odds = {reader: reader.likelihood(source) for reader in find_readers() if reader.role == role}
    best = max(odds, key=lambda reader: odds[reader], default=None)
    if best is None or odds[best] <= 0:
        raise UnknownFormat(f"{source.name}: cannot be taken as {role}; such a file may be: {_readable(role)}")
    return best


def sort_files(paths: Sequence[Path], forced: Mapping[Path, Role | str] | None = None) -> LakeFiles:
    """Files and folders (with what is in them) by role; ``forced`` gives the role of some by the user's word.

    Inside a folder a file that no reader takes, hidden files and folders of results cost a message only.
    Raises UnknownFormat, AmbiguousFile, InputError.
    """
    forced = {_same(path): role for path, role in (forced or {}).items()}
    messages: list[str] = []
    taken: list[tuple[Source, Role]] = []
    seen: set[Path] = set()
    for top in paths:
        for path in _files(top, messages):
            if _same(path) in seen:
                continue
            seen.add(_same(path))
            word = forced.get(_same(path), forced.get(_same(top)))
            found = _take(path, word, messages, alone=path == top)
            taken += [found] if found else []
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
    return Path(path).absolute()


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


def _take(path: Path, word: str | None, messages: list[str], *, alone: bool) -> tuple[Source, Role] | None:
    """The file and its role; None, and a message, for one inside a folder that cannot be taken."""
    if not alone and path.suffix.lower() in SIDECARS and path.with_suffix(".shp").exists():
        return None
    try:
        source = Source.of(path)
        return source, _role(source, word)
    except InputError as fault:
        if alone:
            raise
        unknown = isinstance(fault, UnknownFormat)
        messages.append(f"{path.name}: not read, no reader takes it" if unknown else f"{fault}")
        return None


def _role(source: Source, word: str | None) -> Role:
    roles = [role for role in OPTIONS if word in (None, role)]
    if word is not None:
        reader_for(source, roles[0])
        return roles[0]
    odds = {role: max((r.likelihood(source) for r in find_readers() if r.role == role), default=0.0) for role in roles}
    likely = [role for role in roles if odds[role] >= PERHAPS]
    if not likely:
        raise UnknownFormat(f"{source.name}: no reader takes it; what can be read: {_readable()}; see lakemap formats")
    if len(likely) > 1:
        options = " or ".join(f"{OPTIONS[role]} {source.name}" for role in likely)
        raise AmbiguousFile(f"{source.name}: could be {' or '.join(likely)}; say which with {options}")
    return likely[0]


def _readable(role: Role | None = None) -> str:
    return ", ".join(reader.name for reader in find_readers() if role in (None, reader.role))


def _by_role(taken: list[tuple[Source, Role]], messages: tuple[str, ...]) -> LakeFiles:
    logs, marks, shore = (tuple(source for source, role in taken if role == wanted) for wanted in OPTIONS)
    return LakeFiles(logs, marks, shore, messages)


def _numbered(taken: list[tuple[Source, Role]]) -> list[tuple[Source, Role]]:
    """Files that share a base name get a number, in the order of their SHA-256."""
    shared = Counter(source.name for source, _ in taken)
    counted: Counter[str] = Counter()
    out = []
    for source, role in taken:
        counted[source.name] += 1
        name = f"{source.name} ({counted[source.name]})" if shared[source.name] > 1 else source.name
        out.append((dataclasses.replace(source, name=name), role))
    return out
