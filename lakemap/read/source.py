"""One file of the user's: its name, hash and first bytes; the only way that readers reach it."""

from __future__ import annotations

import hashlib
import stat
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO, Self

from lakemap.errors import InputError

HEAD_BYTES = 1 << 16
"""What readers judge a file by: some 800 lines of a log."""
LARGEST_FILE = 4 << 30
"""A season of logging at 20 sentences a second stays below; what is larger is no log of ours."""
LARGEST_TEXT = 1 << 30
"""A file that must be held in memory whole (table, XML, JSON)."""
_BLOCK = 1 << 20


@dataclass(frozen=True)
class Source:
    """``name`` is the base name, numbered where several files share it; ``head`` the first HEAD_BYTES."""

    path: Path
    name: str
    sha256: str
    size: int
    head: bytes = field(repr=False)

    @classmethod
    def of(cls, path: Path) -> Self:
        """Look at a file once. Raises InputError where it is missing, empty, no plain file, unreadable or too large."""
        try:
            facts = path.stat()
            if not stat.S_ISREG(facts.st_mode):
                raise InputError(f"{path}: not a plain file; give a file or a folder of files")
            if facts.st_size > LARGEST_FILE:
                raise InputError(f"{path}: {facts.st_size} bytes, more than the {LARGEST_FILE} that a log may have")
            digest, head = _digest(path)
        except OSError as fault:
            raise InputError(f"{path}: cannot be read ({fault.strerror}); check the name and the permission") from None
        except ValueError as fault:
            raise InputError(f"{str(path)!r}: no name of a file ({fault})") from None
        if not head:
            raise InputError(f"{path}: the file is empty; leave it out or record it again")
        return cls(path, path.name, digest, facts.st_size, head)

    def open(self) -> BinaryIO:
        """The file, for reading bytes; raises InputError where that fails."""
        try:
            return self.path.open("rb")
        except OSError as fault:
            raise InputError(f"{self.name}: cannot be read ({fault.strerror})") from None

    def data(self) -> bytes:
        """All bytes; raises InputError for a file too large to be held in memory."""
        if self.size > LARGEST_TEXT:
            raise InputError(f"{self.name}: {self.size} bytes; a file of this kind may have {LARGEST_TEXT}, split it")
        with self.open() as file:
            return file.read()

    def text(self) -> str:
        """All of it as text, see as_text."""
        return as_text(self.data())


def as_text(data: bytes) -> str:
    """UTF-16 where its mark says so, UTF-8 where it is valid, else Latin-1; never fails, drops the mark."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        cut_in_a_letter = fault.start >= len(data) - 3 and len(data) >= HEAD_BYTES
        return data[: fault.start].decode("utf-8-sig") if cut_in_a_letter else data.decode("latin-1")


def _digest(path: Path) -> tuple[str, bytes]:
    whole = hashlib.sha256()
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
        whole.update(head)
        while block := file.read(_BLOCK):
            whole.update(block)
    return whole.hexdigest(), head
