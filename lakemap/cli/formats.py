"""``lakemap formats``: what can be read."""

from __future__ import annotations

import click

from lakemap.read.find import find_readers


@click.command()
def formats() -> None:
    """List what can be read, and where each reader comes from."""
    for reader in find_readers():
        click.echo(f"{reader.role:6} {reader.name:22} {' '.join(reader.suffixes):28} {reader.summary}")
        click.echo(f"{'':6} {'':22} from {type(reader).__module__}")
