"""A background of map tiles, only where the reader asked for one: which addresses may stand in the page."""

from __future__ import annotations

import re
from dataclasses import dataclass
from urllib.parse import urlsplit

from lakemap.errors import SettingError

LONGEST = 500
PLACES = {"{z}", "{x}", "{y}"}

_PLAIN = re.compile(r"[!#$%&()*+./0-9:=?@A-Z\[\]_a-z{}~-]+")
_HOST = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9.-]*[A-Za-z0-9])?")


@dataclass(frozen=True)
class Basemap:
    """A template of tile addresses, the origin that a policy names, and the host that the page tells."""

    url: str
    origin: str
    host: str


def basemap(url: str) -> Basemap:
    """The template, checked as text that nobody vouches for.

    Raises SettingError for anything but http or https, a plain host, and {z}, {x}, {y} after it.
    """
    wrong = _wrong(url)
    if wrong:
        shown = repr(url[:80] if isinstance(url, str) else url)
        raise SettingError(f"[publish] basemap = {shown}: {wrong}; write it as https://HOST/PATH/{{z}}/{{x}}/{{y}}.png "
                           "or leave it out for no background")
    parts = urlsplit(url)
    host = str(parts.hostname)
    port = f":{parts.port}" if parts.port is not None else ""
    return Basemap(url, f"{parts.scheme}://{host}{port}", host + port)


def _wrong(url: str) -> str | None:
    """What keeps an address from being used, in words; None for a sound one."""
    if not isinstance(url, str) or len(url) > LONGEST or not _PLAIN.fullmatch(url):
        return f"must be an address of at most {LONGEST} plain characters without spaces or quotes"
    try:
        parts = urlsplit(url)
        _ = parts.port
    except ValueError as error:
        return f"is no address ({error})"
    if parts.scheme not in ("http", "https"):
        return "must begin with https:// or http://"
    if "@" in parts.netloc or not _HOST.fullmatch(parts.hostname or ""):
        return "must name a plain host, without a user or a password"
    after_host = url.split(parts.netloc, 1)[1]
    found = re.findall(r"\{[^{}]*\}", after_host)
    if set(found) != PLACES or after_host.count("{") != len(found) or after_host.count("}") != len(found):
        return "must hold {z}, {x} and {y} after the host, and nothing else in braces"
    return None
