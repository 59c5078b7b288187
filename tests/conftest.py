"""The demo lake, made once and shared by all tests that judge the whole job."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

# the same examples on every run and machine, however slow it is: a failure can be met again
settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")


@dataclass(frozen=True)
class MadeDemo:
    "The demo's map as made by the pipeline, the folder it was published to, and its summary."

    lake_map: Any
    folder: Path
    summary: dict[str, Any]
    tracks: Path


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    "The demo lake mapped and published once."
    from lakemap import Lake, map_lake, publish
    from lakemap.demo import DEMO_NAME, DEMO_SETTINGS, demo_files
    from lakemap.project import with_settings

    tracks = tmp_path_factory.mktemp("tracks")
    for name, content in demo_files(1).items():
        (tracks / name).write_bytes(content)
    tables = with_settings({}, [f"{key}={value!r}".replace("'", '"') for key, value in DEMO_SETTINGS.items()])
    lake = Lake.from_files([tracks], tables, name=DEMO_NAME)
    lake_map = map_lake(lake)
    folder = tmp_path_factory.mktemp("demo")
    return MadeDemo(lake_map, folder, publish(lake_map, folder, lake.settings.publish), tracks)
