"""Damaged files by the hundred thousand through every reader, on demand::

    python tests/bench/fuzz_readers.py [INPUTS] [MINUTES] [FIRST]

Each input is a damaged copy of a small valid file; it is judged and read by its own reader, every twentieth is judged
by all and read by whichever would take it. Readers of text get most of the inputs; formats that a library reads from a
file of their own get one in a hundred, in processes of their own, so that a crash of the library is found too. Prints
counts, times and each kind of finding once.
"""

from __future__ import annotations

import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from reader_samples import binary_samples, text_samples  # noqa: E402

from lakemap.errors import InputError  # noqa: E402
from lakemap.read.contract_check import mutants  # noqa: E402
from lakemap.read.plugins import find_readers  # noqa: E402
from lakemap.read.promises import broken_promises  # noqa: E402
from lakemap.read.reader import PERHAPS  # noqa: E402
from lakemap.read.settings import ReadSettings  # noqa: E402
from lakemap.read.source import Source  # noqa: E402

SETTINGS = ReadSettings(depth_unit="m")
SLOW_S, HANGS_S = 2.0, 30
BATCH = 250
BINARY_SHARE, ALL_READERS = 100, 20


def finding(path, own, all_readers):
    "What is wrong with how the readers take one file: empty for nothing; and how many readers read it."
    try:
        source = Source.of(path)
    except InputError:
        return "", 0
    read = 0
    for reader in find_readers():
        if not (all_readers or reader.name == own):
            continue
        started = time.perf_counter()
        try:
            odds = reader.likelihood(source)
            if not 0 <= odds <= 1:
                return f"{reader.name}: likelihood {odds}", read
            if odds >= PERHAPS or reader.name == own:
                read += 1
                broken = broken_promises(reader.read(source, SETTINGS), reader.role, source)
                if broken:
                    return f"{reader.name}: {broken[0]}", read
        except InputError as fault:
            if "\n" in str(fault):
                return f"{reader.name}: several lines", read
        except Exception as fault:
            where = fault.__traceback__
            while where.tb_next:
                where = where.tb_next
            at = f"{Path(where.tb_frame.f_code.co_filename).name}:{where.tb_lineno}"
            return f"{reader.name}: {type(fault).__name__} at {at} ({' '.join(str(fault).split())[:120]})", read
        if time.perf_counter() - started > SLOW_S:
            return f"{reader.name}: {time.perf_counter() - started:.0f} s", read
    return "", read


def batch(own, sample, seed, count, folder, found):
    "So many damaged copies of one sample through all readers; the first input of each finding stays in the folder."
    path, read = folder / "damaged.x", 0
    for number, content in enumerate(mutants(sample, count, seed)):
        path.write_bytes(content or b" ")
        signal.alarm(HANGS_S)
        try:
            text, by = finding(path, own, number % ALL_READERS == 0)
        except TimeoutError:
            text, by = f"{own}: hangs", 0
        signal.alarm(0)
        read += by
        if text and not found[text]:
            print(f"  {text}\n    input: {content[:300]!r}", flush=True)
        found[text] += bool(text)
    return read


def hangs(*_):
    "Ends a read that takes too long."
    raise TimeoutError


def child(own, number, seed, count):
    "One batch of a binary sample in this process; says how many were read."
    with tempfile.TemporaryDirectory() as folder:
        sample = binary_samples(Path(folder))[own][number]
        found = Counter()
        print("read", batch(own, sample, seed, count, Path(folder), found))


def in_processes(inputs):
    "Batches of binary samples, each in a process of its own; a process that dies is a finding."
    with tempfile.TemporaryDirectory() as folder:
        jobs = [(own, k) for own, all_of in binary_samples(Path(folder)).items() for k in range(len(all_of))]
    per, dead, said = max(1, inputs // len(jobs)), 0, []
    for own, number in jobs:
        words = [sys.executable, __file__, "--child", own, str(number), "1000003", str(per)]
        done = subprocess.run(words, capture_output=True, text=True)
        said += [f"{own} {number}: {line.strip()}" for line in done.stdout.splitlines() if not line.startswith("read")]
        if done.returncode:
            dead += 1
            said.append(f"{own} {number}: process ended with {done.returncode}: {done.stderr.strip()[-300:]}")
    return per * len(jobs), said


def main(inputs=200_000, minutes=60.0, first=0):
    "The run; another ``first`` draws other inputs of text."
    signal.signal(signal.SIGALRM, hangs)
    started, done, read, found, seed = time.perf_counter(), 0, 0, Counter(), first
    count, said = in_processes(inputs // BINARY_SHARE)
    done += count
    print(f"{count} binary inputs in {time.perf_counter() - started:.0f} s", *said, sep="\n", flush=True)
    samples = [(own, sample) for own, all_of in text_samples().items() for sample in all_of]
    with tempfile.TemporaryDirectory() as folder:
        while done < inputs and time.perf_counter() - started < 60 * minutes:
            own, sample = samples[seed % len(samples)]
            read += batch(own, sample, seed, BATCH, Path(folder), found)
            done, seed = done + BATCH, seed + 1
    print(f"{done} inputs over {len(find_readers())} readers, {read} readings of text, "
          f"{time.perf_counter() - started:.0f} s; {sum(found.values())} findings of {len(+found)} kinds")
    for text, times in found.most_common():
        if times:
            print(f"  {times} x {text}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--child"]:
        signal.signal(signal.SIGALRM, hangs)
        child(sys.argv[2], *map(int, sys.argv[3:6]))
    else:
        main(*(kind(text) for kind, text in zip((int, float, int), sys.argv[1:], strict=False)))
