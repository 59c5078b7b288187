"""gzip, xz and zip members as streams of bytes, with limits that no hostile archive passes; the disk is not touched."""

from __future__ import annotations

import io
import lzma
import struct
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, BinaryIO, Protocol, cast

from lakemap.errors import InputError

LARGEST_FILE = 4 << 30
"""A season of logging at 20 sentences a second stays below; what is larger, packed or not, is no log of ours."""
MOST_TIMES = 250
"""Real logs pack to a fifth, a boat at anchor to a hundredth; what unpacks to more times its size is made to harm."""
FREE_BYTES = 64 << 20
"""No ratio is asked below this: so little harms nobody."""
XZ_MEMORY = 256 << 20
"""Four times what xz needs for its highest level; a file may ask for 4 GB in its header."""
MOST_MEMBERS = 1000
LARGEST_DIRECTORY = 16 << 20
"""A zip's list of members is read as a whole; a thousand take 0.1 MB."""

MAGICS = {
    "gzip": b"\x1f\x8b", "xz": b"\xfd7zXZ\0", "zip": b"PK\x03\x04", "zip ": b"PK\x05\x06", "bzip2": b"BZh",
    "7z": b"7z\xbc\xaf\x27\x1c", "zstd": b"\x28\xb5\x2f\xfd", "rar": b"Rar!\x1a\x07", "lz4": b"\x04\x22\x4d\x18",
}
_TAR = slice(257, 262), b"ustar"
_BLOCK = 1 << 16
_BROKEN = (
    OSError, EOFError, zlib.error, lzma.LZMAError, zipfile.BadZipFile, NotImplementedError, RuntimeError, ValueError,
    struct.error, LookupError, OverflowError,
)


class TooMuch(InputError):
    """An archive reached a limit: nothing of it is read."""


def packing_of(head: bytes) -> str:
    """What a file is packed with by its first bytes: gzip, xz, zip (read here), tar and others (not); empty: none."""
    if head[_TAR[0]] == _TAR[1]:
        return "tar"
    return next((name.strip() for name, magic in MAGICS.items() if head.startswith(magic)), "")


@dataclass
class Budget:
    """How much may still come out of one archive of ``packed`` bytes; all its members share it."""

    name: str
    packed: int
    spent: int = 0

    def spend(self, count: int) -> None:
        """Raises TooMuch at a limit."""
        self.spent += count
        if self.spent > LARGEST_FILE:
            raise TooMuch(f"{self.name}: unpacks to more than {LARGEST_FILE} bytes, too much for logs; split it")
        if self.spent > max(FREE_BYTES, MOST_TIMES * self.packed):
            raise TooMuch(f"{self.name}: unpacks to more than {MOST_TIMES} times its size, as no log does; "
                          "unpack it yourself and look what it is")


class Unpacked(io.RawIOBase):
    """A stream of what ``produce(n)`` gives, at most n bytes a call and none at the end; faults are InputError."""

    def __init__(
        self, produce: Callable[[int], bytes], close: Callable[[], object], name: str, budget: Budget
    ) -> None:
        super().__init__()
        self._produce, self._close, self._name, self._budget = produce, close, name, budget

    def readable(self) -> bool:
        """Always."""
        return True

    def readinto(self, buffer: Any) -> int:
        """Fill a part of the buffer, 0 at the end. Raises InputError for what is broken, cut off or too much."""
        try:
            piece = self._produce(len(buffer))
        except InputError:
            raise
        except _BROKEN as fault:
            raise _broken(self._name, fault) from None
        self._budget.spend(len(piece))
        buffer[: len(piece)] = piece
        return len(piece)

    def close(self) -> None:
        """Close what lies below too."""
        if not self.closed:
            self._close()
        super().close()


class _Decompressor(Protocol):
    @property
    def eof(self) -> bool: ...
    @property
    def needs_input(self) -> bool: ...
    @property
    def unused_data(self) -> bytes: ...
    def decompress(self, data: bytes, max_length: int) -> bytes: ...


class _Gzip:
    """zlib's decompressor with the face that lzma's has."""

    def __init__(self) -> None:
        self._inner = zlib.decompressobj(31)

    @property
    def eof(self) -> bool:
        return self._inner.eof

    @property
    def needs_input(self) -> bool:
        return not self._inner.unconsumed_tail

    @property
    def unused_data(self) -> bytes:
        return self._inner.unused_data

    def decompress(self, data: bytes, max_length: int) -> bytes:
        return self._inner.decompress(self._inner.unconsumed_tail + data, max_length)


