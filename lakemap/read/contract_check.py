"""The reader contract as a check that anybody can run on their own reader::

    from lakemap.read.contract_check import broken_contract

    def test_my_reader_keeps_the_contract(tmp_path):
        assert broken_contract(MyReader(), [Path("short.log").read_bytes()], tmp_path) == []
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from pathlib import Path

from lakemap.errors import InputError
from lakemap.model.soundings import COLUMN_DTYPES, Soundings
from lakemap.read.promises import broken_promises
from lakemap.read.reader import OPTIONS, PERHAPS, Reader
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

TRIES = 60
"""Damaged inputs made of each sample."""
_ODD = (
    b"\0", b"\xff", b"\n", b"\r", b",", b";", b'"', b"-", b"1e400", b"nan", b"99999999999999999999", b"\xef\xbb\xbf",
    b"\xff\xfe", b"{", b"[", b"]", b"}", b"<", b">", b"&x;", b"$", b"*", b"=1+1", b"9999-99-99T99:99:99Z", b" " * 50,
)


def broken_contract(
    reader: Reader, samples: Sequence[bytes], folder: Path, settings: ReadSettings | None = None, tries: int = TRIES
) -> list[str]:
    """Each promise that a reader breaks, as a sentence; empty for a good one.

    ``samples`` are whole small files of its format; they, and damaged ones, are written to ``folder`` and read with
    ``settings``. What a reader promises: it says what it is; it judges content and not names; whatever the bytes, it
    raises nothing but InputError, one line that names the file; it gives what its role wants (promises.py lists it),
    the same each time, and leaves the file as it was.
    """
    settings = settings or ReadSettings()
    out = _of_class(reader)
    for number, sample in enumerate(samples, 1):
        out += [f"sample {number}: {text}" for text in _of_sample(reader, sample, folder, settings)]
        for damaged in mutants(sample, tries, number):
            out += [f"sample {number}, damaged: {text}" for text in _of_bytes(reader, damaged, folder, settings)]
    return list(dict.fromkeys(out))


def _of_class(reader: Reader) -> list[str]:
    said = {
        "has no name": not reader.name.strip(),
        f"has role {reader.role!r}, none of {', '.join(OPTIONS)}": reader.role not in OPTIONS,
        "has a suffix without a dot": not all(suffix.startswith(".") for suffix in reader.suffixes),
        "needs a summary of one line": not reader.summary.strip() or "\n" in reader.summary,
    }
    return [text for text, broken in said.items() if broken]


def _of_sample(reader: Reader, sample: bytes, folder: Path, settings: ReadSettings) -> list[str]:
    path = folder / "sample.x"
    path.write_bytes(sample)
    source = Source.of(path)
    odds = reader.likelihood(source)
    (folder / "other.name.log").write_bytes(sample)
    before = {found.name for found in folder.iterdir()}
    out = [] if PERHAPS <= odds <= 1 else [f"has likelihood {odds} for a file of its own; {PERHAPS} or more is one"]
    if reader.likelihood(Source.of(folder / "other.name.log")) != odds:
        out.append("judges by the name of a file")
    try:
        first, again = reader.read(source, settings), reader.read(source, settings)
    except InputError as fault:
        return [*out, f"refuses a file of its own ({fault})"]
    except Exception as fault:
        return [*out, f"raises {type(fault).__name__} for a file of its own"]
    out += broken_promises(first, reader.role, source)
    if isinstance(first, Soundings) and isinstance(again, Soundings) and not _same(first, again):
        out.append("gives something else the second time")
    if {found.name for found in folder.iterdir()} != before or path.read_bytes() != sample:
        out.append("writes beside or into the file")
    return out


def _of_bytes(reader: Reader, content: bytes, folder: Path, settings: ReadSettings) -> list[str]:
    """What is wrong with how a reader takes arbitrary bytes."""
    path = folder / "damaged.x"
    path.write_bytes(content or b" ")
    try:
        source = Source.of(path)
        odds = reader.likelihood(source)
        found = reader.read(source, settings)
    except InputError as fault:
        text = str(fault)
        return [f"raises several lines: {text!r}"] if "\n" in text else []
    except Exception as fault:
        return [f"raises {type(fault).__name__} ({' '.join(str(fault).split())[:100]}) and not InputError"]
    out = [] if 0 <= odds <= 1 else [f"has likelihood {odds}, not 0 to 1"]
    return out + broken_promises(found, reader.role, source)


def _same(one: Soundings, other: Soundings) -> bool:
    columns = ((getattr(one, name), getattr(other, name)) for name in COLUMN_DTYPES)
    return len(one) == len(other) and all(a.tobytes() == b.tobytes() for a, b in columns) and one.logs == other.logs


def mutants(sample: bytes, count: int, seed: int) -> Iterator[bytes]:
    """``count`` damaged copies of a file, the same each time: bytes changed, put in, taken out, doubled, cut off."""
    draw = random.Random(seed)
    for _ in range(count):
        made = bytearray(sample)
        for _ in range(draw.choice((1, 1, 2, 4, 16))):
            _damage(made, draw)
        yield bytes(made)


def _damage(made: bytearray, draw: random.Random) -> None:
    at, kind = draw.randrange(len(made) + 1), draw.randrange(7)
    end = min(len(made), at + draw.choice((1, 2, 8, 40, 400)))
    if kind == 0 and at < len(made):
        made[at] = draw.randrange(256)
    elif kind == 1 and at < len(made):
        made[at] ^= 1 << draw.randrange(8)
    elif kind == 2:
        made[at:at] = draw.choice(_ODD)
    elif kind == 3:
        del made[at:end]
    elif kind == 4:
        made[at:at] = made[at:end]
    elif kind == 5:
        made[at:end] = draw.choice(_ODD)
    elif draw.random() < 0.3:
        del made[at:]
