"""PNG of a palette (ISO/IEC 15948), the same bytes for the same picture: no dates, no text, one level of packing."""

from __future__ import annotations

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_BITS, _INDEXED = 8, 3


def palette_png(codes: NDArray[np.uint8], palette: NDArray[np.uint8]) -> bytes:
    """``codes`` (rows, columns) into ``palette`` (k, 4): red, green, blue, opacity."""
    rows, columns = codes.shape
    unfiltered = np.zeros((rows, columns + 1), np.uint8)
    unfiltered[:, 1:] = codes
    chunks = (
        (b"IHDR", struct.pack(">IIBBBBB", columns, rows, _BITS, _INDEXED, 0, 0, 0)),
        (b"PLTE", palette[:, :3].tobytes()), (b"tRNS", palette[:, 3].tobytes()),
        (b"IDAT", zlib.compress(unfiltered.tobytes(), 9)), (b"IEND", b""),
    )
    return _SIGNATURE + b"".join(_chunk(kind, content) for kind, content in chunks)


def _chunk(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))
