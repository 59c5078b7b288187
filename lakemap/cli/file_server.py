"""A small server of one map's folder: what its summary.json lists, and not a byte beyond."""

from __future__ import annotations

import contextlib
import ipaddress
import socket
import ssl
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from lakemap.errors import InputError
from lakemap.model.outputs import SUMMARY
from lakemap.read.outputs import read_summary

PATIENCE_S = 30
"""A connection that says nothing for so long is closed."""

TLS_HANDSHAKE = b"\x16"
"""First byte of a TLS connection (RFC 8446, section 5.1: content type handshake, 22)."""

TYPES = {
    ".html": "text/html; charset=utf-8", ".json": "application/json", ".geojson": "application/geo+json",
    ".csv": "text/csv; charset=utf-8", ".tif": "image/tiff", ".gpx": "application/gpx+xml",
    ".kml": "application/vnd.google-earth.kml+xml", ".gpkg": "application/geopackage+sqlite3",
    ".pdf": "application/pdf", ".png": "image/png", ".svg": "image/svg+xml",
}
"""Media types, by IANA's list; everything else is a plain download."""


def served_files(folder: Path) -> dict[str, Path]:
    """What is given out, by address: files that summary.json lists and that lie in the folder; ``/`` is the page.

    Raises InputError where no finished map is in the folder.
    """
    names = [SUMMARY, *read_summary(folder)["files"]]
    home = folder.resolve()
    files = {f"/{name}": folder / name for name in names if (folder / name).resolve() == home / name
             and (folder / name).is_file() and "/" not in name}
    return files | ({"/": files["/map.html"]} if "/map.html" in files else {})


class FolderHandler(BaseHTTPRequestHandler):
    """Answers GET and HEAD for one folder; the list is read at each request, as the map may be made anew meanwhile."""

    server_version = "lakemap"
    sys_version = ""
    protocol_version = "HTTP/1.1"
    timeout = PATIENCE_S
    server: FolderServer

    def do_GET(self) -> None:
        """A listed file."""
        self._answer(with_body=True)

    def do_HEAD(self) -> None:
        """Its head alone."""
        self._answer(with_body=False)

    def _answer(self, with_body: bool) -> None:
        if not known_host(self.headers.get("Host", "")):
            self._plain(HTTPStatus.MISDIRECTED_REQUEST, "not a name of this computer")
            return
        if self.server.tls is not None and not isinstance(self.request, ssl.SSLSocket):
            self._plain(HTTPStatus.TEMPORARY_REDIRECT, "over https", Location=f"https://{self.headers['Host']}/")
            return
        try:
            path = served_files(self.server.folder).get(unquote(urlsplit(self.path).path))
            body = path.read_bytes() if path else None
        except (InputError, OSError, ValueError):
            path = body = None
        if path is None or body is None:
            self._plain(HTTPStatus.NOT_FOUND, "not here")
            return
        self._head(HTTPStatus.OK, len(body), TYPES.get(path.suffix, "application/octet-stream"))
        if with_body:
            self.wfile.write(body)

    def _plain(self, status: HTTPStatus, said: str, **more: str) -> None:
        self._head(status, len(said), "text/plain; charset=utf-8", **more)
        if self.command != "HEAD":
            self.wfile.write(said.encode("utf-8"))

    def _head(self, status: HTTPStatus, length: int, kind: str, **more: str) -> None:
        self.send_response(status)
        fields = {"Content-Type": kind, "Content-Length": str(length), "Cache-Control": "no-cache",
                  "X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer"}
        for name, value in (fields | more).items():
            self.send_header(name, value)
        self.end_headers()

    def log_message(self, format: str, *args: Any) -> None:
        """Nothing is said of single requests."""


class FolderServer(ThreadingHTTPServer):
    """Serves a folder, over TLS where a context is given; plain http on the same port is sent on to https."""

    daemon_threads = True
    block_on_close = False

    def __init__(self, address: tuple[str, int], folder: Path, tls: ssl.SSLContext | None) -> None:
        self.folder, self.tls = folder, tls
        super().__init__(address, FolderHandler)

    def finish_request(self, request: Any, client_address: Any) -> None:
        """In the connection's own thread, so that a slow greeting holds up nobody else."""
        with contextlib.suppress(OSError):
            request.settimeout(PATIENCE_S)
            if self.tls is not None and request.recv(1, socket.MSG_PEEK) == TLS_HANDSHAKE:
                with self.tls.wrap_socket(request, server_side=True) as safe:
                    super().finish_request(safe, client_address)
            else:
                super().finish_request(request, client_address)


def known_host(asked: str) -> bool:
    """Whether a request names this computer by an address or its own name: other names are another page's trick."""
    name = urlsplit(f"//{asked}").hostname or ""
    own = socket.gethostname().lower()
    if name in ("localhost", own, f"{own}.local"):
        return True
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def own_address() -> str | None:
    """The address that others on the same network reach this computer at; None without a network. Sends nothing."""
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        # an address for documentation (RFC 5737): a datagram socket only looks up the way to it
        probe.connect(("192.0.2.1", 9))
        return str(probe.getsockname()[0])
    with contextlib.suppress(OSError):
        found = {str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
        return next((address for address in sorted(found) if not address.startswith("127.")), None)
    return None
