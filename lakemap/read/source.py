"""One file of the user's, or one member of an archive: its name, hash and first bytes; how readers reach it."""

from __future__ import annotations

import dataclasses
import hashlib
import io
import stat
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO, Self

from lakemap.errors import InputError
from lakemap.read.unpack import LARGEST_FILE, Budget, open_member, open_packed, open_zip, packing_of

HEAD_BYTES = 1 << 16
"""What readers judge a file by: some 800 lines of a log."""
LARGEST_TEXT = 1 << 30
"""A file that must be held in memory whole (table, XML, JSON)."""
_BLOCK = 1 << 20
NO_MEMBER = -1


@dataclass(frozen=True)
class Source:
    """``name`` is the base name (``archive.zip/member`` in a zip), numbered where several files share it; ``head``
    the first HEAD_BYTES, ``size`` and ``sha256`` those of the bytes as unpacked. ``content`` replaces the file."""

    path: Path
    name: str
    sha256: str
    size: int
    head: bytes = field(repr=False)
    packing: str = ""
    member: int = NO_MEMBER
    inner: str = ""
    content: bytes | None = field(default=None, repr=False)

    @classmethod
    def of(cls, path: Path) -> Self:
        """Look at a file once, through its gzip or xz packing.

        Raises InputError where it is missing, empty, no plain file, unreadable, broken or too large.
        """
        packing = packing_of(first_bytes(path))
        blank = cls(path, path.name, "", 0, b"", packing if packing in ("gzip", "xz") else "")
        with blank.open() as file:
            return blank.looked_at(file)

    @classmethod
    def holding(cls, like: Source, content: bytes) -> Self:
        """Bytes that were made out of another source, under its name and hash."""
        return cls(like.path, like.name, like.sha256, len(content), content[:HEAD_BYTES], content=content)

    def looked_at(self, file: BinaryIO) -> Self:
        """The same with hash, size and head of its bytes, read once from ``file``. Raises InputError as of() does."""
        try:
            digest, size, head = _digest(file)
        except OSError as fault:
            raise _unreadable(self.path, fault) from None
        if not head:
            raise InputError(f"{self.name}: the file is empty; leave it out or record it again")
        return dataclasses.replace(self, sha256=digest, size=size, head=head)

    def open(self) -> BinaryIO:
        """The bytes as unpacked, a stream. Raises InputError where that fails, and the stream does for bad packing."""
        if self.content is not None:
            return io.BytesIO(self.content)
        try:
            file = self.path.open("rb")
            packed = self.path.stat().st_size
        except OSError as fault:
            raise _unreadable(self.path, fault) from None
        budget = Budget(self.name, packed)
        if self.member != NO_MEMBER:
            try:
                archive = open_zip(file, self.path.name, packed)
                return open_member(archive, archive.infolist()[self.member], file.close, self.name, budget)
            except InputError:
                file.close()
                raise
        return open_packed(file, self.packing, budget) if self.packing else file

    def data(self) -> bytes:
        """All bytes; raises InputError for a file too large to be held in memory."""
        if self.size > LARGEST_TEXT:
            raise InputError(f"{self.name}: {self.size} bytes; a file of this kind may have {LARGEST_TEXT}, split it")
        with self.open() as file:
            return file.read()

    def text(self) -> str:
        """All of it as text, see as_text."""
        return as_text(self.data())


def first_bytes(path: Path) -> bytes:
    """The first few hundred bytes of a plain file. Raises InputError where it is none or cannot be read."""
    try:
        facts = path.stat()
        if not stat.S_ISREG(facts.st_mode):
            raise InputError(f"{path}: not a plain file; give a file or a folder of files")
        if facts.st_size > LARGEST_FILE:
            raise InputError(f"{path}: {facts.st_size} bytes, more than the {LARGEST_FILE} of any log; split it")
        with path.open("rb") as file:
            return file.read(512)
    except OSError as fault:
        raise _unreadable(path, fault) from None
    except ValueError as fault:
        raise InputError(f"{str(path)!r}: no name of a file ({fault}); check it") from None


def as_text(data: bytes) -> str:
    """UTF-16 where its mark says so, UTF-8 where it is valid, else Latin-1; never fails, drops the mark."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        cut_in_a_letter = fault.start >= len(data) - 3 and len(data) >= HEAD_BYTES
        return data[: fault.start].decode("utf-8-sig") if cut_in_a_letter else data.decode("latin-1")


def _unreadable(path: Path, fault: OSError) -> InputError:
    return InputError(f"{path}: cannot be read ({fault.strerror or fault}); check the name and the permission")


def _digest(file: BinaryIO) -> tuple[str, int, bytes]:
    whole = hashlib.sha256()
    head = file.read(HEAD_BYTES)
    whole.update(head)
    size = len(head)
    while block := file.read(_BLOCK):
        whole.update(block)
        size += len(block)
    return whole.hexdigest(), size, head
