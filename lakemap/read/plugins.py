"""All readers, ours and those of installed packages; what a plug-in does wrong costs one line, never the run."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from typing import TypeVar

from lakemap.errors import InputError, UnknownFormat
from lakemap.plugin_folder import find_classes
from lakemap.read.promises import broken_promises
from lakemap.read.reader import OPTIONS, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

GROUP = "lakemap.readers"
Result = TypeVar("Result")


@lru_cache(maxsize=1)
def _found() -> tuple[tuple[Reader, ...], tuple[str, ...]]:
    import lakemap.read

    faults: list[str] = []
    readers: list[Reader] = []
    for cls in find_classes(lakemap.read, Reader, GROUP, faults):  # type: ignore[type-abstract]
        try:
            reader = cls()
            missing = [part for part in ("name", "role", "suffixes", "summary") if not hasattr(reader, part)]
            if missing or reader.role not in OPTIONS:
                raise TypeError(f"has no {missing[0]}" if missing else f"role {reader.role!r} is none of ours")
        except Exception as fault:
            if cls.__module__.startswith("lakemap."):
                raise
            faults.append(f"reader plug-in {cls.__name__} of {cls.__module__} is not used ({told(fault)}); "
                          "mend or remove its package")
        else:
            readers.append(reader)
    return tuple(readers), tuple(faults)


def find_readers() -> tuple[Reader, ...]:
    """One of each reader: those of this folder, and those that installed packages offer."""
    return _found()[0]


def plugin_faults() -> tuple[str, ...]:
    """A line for each reader that an installed package offers but that cannot be loaded."""
    return _found()[1]


def forget_readers() -> None:
    """Look for readers anew when next asked, as after a package came or went."""
    _found.cache_clear()


def roles_read() -> tuple[Role, ...]:
    """Roles that some reader takes, in the order of OPTIONS."""
    taken = {reader.role for reader in find_readers()}
    return tuple(role for role in OPTIONS if role in taken)


def readable(role: Role | None = None) -> str:
    """Names of the readers of a role, or of all."""
    return ", ".join(reader.name for reader in find_readers() if role in (None, reader.role))


def is_plugin(reader: Reader) -> bool:
    """Whether a reader comes from another package."""
    return not type(reader).__module__.startswith("lakemap.")


def told(fault: BaseException) -> str:
    """A fault in one line."""
    text = " ".join(str(fault).split())
    return f"{type(fault).__name__}: {text[:200]}" if text else type(fault).__name__


def likelihood(reader: Reader, source: Source, messages: list[str] | None = None) -> float:
    """What a reader makes of a file; 0, and a message, where a plug-in raises or gives no likelihood."""
    if not is_plugin(reader):
        return reader.likelihood(source)
    try:
        odds = guarded(reader, source, lambda: float(reader.likelihood(source)))
        if not (math.isfinite(odds) and 0 <= odds <= 1):
            raise InputError(f"{_of(reader, source)} gave likelihood {odds}, not 0 to 1")
    except InputError as fault:
        if messages is not None:
            messages.append(f"{fault}; passed over")
        return 0.0
    return odds


def reader_for(source: Source, role: Role) -> Reader:
    """The likeliest reader of a file in a role. Raises UnknownFormat where none of that role knows its content."""
    odds = {reader: likelihood(reader, source) for reader in find_readers() if reader.role == role}
    best = max(odds, key=lambda reader: odds[reader], default=None)
    if best is None or odds[best] <= 0:
        raise UnknownFormat(f"{source.name}: cannot be taken as {role}; such a file may be: {readable(role)}")
    return best


def read_one(source: Source, role: Role, settings: ReadSettings) -> object:
    """What a file holds, by its likeliest reader in a role.

    Raises InputError where it cannot be read: also for a disk that fails in mid-file, and for all that a plug-in does.
    """
    reader = reader_for(source, role)
    try:
        if not is_plugin(reader):
            return reader.read(source, settings)
        found = guarded(reader, source, lambda: reader.read(source, settings))
    except OSError as fault:
        raise InputError(f"{source.name}: cannot be read ({fault.strerror or told(fault)}); copy it again") from None
    if broken := broken_promises(found, role, source):
        raise InputError(f"{_of(reader, source)} {broken[0]}; tell its author")
    return found


def guarded(reader: Reader, source: Source, call: Callable[[], Result]) -> Result:
    """The result of asking a plug-in; InputError with its name and the file's for whatever it raises."""
    try:
        return call()
    except InputError as fault:
        raise InputError(" ".join(str(fault).split())) from None
    except (Exception, SystemExit) as fault:
        raise InputError(f"{_of(reader, source)} raised {told(fault)}; tell its author") from None


def _of(reader: Reader, source: Source) -> str:
    return f"{source.name}: reader plug-in {reader.name} ({type(reader).__module__})"