def _xz() -> _Decompressor:
    return lzma.LZMADecompressor(lzma.FORMAT_XZ, memlimit=XZ_MEMORY)


class _Streams:
    """The streams of a gzip or xz file one after the other, as recorders append them."""

    def __init__(self, file: BinaryIO, packing: str) -> None:
        self._file, self._make, self._magic = file, _xz if packing == "xz" else _Gzip, MAGICS[packing]
        self._stream: _Decompressor = self._make()
        self._waiting = b""

    def produce(self, count: int) -> bytes:
        """The next bytes, none at the end. Raises EOFError where the file ends too early, and what zlib and lzma do."""
        while not self._stream.eof or self._next_stream():
            data = b""
            if self._stream.needs_input:
                data, self._waiting = self._waiting or self._file.read(_BLOCK), b""
            if piece := self._stream.decompress(data, count):
                return piece
            if not data and self._stream.needs_input and not self._stream.eof:
                raise EOFError("it ends in the middle")
        return b""

    def _next_stream(self) -> bool:
        """Go on to another stream behind the finished one; padding with zeros is passed over."""
        rest = (self._stream.unused_data + self._waiting).lstrip(b"\0")
        while not rest and (more := self._file.read(_BLOCK)):
            rest = more.lstrip(b"\0")
        if not rest:
            return False
        rest += self._file.read(len(self._magic))
        if not rest.startswith(self._magic):
            raise ValueError("other bytes follow behind its end")
        self._stream, self._waiting = self._make(), rest
        return True


def open_packed(file: BinaryIO, packing: str, budget: Budget) -> BinaryIO:
    """The unpacked bytes of an open gzip or xz file."""
    return _buffered(Unpacked(_Streams(file, packing).produce, file.close, budget.name, budget))


def open_zip(file: BinaryIO, name: str, size: int) -> zipfile.ZipFile:
    """The list of a zip's members. Raises InputError where it is broken, TooMuch where it is too long."""
    try:
        if _directory_bytes(file, size) > LARGEST_DIRECTORY:
            raise TooMuch(f"{name}: its list of members is larger than {LARGEST_DIRECTORY} bytes; pack fewer files")
        archive = zipfile.ZipFile(file)
    except InputError:
        raise
    except _BROKEN as fault:
        raise _broken(name, fault) from None
    if len(archive.infolist()) > MOST_MEMBERS:
        raise TooMuch(f"{name}: {len(archive.infolist())} members, more than {MOST_MEMBERS}; pack fewer files")
    return archive


def open_member(
    archive: zipfile.ZipFile, info: zipfile.ZipInfo, close: Callable[[], object], name: str, budget: Budget
) -> BinaryIO:
    """The unpacked bytes of one member; ``close`` is called with it. Raises InputError where it cannot be opened."""
    try:
        stream = archive.open(info)
    except _BROKEN as fault:
        raise _broken(name, fault) from None

    def closed() -> None:
        stream.close()
        close()

    return _buffered(Unpacked(stream.read, closed, name, budget))


def _buffered(stream: io.RawIOBase) -> BinaryIO:
    return cast(BinaryIO, io.BufferedReader(stream, _BLOCK))


def _broken(name: str, fault: Exception) -> InputError:
    reason = " ".join(str(fault).split()) or type(fault).__name__
    return InputError(f"{name}: broken or cut off while it was packed or copied ({reason}); copy it again")


def _directory_bytes(file: BinaryIO, size: int) -> int:
    """Length of a zip's list of members as its end records say, before anything of it is held in memory."""
    file.seek(max(0, size - (1 << 16) - 98))
    tail = file.read()
    at = tail.rfind(MAGICS["zip "])
    if at < 0 or len(tail) < at + 22:
        raise zipfile.BadZipFile("its end is missing")
    lengths = [struct.unpack_from("<L", tail, at + 12)[0]]
    if (large := tail.rfind(b"PK\x06\x06", 0, at)) >= 0 and large + 56 <= len(tail):
        lengths.append(struct.unpack_from("<Q", tail, large + 40)[0])
    known = [length for length in lengths if length != 0xFFFFFFFF]
    return max(known, default=LARGEST_DIRECTORY + 1)
