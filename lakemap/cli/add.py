"""``lakemap add``: logs, marks, notes off the page and other files into a lake's folder."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from lakemap.cli.lake_folder import comers, lake_of, take_in

_PATH = click.Path(path_type=Path)


@click.command()
@click.argument("folder", metavar="LAKE_OR_OUT", type=_PATH)
@click.argument("files", metavar="FILES...", nargs=-1, required=True, type=_PATH)
@click.option("--quiet", is_flag=True, help="Say nothing but faults.")
def add(folder: Path, files: tuple[Path, ...], quiet: bool) -> None:
    """Copy FILES into the folder of a lake's files: logs, own notes saved off the page, samples, whatever a map reads.

    Each file is read first and told by what it holds; if one of them cannot be read, none is taken. Nothing is
    written over: a name that is taken gets a number, and a file that is there already is not taken twice. For OUT, a
    finished map, the folder beside it that holds the map's files is taken.
    """
    lake = lake_of(folder)
    found, messages = comers(lake, files)
    said = list(messages)
    fresh = 0
    for one in found:
        if one.same is not None:
            said.append(f"{one.path.name}: {one.told}; there already as {one.same}")
            continue
        fresh += 1
        said.append(f"{one.path.name}: {one.told}; now {take_in(lake, one)}")
    out = folder if folder != lake else Path("OUT")
    said.append(f"The next map has {'it' if fresh == 1 else 'them'}: lakemap map {shlex.quote(str(lake))} --out "
                f"{shlex.quote(str(out))}" if fresh else "Nothing new.")
    if not quiet:
        click.echo("\n".join(said))
