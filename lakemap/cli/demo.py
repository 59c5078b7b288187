"""``lakemap demo``: the invented lake, whole."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import click

from lakemap.cli.map import make_map
from lakemap.cli.options import lake_from
from lakemap.demo import DEMO_NAME, DEMO_SETTINGS, demo_files
from lakemap.errors import OutputError

_NOTHING: dict[str, Any] = {
    "depth_unit": None, "depth_from": None, "columns": None,
    "settings_file": None, "assignments": (), "crs": None,
}


@click.command()
@click.option("--out", "folder", default=Path("outputs/demo"), type=click.Path(path_type=Path, file_okay=False),
              show_default=True, help="Folder for results.")
@click.option("--seed", default=1, show_default=True, type=click.IntRange(0), help="Another boat on the same lake.")
@click.option("--tracks", type=click.Path(path_type=Path, file_okay=False),
              help="Only write the boat's files, to this folder.")
@click.option("--units", type=click.Choice(["ft", "m"]), help="Unit of lengths in the results.")
@click.option("--quiet", is_flag=True, help="Say nothing but faults.")
def demo(folder: Path, seed: int, tracks: Path | None, units: str | None, quiet: bool) -> None:
    """Map an invented lake from files that an invented boat recorded on it."""
    if tracks is not None:
        _write_tracks(tracks, seed)
        return
    with tempfile.TemporaryDirectory(prefix="lakemap-") as work:
        _write_tracks(Path(work), seed)
        given = {**_NOTHING, "files": (Path(work),), "units": units, "quiet": quiet}
        make_map(lake_from(given, DEMO_SETTINGS, DEMO_NAME), folder, quiet)


def _write_tracks(folder: Path, seed: int) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in demo_files(seed).items():
            (folder / name).write_bytes(content)
    except OSError as fault:
        raise OutputError(f"{folder}: cannot be written ({fault.strerror}); choose another folder") from None
