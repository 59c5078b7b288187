"""The machine's own Chromium, and a page opened in it with the network cut."""

from __future__ import annotations

import os
import shutil
from contextlib import contextmanager

import pytest

QUIET = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)


def missing(what):
    "Skip for want of something, or fail where the browser is demanded."
    if os.environ.get("LAKEMAP_REQUIRE_BROWSER") == "1":
        pytest.fail(f"{what}, but LAKEMAP_REQUIRE_BROWSER=1 demands the browser tests")
    pytest.skip(what)


@contextmanager
def launched(*more):
    "The machine's own Chromium, never a downloaded one, with more of its options."
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        missing("chromium is not installed")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright is not installed")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=[*QUIET, *more])
        yield browser
        browser.close()


@contextmanager
def opened(path, width, height, bears=()):
    """A file's page; leaving it, no request went out and nothing was complained about but what ``bears`` a word of."""
    outside, complaints = [], []
    with launched() as browser:
        context = browser.new_context(viewport={"width": width, "height": height})
        context.set_offline(True)
        page = context.new_page()
        page.on("request", lambda request: outside.append(request.url)
                if not request.url.startswith(("file:", "data:", "blob:", "about:srcdoc")) else None)
        page.on("console", lambda message: complaints.append(message.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(path.as_uri())
        yield page
    assert outside == []
    assert [text for text in complaints if not any(word in text for word in bears)] == []
