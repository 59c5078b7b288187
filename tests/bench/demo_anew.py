"""The demo's lake drawn anew by number, as the files that its boat brings home."""

from __future__ import annotations

from pathlib import Path
from unittest.mock import patch

from lakemap.demo import demo_files, demo_lake
from lakemap.demo.lake import DemoLake


def write_demo(number: int, folder: Path) -> DemoLake:
    "The demo's shape with roughness, bottom, cover and the boat's errors of its own; gives what is truly there."
    lake = demo_lake(number)
    with patch("lakemap.demo.files.demo_lake", lambda: lake):
        for name, content in demo_files(number).items():
            (folder / name).write_bytes(content)
    return lake
