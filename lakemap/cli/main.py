"""The command line: one file a command; this one gathers them and turns faults into one line and an exit status."""

from __future__ import annotations

import sys
from importlib import import_module

import click

from lakemap.errors import LakemapError
from lakemap.version import VERSION

WRONG_USE, OWN_FAULT, INTERRUPTED, FAILED = 2, 70, 130, 1

COMMANDS = {
    "demo": ("demo", "Map an invented lake from files that an invented boat recorded on it."),
    "map": ("map_", "Make the map of one lake from logs, tables, marks and a shoreline."),
    "check": ("check", "Read and clean files and say how good they are; nothing is written."),
    "add": ("add", "Copy files into the folder of a lake's files: new logs, notes saved off the page, samples."),
    "why": ("why", "Say what stands behind depth and bottom at one place of a map."),
    "spots": ("spots", "List the spots of the map in OUT that pass all filters given, and say which filter left none."),
    "plan": ("plan", "Plan a day over the spots of a map, or the lines to drive next."),
    "print": ("print_", "Make a PDF of the map in OUT to print: a chart in sheets, and a table of the spots."),
    "formats": ("formats", "List what can be read."),
    "export": ("export", "Write the map in OUT in forms that others take: KMZ, GPX, GeoJSON, MBTiles, IHO B-12."),
    "serve": ("serve", "Serve the map in OUT to a phone in the same network, until Ctrl-C."),
}
"""Command -> its function, in the file of the command's name, and its line in the help of all."""


PLAIN_WORDS = {"is not a valid float range": "is no number", "is not a valid float": "is no number",
               "is not a valid integer range": "is no whole number", "is not a valid integer": "is no whole number"}
"""What the option parser says of a number -> what a person would."""


class Commands(click.Group):
    """Fetches a command when it is first asked for: the help of all needs no stage of the job to be loaded."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the job."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of that name, None where there is none."""
        if cmd_name not in COMMANDS:
            return None
        found: click.Command = getattr(import_module(f"lakemap.cli.{cmd_name}"), COMMANDS[cmd_name][0])
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """A line for each command."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.command(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 120})
@click.version_option(VERSION, prog_name="lakemap")
def lakemap() -> None:
    """Make a map of depth and bottom hardness of your own lake from many passes with a sounder, with its error.

    Not for navigation.
    """


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
    except click.exceptions.NoArgsIsHelpError as asked:
        # nothing was asked for: what can be, as it is laid out
        click.echo(asked.format_message(), err=True)
        return WRONG_USE
    except click.ClickException as fault:
        return _say(_wrong_use(fault), WRONG_USE)
    except KeyboardInterrupt:
        return _say("interrupted", INTERRUPTED)
    except MemoryError:
        return _say("not enough memory; give a larger --pixel or fewer files", FAILED)
    except Exception as fault:
        text = f"a fault of our own ({type(fault).__name__}: {fault}); please report it with the command that met it"
        return _say(text, OWN_FAULT)
    return 0


def _wrong_use(fault: click.ClickException) -> str:
    """What is wrong with the words of a command, and where all of them stand."""
    told = fault.format_message().rstrip(".")
    for theirs, ours in PLAIN_WORDS.items():
        told = told.replace(theirs, ours)
    context = getattr(fault, "ctx", None)
    return f"{told}; see {context.command_path} --help" if context is not None else told


def _say(text: str, status: int) -> int:
    click.echo("lakemap: " + " ".join(text.split()), err=True)
    return status
