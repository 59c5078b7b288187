"""To which pages a browser gives the boat's place: what ``lakemap serve``, the map and README say, held to Chromium."""

from __future__ import annotations

import contextlib
import signal
import subprocess
import sys

import pytest
from own_browser import launched

from lakemap.cli.file_server import own_address

PLACE = {"latitude": 53.2, "longitude": 14.6, "accuracy": 4}
ASK = """() => new Promise((done) => navigator.geolocation.getCurrentPosition(
    (fix) => done([fix.coords.latitude, fix.coords.longitude]), (fault) => done(fault.code)))"""
REFUSED = 1
"""GeolocationPositionError.PERMISSION_DENIED (W3C Geolocation)."""


@pytest.fixture(scope="module")
def asked():
    "A page's address -> what it is told when it asks for the position, with the owner's leave given."
    with launched() as browser:
        # a certificate of one's own is warned of and gone past, as the phone's owner would
        context = browser.new_context(geolocation=PLACE, permissions=["geolocation"], ignore_https_errors=True)

        def ask(address):
            page = context.new_page()
            page.goto(address)
            told = page.evaluate(ASK)
            page.close()
            return told

        yield ask


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    "A finished map's folder, as far as serving goes."
    out = tmp_path_factory.mktemp("here")
    (out / "map.html").write_text("<!doctype html><title>lake</title>")
    (out / "summary.json").write_text('{"format": 1, "files": {"map.html": {"bytes": 1, "sha256": ""}}}')
    return out


@contextlib.contextmanager
def served(folder, *options):
    "``lakemap serve`` on all addresses of this computer; gives its port."
    words = ["serve", str(folder), "--port", "0", *options]
    process = subprocess.Popen([sys.executable, "-u", "-c", f"from lakemap.cli.main import main; main({words!r})"],
                               stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    try:
        yield int(process.stdout.readline().split("localhost:")[1].split("/")[0])
    finally:
        process.send_signal(signal.SIGTERM)
        process.communicate()


def test_a_file_on_the_device_itself_is_told(asked, folder):
    "map.html copied to the phone."
    assert asked((folder / "map.html").as_uri()) == [PLACE["latitude"], PLACE["longitude"]]


def test_https_is_told_wherever_it_comes_from(asked, folder, tmp_path):
    "By the computer's own name for itself, and by the address that a phone in the network uses."
    other = own_address()
    with served(folder, "--certificate", str(tmp_path / "serve.pem")) as port:
        for host in ("localhost", *([other] if other else [])):
            assert asked(f"https://{host}:{port}/") == [PLACE["latitude"], PLACE["longitude"]], host


def test_http_is_told_on_the_same_computer_only(asked, folder):
    "With --http: the computer itself yes, the phone no."
    other = own_address()
    with served(folder, "--http") as port:
        assert asked(f"http://localhost:{port}/") == [PLACE["latitude"], PLACE["longitude"]]
        if other is None or other.startswith("127."):
            pytest.skip("this computer is in no network")
        assert asked(f"http://{other}:{port}/") == REFUSED
