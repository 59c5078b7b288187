"""What the plans say on the screen."""

from __future__ import annotations

import numpy as np
from rich.console import Console
from rich.table import Table
from rich.text import Text

from lakemap.cli.terminal import show_messages
from lakemap.model.outputs import CAUTION
from lakemap.model.trip import Trip
from lakemap.planning import LinesPlan
from lakemap.trips.survey import loose
from lakemap.units import fill_lengths, format_length, plural

LEFT_OUT = 8


def show_trip(trip: Trip, unit: str) -> None:
    """Stops with their times, the whole, what was left out and why, and the caution."""
    console = Console()
    table = Table(box=None, pad_edge=False)
    beside = any(stop.off_to for stop in trip.stops)
    for title in ("", "stop", "kind", "depth", "there after", "way there", *(["the spot lies"] if beside else [])):
        table.add_column(title, justify="left" if title in ("stop", "kind", "the spot lies") else "right")
    for number, stop in enumerate(trip.stops, start=1):
        table.add_row(str(number), Text(stop.name), Text(stop.kind), format_length(stop.depth_m, unit),
                      f"{stop.arrives_s / 60:.0f} min", format_length(float(trip.lengths_m[number - 1]), unit, 0),
                      *([f"{format_length(stop.off_m, unit, 0)} to the {stop.off_to}" if stop.off_to else "here"]
                        if beside else []))
    console.print(table)
    way = format_length(float(np.sum(trip.lengths_m)), unit, 0)
    console.print(f"{plural(len(trip.stops), 'stop')}, {way} of way, {_minutes(trip.lasts_s)} with the way home.")
    show_messages([fill_lengths(text, unit) for text in trip.messages], console)
    for name, why in trip.left_out[:LEFT_OUT]:
        console.print(Text(f"  left out {name}: {fill_lengths(why, unit)}"))
    if len(trip.left_out) > LEFT_OUT:
        console.print(f"  and {len(trip.left_out) - LEFT_OUT} more")
    console.print(Text(CAUTION))


def show_lines(found: LinesPlan, unit: str) -> None:
    """Lines with heading and length, the error before and after, and the caution."""
    console, plan = Console(), found.plan
    table = Table(box=None, pad_edge=False)
    for title in ("line", "heading", "length"):
        table.add_column(title, justify="right")
    for number, (line, bearing) in enumerate(zip(plan.lines, found.bearings_deg, strict=True), start=1):
        table.add_row(f"{number:02d}", f"{bearing:.0f}°", format_length(line.length_m, unit, 0))
    console.print(table)
    console.print(f"{plural(len(plan.lines), 'line')}, {_minutes(plan.lasts_s)} with the ways between and home. "
                  "Headings are true.")
    console.print(_learnt(found, unit))
    if found.aim in ("depth", "outline"):
        before = "" if found.aim == "outline" else " or what was driven before"
        crossing = len(plan.lines) - len(loose(plan.lines))
        verb = "crosses" if crossing == 1 else "cross"
        console.print(f"{crossing} of the lines {verb} another one{before}: there a wrong level or draft shows.")
    show_messages(found.messages, console)
    console.print(Text(CAUTION))


def _minutes(time_s: float) -> str:
    return plural(round(time_s / 60), "minute")


def _learnt(found: LinesPlan, unit: str) -> str:
    """What is not known now, and after the lines."""
    before, after = found.plan.before, found.plan.after
    if found.aim == "spots":
        return (f"Of {len(before.probability)} unsure spots {before.judged_wrong:.1f} would be judged wrongly now, "
                f"{after.judged_wrong:.1f} after them.")
    if found.aim == "outline":
        return f"They leave {after.mean_sigma:.0%} of the lake's own spread of depths as error."
    now, then = (format_length(one.mean_sigma, unit, 2) if found.aim == "depth" else f"{one.mean_sigma:.3f}"
                 for one in (before, after))
    what = "depths" if found.aim == "depth" else "hardness, 0 to 1"
    return f"Expected error of the {what} (root mean square): {now} now, {then} after them."
