"""From which origins the page is given a position, as README says, measured in Chromium with its user's leave."""

from __future__ import annotations

from contextlib import contextmanager

import pytest
from drawn_lake import LAT, LON, full_lake
from own_browser import launched
from served import serving

from lakemap.publish.publish import publish

pytestmark = pytest.mark.browser

OTHER_MACHINE = "192.0.2.7"
"An address that is this machine's only by the browser's own word (RFC 5737): the page comes from elsewhere."


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    "The drawn lake, published."
    place = tmp_path_factory.mktemp("origins")
    publish(full_lake(), place)
    return place


@contextmanager
def address(kind, folder, certificate):
    "Where the page is found."
    if kind == "file":
        yield (folder / "map.html").as_uri()
        return
    scheme, host = kind.split()
    options = ("--http",) if scheme == "http" else ("--certificate", str(certificate))
    with serving(folder, *options) as (port, *_):
        yield f"{scheme}://{host}:{port}/"


@pytest.mark.parametrize(("kind", "given"), [
    ("file", True), ("http localhost", True), ("http 127.0.0.1", True), (f"http {OTHER_MACHINE}", False),
    ("https localhost", True), (f"https {OTHER_MACHINE}", True),
])
def test_which_origins_give_a_position(folder, tmp_path, kind, given):
    "A file, this machine and https do once allowed, plain http from another machine never; none without leave."
    with (address(kind, folder, tmp_path / "serve.pem") as url,
          launched(f"--host-resolver-rules=MAP {OTHER_MACHINE} 127.0.0.1") as browser):
        for allowed in (True, False):
            context = browser.new_context(
                geolocation={"latitude": LAT, "longitude": LON, "accuracy": 5.0}, ignore_https_errors=True,
                permissions=["geolocation"] if allowed else [])
            page = context.new_page()
            page.goto(url)
            page.wait_for_selector("body[data-ready=yes]")
            page.click("#here-button")
            page.wait_for_function("() => !document.getElementById('here').innerText.includes('Waiting')")
            told = page.inner_text("#here")
            assert ("within 5.0" in told) is (given and allowed)
            assert ("gives no position to this page" in told) is not (given and allowed)
            context.close()
