"""``lakemap formats``: what can be read."""

from __future__ import annotations

import click

from lakemap.read.plugins import find_readers, plugin_faults
from lakemap.read.reader import OPTIONS


@click.command()
def formats() -> None:
    """List what can be read, and where each reader comes from."""
    order = list(OPTIONS)
    for reader in sorted(find_readers(), key=lambda reader: (order.index(reader.role), reader.name)):
        click.echo(f"{reader.role:12} {reader.name:22} {' '.join(reader.suffixes):28} {reader.summary}")
        click.echo(f"{'':12} {'':22} from {type(reader).__module__}")
    click.echo("each as it is, packed with gzip or xz, or as members of a zip archive")
    for fault in plugin_faults():
        click.echo(fault, err=True)
