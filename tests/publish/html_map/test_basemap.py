"""A background from a tile server: which addresses are taken, and whom the page then asks."""

import http.server
import importlib.util
import io
import math
import re
import sys
import threading
from pathlib import Path

import pytest
from drawn_lake import LAT, LON, full_lake
from PIL import Image

from lakemap.errors import SettingError
from lakemap.publish.html_map.basemap import basemap
from lakemap.publish.html_map.page import map_page
from lakemap.publish.settings import PublishSettings

_spec = importlib.util.spec_from_file_location("browser_tests", Path(__file__).with_name("test_in_browser.py"))
shared = importlib.util.module_from_spec(_spec)
sys.modules.setdefault("browser_tests", shared)
_spec.loader.exec_module(shared)
chromium = shared.chromium

TILES = "https://tiles.example.org:8443/a/{z}/{x}/{y}.png?key=k"


def test_a_sound_address_is_taken_apart():
    "Origin for the policy, host for the reader, the template untouched."
    found = basemap(TILES)
    assert (found.url, found.origin, found.host) == (TILES, "https://tiles.example.org:8443", "tiles.example.org:8443")
    assert PublishSettings(basemap=TILES).basemap == TILES


@pytest.mark.parametrize("url", [
    "", "tiles.example.org/{z}/{x}/{y}", "ftp://a/{z}/{x}/{y}", "javascript:alert({z}{x}{y})", "file:///{z}/{x}/{y}",
    "data:image/png,{z}{x}{y}", "https:///{z}/{x}/{y}", "https://a/{z}/{x}", "https://a/{z}/{x}/{y}/{s}",
    "https://{z}.a/{x}/{y}", "https://{x}{y}{z}/", "https://u:p@a/{z}/{x}/{y}", "https://a b/{z}/{x}/{y}",
    "https://a;script-src *;/{z}/{x}/{y}", "https://a/{z}/{x}/{y}'", 'https://a/{z}/{x}/{y}"><script>',
    "https://a:99999/{z}/{x}/{y}", "https://*/{z}/{x}/{y}", "https://a/{z}/{x}/{y}/{", "https://[::1/{z}/{x}/{y}",
    "https://a/\u202e{z}/{x}/{y}", "https://a/{z}/{x}/{y}\n", "https://a/{z}/{x}/{y}/" + 500 * "a", 7,
])
def test_anything_else_is_refused_in_one_line(url):
    "Address, rule and next step; nothing that is not a plain template ever reaches the page."
    with pytest.raises(SettingError) as told:
        PublishSettings(basemap=url)
    assert re.fullmatch(r"\[publish\] basemap = .*: (must|is no) .*https://HOST/PATH/\{z\}.*", str(told.value))


def test_only_the_images_of_that_one_origin_are_allowed():
    "The policy differs in img-src alone; without a background the page knows no address at all."
    policy = re.compile(r'Content-Security-Policy" content="([^"]*)"')
    plain, asking = (map_page(full_lake(), "m", background=one) for one in (None, basemap(TILES)))
    rules = [policy.search(page)[1].split("; ") for page in (plain, asking)]
    assert [(a, b) for a, b in zip(*rules, strict=True) if a != b] == [
        ("img-src data: blob:", "img-src data: blob: https://tiles.example.org:8443")]
    assert "tiles.example.org" not in plain


@pytest.fixture
def tile_server():
    "A server on this machine that gives the same picture for every tile; its address and what it was asked for."
    asked = []
    picture = io.BytesIO()
    Image.new("RGB", (256, 256), (200, 210, 190)).save(picture, "PNG")

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            asked.append(self.path)
            self.send_response(200)
            self.send_header("Content-Type", "image/png")
            self.end_headers()
            self.wfile.write(picture.getvalue())

        def log_message(self, *_):
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}", asked
    server.shutdown()
    server.server_close()


@pytest.mark.browser
def test_the_page_asks_that_server_alone_and_says_so(chromium, tile_server, tmp_path):
    "Tiles come from it and are seen; switched off the sentence goes and nothing more is asked, also after a reload."
    address, asked = tile_server
    path = tmp_path / "map.html"
    path.write_text(map_page(full_lake(), "m", background=basemap(address + "/{z}/{x}/{y}.png")), "utf-8")
    context = chromium.new_context(**shared.PHONE)
    others = []
    context.route(lambda url: not url.startswith(("file:", address)),
                  lambda route: (others.append(route), route.abort()))
    page = context.new_page()
    page.goto(path.as_uri())
    page.wait_for_selector("body[data-ready]")
    page.wait_for_selector("img.leaflet-tile-loaded")
    assert page.locator("#asks").is_visible()
    assert address.removeprefix("http://") in page.inner_text("#asks")
    zoom, column, row = map(int, re.fullmatch(r"/(\d+)/(\d+)/(\d+)\.png", asked[0]).groups())
    # tiles are counted from the north-west corner of the square world of EPSG:3857 (OGC 17-083r4, WebMercatorQuad)
    south = 0.5 - math.asinh(math.tan(math.radians(LAT))) / (2 * math.pi)
    assert (column, row) == pytest.approx((2**zoom * (LON + 180) / 360, 2**zoom * south), abs=2)
    blocked = page.evaluate("""() => new Promise((resolve) => {
        document.addEventListener('securitypolicyviolation', (event) => resolve(event.blockedURI), { once: true });
        new Image().src = 'http://127.0.0.1:1/other.png';
    })""")
    assert blocked.startswith("http://127.0.0.1:1/")
    page.evaluate("document.querySelector('#overlay-choices input[value=background]').click()")
    assert page.locator("#asks").is_hidden()
    page.reload()
    page.wait_for_selector("body[data-ready]")
    count = len(asked)
    page.evaluate("void lakePage.map.zoomOut(2, { animate: false })")
    page.wait_for_timeout(150)
    assert len(asked) == count
    assert others == []
    context.close()
