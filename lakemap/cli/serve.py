"""``lakemap serve``: the map's folder for the phone in the same network."""

from __future__ import annotations

import contextlib
import socket
import ssl
from pathlib import Path

import click

from lakemap.cli.certificate import kept_certificate
from lakemap.cli.file_server import FolderServer, own_address, served_files
from lakemap.errors import InputError, OutputError

_PATH = click.Path(path_type=Path)


@click.command()
@click.argument("folder", metavar="OUT", type=_PATH)
@click.option("--port", type=click.IntRange(0, 65535), default=8443, show_default=True,
              help="Port to listen on; 0 takes a free one.")
@click.option("--address", default="0.0.0.0", show_default=True,
              help="Address of this computer to listen on; 127.0.0.1 keeps it to this computer.")
@click.option("--http", "plain", is_flag=True,
              help="Without a certificate: nothing to confirm on the phone, but its browser gives no position then.")
@click.option("--certificate", type=_PATH, metavar="FILE",
              help="Where the certificate and its key are kept, so that the phone asks once; else in your settings.")
def serve(folder: Path, port: int, address: str, plain: bool, certificate: Path | None) -> None:
    """Serve the map in OUT to a phone in the same network, until Ctrl-C.

    Only what OUT's summary.json lists is given out, to anybody in that network. A browser gives a page its position
    over https, on localhost and to a file on the device itself, not over http from another computer; the certificate
    for https is made here.
    """
    if "/" not in served_files(folder):
        raise InputError(f"{folder}: no map.html in it; make the map again with lakemap map")
    seen = own_address() if address == "0.0.0.0" else address
    tls, fingerprint = (None, "") if plain else _tls(certificate, seen)
    try:
        server = FolderServer((address, port), folder, tls)
    except (OSError, OverflowError) as fault:
        reason = getattr(fault, "strerror", None) or fault
        raise OutputError(f"{address} port {port}: cannot be listened on ({reason}); choose another --port") from None
    with server:
        click.echo("\n".join(_said(server.server_port, seen, fingerprint)))
        with contextlib.suppress(KeyboardInterrupt):
            server.serve_forever()
    click.echo("stopped")


def _tls(certificate: Path | None, seen: str | None) -> tuple[ssl.SSLContext, str]:
    host = socket.gethostname()
    names = dict.fromkeys(["localhost", "127.0.0.1", *([seen] if seen else []), host, f"{host}.local"])
    file = certificate or Path(click.get_app_dir("lakemap")) / "serve.pem"
    kept, fingerprint = kept_certificate(file, list(names))
    tls = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    tls.load_cert_chain(kept)
    return tls, fingerprint


def _said(port: int, seen: str | None, fingerprint: str) -> list[str]:
    scheme = "https" if fingerprint else "http"
    lines = [f"On this computer:  {scheme}://localhost:{port}/"]
    if seen and not seen.startswith("127."):
        lines += [f"On the phone:      {scheme}://{seen}:{port}/   (in the same network)"]
    elif not seen:
        lines += ["No network found: join the phone's, then start again."]
    if fingerprint:
        lines += [
            "The phone will warn, once, that it does not know who made the certificate: this computer did. "
            "Show the details, go on,",
            "then allow the position when the page asks. Compare the certificate's SHA-256 if in doubt:",
            f"  {fingerprint}",
        ]
    else:
        lines += ["Over http the phone's browser gives no position; without --http it does."]
    if seen and not seen.startswith("127."):
        lines += [
            "Nothing opens there? Phone and computer must be in one network, and the computer's firewall must let port "
            f"{port} in.",
            "Or copy map.html to the phone and open it there: it needs neither network nor server.",
        ]
    return [*lines, "Anybody in this network can read the map. Ctrl-C ends it."]
