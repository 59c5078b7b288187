"""``lakemap serve`` in a process of its own."""

from __future__ import annotations

import subprocess
import sys
from contextlib import contextmanager

# Tests that run in the background of a shell inherit that Ctrl-C is ignored; at a keyboard it is not.
HEEDING = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler); "


@contextmanager
def serving(folder, *options):
    "The command in a process of its own; gives its port and what it said."
    words = ["serve", str(folder), "--port", "0", "--address", "127.0.0.1", *options]
    process = subprocess.Popen(
        [sys.executable, "-u", "-c", f"{HEEDING}from lakemap.cli.main import main; main({words!r})"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )
    try:
        said = [process.stdout.readline()]
        while said[-1] and "Ctrl-C" not in said[-1]:
            said.append(process.stdout.readline())
        assert said[-1], process.stderr.read()
        yield int(said[0].split("localhost:")[1].split("/")[0]), "".join(said), process
    finally:
        process.kill()
        process.communicate()
