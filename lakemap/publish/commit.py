"""Files put in place whole: each is written under another name and moved, and summary.json comes last.

A folder with summary.json is finished and holds what it lists; without it, it is not, whatever else lies there.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pyogrio.errors
from rasterio.errors import RasterioError

from lakemap.errors import OutputError
from lakemap.model.outputs import ALL, SUMMARY

Writer = Callable[[Path], object]

_CHUNK = 1 << 20
_SIDE_FILES = ("-journal", "-wal", "-shm", ".aux.xml")
"""Endings that drivers put behind a file's name for files of their own."""


@dataclass
class OutputFolder:
    """The folder of one run; ``written`` tells size and SHA-256 of each file put in place so far."""

    folder: Path
    written: dict[str, dict[str, Any]] = field(default_factory=dict)

    @classmethod
    def opened(cls, folder: Path) -> OutputFolder:
        """Make the folder if needed and take away summary.json: from here on it is unfinished.

        Raises OutputError where that cannot be done.
        """
        try:
            folder.mkdir(parents=True, exist_ok=True)
            (folder / SUMMARY).unlink(missing_ok=True)
        except OSError as fault:
            raise _refusal(folder, fault) from None
        return cls(folder)

    def put(self, name: str, write: Writer) -> None:
        """Let ``write`` make the file under another name in the same folder, then move it to ``name``.

        Raises OutputError where it cannot be written; nothing of it is left then, and an older file stays.
        """
        unfinished = self.folder / f".{Path(name).stem}.part{Path(name).suffix}"
        try:
            _remove(unfinished)
            write(unfinished)
            _to_disk(unfinished)
            size, digest = unfinished.stat().st_size, _sha256(unfinished)
            os.replace(unfinished, self.folder / name)
        except (OSError, RasterioError, pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as fault:
            raise _refusal(self.folder / name, fault) from None
        except OutputError as fault:
            raise OutputError(str(fault).replace(unfinished.name, name)) from None
        finally:
            _remove(unfinished)
        self.written[name] = {"bytes": size, "sha256": digest}

    def put_bytes(self, name: str, content: bytes) -> None:
        """Put a file with this content in place. Raises OutputError."""
        self.put(name, lambda path: path.write_bytes(content))

    def remove_stale(self) -> None:
        """Take away files of an earlier run that this one has no content for. Raises OutputError."""
        for name in ALL:
            if name not in self.written:
                try:
                    (self.folder / name).unlink(missing_ok=True)
                except OSError as fault:
                    raise _refusal(self.folder / name, fault) from None

    def listing(self) -> dict[str, dict[str, Any]]:
        """Every file written but the summary, in the order of model/outputs.py."""
        return {name: self.written[name] for name in ALL if name in self.written and name != SUMMARY}


def write_whole(path: Path, content: bytes) -> None:
    """One file put in place whole or not at all. Raises OutputError."""
    try:
        OutputFolder(path.parent).put_bytes(path.name, content)
    except OutputError as fault:
        raise OutputError(str(fault).replace("another folder with --out", "another place with --to")) from None


def _refusal(path: Path, fault: Exception) -> OutputError:
    reason = getattr(fault, "strerror", None) or " ".join(str(fault).split()) or type(fault).__name__
    return OutputError(f"{path}: cannot be written ({reason}); make room or choose another folder with --out")


def _remove(unfinished: Path) -> None:
    for path in (unfinished, *(unfinished.with_name(unfinished.name + ending) for ending in _SIDE_FILES)):
        try:
            path.unlink(missing_ok=True)
        except OSError:
            # what could not be written can often not be removed either; the first fault is the one to tell
            continue


def _to_disk(path: Path) -> None:
    """Some file systems say that they are full only now."""
    with path.open("rb+") as opened:
        os.fsync(opened.fileno())


def _sha256(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as opened:
        while chunk := opened.read(_CHUNK):
            digest.update(chunk)
    return digest.hexdigest()
