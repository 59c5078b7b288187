"""map.html as a file, before any browser opens it."""

import base64
import dataclasses
import hashlib
import html
import json
import re
import shutil
import subprocess

import pytest
from drawn_lake import full_lake
from worlds import small_lake_map

from lakemap.errors import OutputError
from lakemap.model.outputs import CAUTION
from lakemap.publish.html_map.page import FOLDER, MODULES, map_page, write_map
from lakemap.publish.settings import PublishSettings

HOSTILE = "</script><img src=x onerror=alert(1)>{{7*7}}{% raw %}\ud800"


@pytest.fixture(scope="module")
def page():
    "The page of the drawn lake."
    return map_page(full_lake(), "m")


def data_of(page):
    "The data block, parsed."
    return json.loads(re.search(r'<script type="application/json" id="lake-data">(.*?)</script>', page)[1])


def test_same_lake_same_bytes(page):
    "Nothing in the page is drawn at random or read from a clock."
    assert map_page(full_lake(), "m") == page


def test_nothing_is_fetched(page):
    "No address in the page is one that a browser would open by itself."
    assert not re.search(r"<(?:link|img|iframe|object|embed|script[^>]+src)\b", page)
    styles = "".join(re.findall(r"<style>(.*?)</style>", page, re.DOTALL))
    assert all(address.startswith("data:") for address in re.findall(r"url\(([^)]*)\)", styles))
    assert "@import" not in styles


def test_policy_allows_exactly_what_stands_in_the_page(page):
    "Each script and style is allowed by its hash; nothing else, and no inline script as such, is."
    rules = dict(
        rule.strip().split(" ", 1)
        for rule in re.search(r'Content-Security-Policy" content="([^"]*)"', page)[1].split(";")
    )
    assert rules["default-src"] == "'none'"
    assert "unsafe" not in " ".join(rules.values())
    for tag in ("script", "style"):
        blocks = re.findall(f"<{tag}>(.*?)</{tag}>", page, re.DOTALL)
        hashes = [base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in blocks]
        assert rules[f"{tag}-src"].split() == [f"'sha256-{digest}'" for digest in hashes]
        assert page.count(f"<{tag}") - page.count('type="application/json"') * (tag == "script") == len(blocks)


def test_hostile_names_stay_text():
    "Whatever a lake, a spot or a reason is called ends up as data, never as markup or template."
    lake = small_lake_map()
    spots = dataclasses.replace(lake.spots, name=(HOSTILE, "b"), reasons=((HOSTILE,), ()))
    page = map_page(dataclasses.replace(lake, name=HOSTILE, spots=spots), "m")
    assert "<img" not in page
    assert page.count("</script>") == page.count("<script")
    found = data_of(page)
    assert found["name"] == found["spots"][0]["name"] == found["spots"][0]["reasons"][0] == HOSTILE
    page.encode("utf-8")


def test_caution_is_said_once(page):
    "The caution stands in the page in full, one time."
    assert page.count(html.escape(CAUTION)) == 1
    assert page.count("Not for navigation") == 1


def test_words_of_the_workshop_stay_out(page):
    "The page speaks of depth and error, not of the method."
    body = page[page.index("<body>") :]
    ours = body + "".join((FOLDER / f"{name}.js").read_text() for name in MODULES)
    assert not re.search(r"variogram|kriging|nugget|\bsill\b", ours, re.IGNORECASE)


def test_unit_follows_settings_then_readings(tmp_path):
    "The setting decides; without one, the unit that most depths came in."
    path = tmp_path / "map.html"
    for units, expected in (("ft", "ft"), (None, "m")):
        write_map(full_lake(), path, PublishSettings(units=units))
        assert data_of(path.read_text("utf-8"))["unit"] == expected


def test_unwritable_file_is_one_line(tmp_path):
    "A place that cannot be written says where and what to do."
    with pytest.raises(OutputError, match=r"map\.html: cannot be written .*--out"):
        write_map(full_lake(), tmp_path / "missing" / "map.html", PublishSettings())


def test_page_is_small(page):
    "A lake of 66 000 pixels takes under half a megabyte, 150 kB of which is Leaflet."
    assert len(page) < 500_000


def test_every_module_is_in_the_page():
    "No script lies in the folder unused."
    assert sorted(MODULES) == sorted(path.stem for path in FOLDER.glob("*.js"))


@pytest.mark.skipif(shutil.which("node") is None, reason="node is not installed")
@pytest.mark.parametrize("name", MODULES)
def test_modules_parse(name):
    "Each module is sound on its own."
    subprocess.run(["node", "--check", FOLDER / f"{name}.js"], check=True, capture_output=True)
