"""The command line: one file a command; this one gathers them and turns faults into one line and an exit status."""

from __future__ import annotations

import sys

import click

from lakemap.cli.check import check
from lakemap.cli.demo import demo
from lakemap.cli.formats import formats
from lakemap.cli.map import map_
from lakemap.errors import LakemapError
from lakemap.version import VERSION

WRONG_USE, OWN_FAULT, INTERRUPTED, FAILED = 2, 70, 130, 1


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(VERSION, prog_name="lakemap")
def lakemap() -> None:
    """Make a map of depth and bottom hardness of your own lake from many passes with a sounder, with its error.

    Not for navigation.
    """


for command in (demo, map_, check, formats):
    lakemap.add_command(command)


def main(arguments: list[str] | None = None) -> None:
    """Run one command and leave with its exit status; a fault is one line on stderr, never a traceback."""
    sys.exit(run(arguments))


def run(arguments: list[str] | None = None) -> int:
    """Run one command and return its exit status: 0, 1, 2, 70 or 130."""
    try:
        lakemap.main(args=arguments, prog_name="lakemap", standalone_mode=False)
    except LakemapError as fault:
        return _say(str(fault), fault.exit_status)
    except click.exceptions.Abort:
        return _say("interrupted", INTERRUPTED)
    except click.ClickException as fault:
        return _say(fault.format_message(), WRONG_USE)
    except KeyboardInterrupt:
        return _say("interrupted", INTERRUPTED)
    except MemoryError:
        return _say("not enough memory; give a larger --pixel or fewer files", FAILED)
    except Exception as fault:
        text = f"a fault of our own ({type(fault).__name__}: {fault}); please report it with the command that met it"
        return _say(text, OWN_FAULT)
    return 0


def _say(text: str, status: int) -> int:
    click.echo("lakemap: " + " ".join(text.split()), err=True)
    return status
