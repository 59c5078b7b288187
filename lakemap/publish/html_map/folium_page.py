"""The page that folium makes, with all it needs inside: Leaflet from its registry package, counted ids, a policy.

folium would load Leaflet and half a dozen libraries from the network and give its elements random ids. Here its lists
of scripts and styles are empty, Leaflet comes in as text, and the Content-Security-Policy allows exactly the scripts
and styles that stand in the page, by their hashes.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import folium
from branca.element import Element
from folium.template import Template
from xstatic.pkg import leaflet

LEAFLET = Path(leaflet.BASE_DIR)

_BLOCK = re.compile(r"<(script|style)>(.*?)</\1>", re.DOTALL)
_IMAGE = re.compile(r"url\((images/[\w.-]+)\)")


class Verbatim(Element):  # type: ignore[misc]
    """Text that stands in the page as it is; branca's own Element would read it as a template."""

    _template = Template("{{ this.text }}")

    def __init__(self, text: str) -> None:
        super().__init__()
        self.text = text


class LakeFoliumMap(folium.Map):  # type: ignore[misc]
    """folium's map without its network, its fixed zoom of the whole page and its random id."""

    default_js: list[tuple[str, str]] = []  # noqa: RUF012 - folium's own shape
    default_css: list[tuple[str, str]] = []  # noqa: RUF012

    _template = Template("""
        {% macro header(this, kwargs) %}
        <meta name="viewport" content="width=device-width, initial-scale=1">
        {% endmacro %}
        {% macro html(this, kwargs) %}
        <div class="folium-map" id={{ this.get_name()|tojson }}></div>
        {% endmacro %}
        {% macro script(this, kwargs) %}
        startPage(L.map({{ this.get_name()|tojson }}, {
            center: {{ this.location|tojson }}, crs: L.CRS.{{ this.crs }}, ...{{ this.options|tojavascript }}
        }));
        {% endmacro %}
    """)

    def __init__(self, centre: tuple[float, float]) -> None:
        super().__init__(
            location=centre, tiles=None, zoom_start=14, zoom_control=False, attribution_control=False,
            prefer_canvas=True, zoom_snap=0.25, zoom_delta=0.5, max_zoom=22, bounce_at_zoom_limits=False,
        )
        self._id = "lake"


class FoliumPage:
    """Styles, scripts and body pieces in the order added, around one map."""

    def __init__(self, centre: tuple[float, float], title: str, images_from: str | None = None) -> None:
        self._images_from = images_from
        self._map = LakeFoliumMap(centre)
        self._figure: Any = self._map.get_root()
        self._count = 0
        self._title = title
        self.add_style(leaflet_style())
        self.add_script((LEAFLET / "leaflet.js").read_text(encoding="utf-8").split("//# sourceMappingURL")[0])

    def add_style(self, text: str) -> None:
        """One style sheet."""
        self._put(self._figure.header, f"<style>{text}</style>")

    def add_script(self, text: str) -> None:
        """One script, run in the order added and before the map is made."""
        self._put(self._figure.header, f"<script>{text}</script>")

    def add_body(self, text: str) -> None:
        """A piece of the body, before the map's own element."""
        self._put(self._figure.html, text)

    def _put(self, parent: Element, text: str) -> None:
        self._count += 1
        parent.add_child(Verbatim(text), name=f"part_{self._count}")

    def render(self) -> str:
        """The whole page, with the policy as the first thing in its head."""
        page: str = self._figure.render()
        head = f'<head>\n{policy(page, self._images_from)}\n<meta name="referrer" content="no-referrer">\n'
        head += f"<title>{_text(self._title)}</title>"
        return page.replace("<html>", '<html lang="en">', 1).replace("<head>", head, 1)


def leaflet_style() -> str:
    """Leaflet's style sheet with its images inside."""
    def inside(match: re.Match[str]) -> str:
        image = (LEAFLET / match[1]).read_bytes()
        return f"url(data:image/png;base64,{base64.b64encode(image).decode('ascii')})"

    style = (LEAFLET / "leaflet.css").read_text(encoding="utf-8").replace("behavior: url(#default#VML);", "")
    return _IMAGE.sub(inside, style)


def policy(page: str, images_from: str | None = None) -> str:
    """A Content-Security-Policy that allows what stands in ``page`` and nothing else, as a meta element.

    ``images_from`` is the one origin that images may come from besides.

    Source: W3C Content Security Policy Level 3, hash-source; a hash is taken over the text between the tags.
    """
    blocks = _BLOCK.findall(page)
    scripts, styles = (_hashes(text for tag, text in blocks if tag == kind) for kind in ("script", "style"))
    rules = (
        f"default-src 'none'; script-src {scripts}; style-src {styles}; img-src data: blob:"
        f"{' ' + images_from if images_from else ''}; "
        "base-uri 'none'; form-action 'none'"
    )
    return f'<meta http-equiv="Content-Security-Policy" content="{rules}">'


def _hashes(texts: Iterable[str]) -> str:
    digests = (hashlib.sha256(text.encode("utf-8")).digest() for text in texts)
    return " ".join(f"'sha256-{base64.b64encode(digest).decode('ascii')}'" for digest in digests)


def _text(words: str) -> str:
    return words.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
