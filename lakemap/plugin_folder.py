"""Finds the classes in a folder of the package, and those that installed packages offer through entry points."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from importlib.metadata import entry_points
from types import ModuleType
from typing import TypeVar

Kind = TypeVar("Kind")


def find_classes(
    package: ModuleType, base: type[Kind], group: str | None = None, faults: list[str] | None = None
) -> list[type[Kind]]:
    """Every concrete class derived from ``base`` in the modules of ``package`` and in the entry-point ``group``.

    Sorted by name, so that the order never depends on the file system; ours stand before others of the same name.
    An entry point that does not load, or is no such class, costs a line in ``faults``.
    """
    found: dict[tuple[str, bool, str], type[Kind]] = {}
    for info in pkgutil.iter_modules(package.__path__):
        module = importlib.import_module(f"{package.__name__}.{info.name}")
        found.update(((cls.__name__, False, cls.__module__), cls) for cls in _concrete(module, base))
    for point in entry_points(group=group) if group else ():
        try:
            loaded = point.load()
            if not (inspect.isclass(loaded) and issubclass(loaded, base)) or inspect.isabstract(loaded):
                raise TypeError(f"no whole class derived from {base.__name__}")
        except (Exception, SystemExit) as fault:
            said = " ".join(f"{type(fault).__name__}: {fault}".split())
            (faults if faults is not None else []).append(
                f"plug-in {point.name} ({point.value}) of {group} cannot be loaded ({said}); mend or remove its package"
            )
        else:
            found[loaded.__name__, True, loaded.__module__] = loaded
    return [found[name] for name in sorted(found)]


def _concrete(module: ModuleType, base: type[Kind]) -> list[type[Kind]]:
    classes = (cls for _, cls in inspect.getmembers(module, inspect.isclass))
    return [
        cls for cls in classes
        if issubclass(cls, base) and not inspect.isabstract(cls) and cls.__module__ == module.__name__
    ]
