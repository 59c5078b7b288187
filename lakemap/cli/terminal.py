"""What the commands show while they work and when they are done."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from rich.console import Console
from rich.progress import Progress as Bar
from rich.progress import SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from lakemap.errors import LakemapError
from lakemap.model.flags import SENTENCES, Flag
from lakemap.progress import Progress, quiet
from lakemap.units import fill_lengths, format_length

LARGEST_LIST = 12


@contextmanager
def progress_bar(silent: bool) -> Iterator[Progress]:
    """A line that names the stage at work, gone when the job is done; nothing when silent or not on a screen."""
    console = Console(stderr=True)
    if silent or not console.is_terminal:
        yield quiet
        return
    columns = (SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn())
    with Bar(*columns, console=console, transient=True) as bar:
        task = bar.add_task("starting", total=None)
        yield lambda stage: bar.update(task, description=stage)


@contextmanager
def faults_in(unit: str) -> Iterator[None]:
    """Lengths of whatever fault is met within are told in the reader's unit."""
    try:
        yield
    except LakemapError as fault:
        raise type(fault)(fill_lengths(str(fault), unit)) from fault


def show_readings(head: Mapping[str, Any], console: Console, most_messages: int = LARGEST_LIST) -> None:
    """The head of a summary as tables: rows by file and reason, crossovers, messages."""
    table = Table(box=None, pad_edge=False)
    for title in ("file", "rows", "used", "held out"):
        table.add_column(title, justify="left" if title in ("file", "held out") else "right")
    for log in head["logs"]:
        reasons = ", ".join(f"{count} {name}" for name, count in log["flagged"].items())
        table.add_row(Text(log["name"]), str(log["rows_in"]), str(log["rows_used"]), reasons or "none")
    console.print(table)
    for name in head["rows"]["by_flag"]:
        console.print(Text(f"  {name}: {SENTENCES[Flag[name]]}"))
    show_messages(head["messages"], console, most_messages)


def show_corrections(head: Mapping[str, Any], console: Console) -> None:
    """What was corrected, in this order: by how much, and what crossing passes differ by before and after."""
    table = Table(box=None, pad_edge=False)
    unit = head["units"]
    for title in ("corrected", "moved by", "before", "after", "judged by"):
        table.add_column(title, justify="left" if title in ("corrected", "judged by") else "right")
    for one in head["corrections"]:
        figures = [_length(one.get(key), unit) for key in ("shift_m", "before_m", "after_m")]
        table.add_row(Text(one["name"]), *figures, Text(one.get("measure", "crossovers")))
    if head["corrections"]:
        console.print(table)


def _length(value_m: float | None, unit: str) -> str:
    return "–" if value_m is None else format_length(value_m, unit, 2)


def show_messages(messages: Sequence[str], console: Console, most: int = LARGEST_LIST) -> None:
    """Messages as they are, a line each; a long list is cut and says so."""
    for text in messages[:most]:
        console.print(Text(f"- {text}"))
    if len(messages) > most:
        console.print(f"- and {len(messages) - most} more, see the report")
