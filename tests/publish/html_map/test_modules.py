"""The page's modules run by themselves in node."""

import shutil
import subprocess
from pathlib import Path

import pytest


@pytest.mark.skipif(shutil.which("node") is None, reason="node is not installed")
def test_modules_keep_what_they_promise():
    "Bearings, positions, GPX, marks and traced lines, each against figures known by hand."
    done = subprocess.run(["node", "--test", Path(__file__).parent / "js"], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout
