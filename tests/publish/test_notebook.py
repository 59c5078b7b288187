"""What a notebook shows of a map, its surfaces and its spots."""

from __future__ import annotations

import dataclasses
import re
from html.parser import HTMLParser

import numpy as np
import pytest
from drawn_lake import full_lake
from own_browser import opened
from worlds import small_lake_map, small_spots

from lakemap.model.spots import Spots
from lakemap.publish.html_map.page import map_page

HOSTILE = ["<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "סלע & שן", "</td></table>", "\ud800x"]


class Parts(HTMLParser):
    "Tags with their attributes, and the text between."

    def __init__(self, text):
        super().__init__()
        self.tags, self.text = [], ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.text += data


def test_a_map_shows_the_very_page_in_a_frame_of_its_own():
    "One iframe and nothing else; unescaped its content is map.html's; it may run scripts but reach nothing outside."
    shown = Parts(small_lake_map()._repr_html_())
    ((tag, told),) = shown.tags
    assert tag == "iframe" and shown.text == "" and told["title"] == "Small & <Round> Lake"
    assert told["srcdoc"] == map_page(small_lake_map(), "m", 1.0)
    assert told["sandbox"].split() == ["allow-scripts", "allow-downloads"]


def test_a_map_shows_the_unit_it_was_made_in():
    "The setting counts, as it does for the files."
    told = dataclasses.replace(small_lake_map(), settings={"publish": {"units": "ft", "contour_m": None}})
    assert Parts(told._repr_html_()).tags[0][1]["srcdoc"] == map_page(told, "ft", 1.0)


@pytest.mark.parametrize("name", HOSTILE)
def test_names_of_lakes_and_spots_are_text(name):
    "No tag comes out of a name, and the name is there to read."
    lake = dataclasses.replace(small_lake_map(), name=name)
    assert [tag for tag, _ in Parts(lake._repr_html_()).tags] == ["iframe"]
    spots = dataclasses.replace(small_spots(), name=(name, "b"), reasons=((name,), ()))
    table = spots._repr_html_()
    shown = Parts(table)
    assert {tag for tag, _ in shown.tags} == {"table", "caption", "thead", "tr", "th", "tbody", "td"}
    assert shown.text.count(name.replace("\ud800", "?")) == 2 and table.encode()


def test_spots_are_a_short_table():
    "Name, depth, how often it was seen and the first reasons in metres; a long list is cut and says so."
    shown = Parts(small_spots()._repr_html_())
    assert "2 spots" in shown.text and "brush-1" in shown.text and "2 of 3" in shown.text and "7.9 m" in shown.text
    many = small_spots().take(np.zeros(45, np.int64))
    assert "45 spots, the first 20 here" in many._repr_html_() and many._repr_html_().count("<tr>") == 21
    assert "0 spots" in Spots.empty()._repr_html_()


def test_a_surface_says_what_it_holds_and_how_sure():
    "Method, pixels, share drawn, ends and middle of values and sigma, what was held back; hardness without a unit."
    made = small_lake_map()
    text = re.sub(r"<[^>]+>", " ", made.depth._repr_html_())
    values, low = made.depth.estimate.values, np.nanmin(made.depth.estimate.values)
    assert "depth_m" in text and made.depth.method in text and f"{low:.2f} to {np.nanmax(values):.2f} m" in text
    assert f"below {np.nanmedian(values):.2f} m" in text and "missed by 0.21 m" in text
    assert not re.search(r"\d m\b", re.sub(r"<[^>]+>", " ", made.hardness._repr_html_()).split("values")[1])
    blank = dataclasses.replace(made.depth, left_out=None, estimate=dataclasses.replace(
        made.depth.estimate, values=np.full_like(values, np.nan)))
    assert "values" not in blank._repr_html_()


@pytest.mark.browser
def test_a_frame_without_room_waits_for_it(tmp_path):
    "Put away when the page starts, as in a folded cell, it is drawn once it is shown."
    file = tmp_path / "notebook.html"
    cell = f"<div style='display: none'>{full_lake()._repr_html_()}</div>"
    file.write_text(f"<!doctype html><title>notebook</title>{cell}", encoding="utf-8")
    with opened(file, 1000, 900) as page:
        inside = page.frames[1]
        page.wait_for_timeout(400)
        assert inside.evaluate("document.body.dataset.ready") is None
        page.evaluate("document.querySelector('div').style.display = 'block'")
        inside.wait_for_selector("body[data-ready]", timeout=20_000)


@pytest.mark.browser
def test_a_map_with_little_room_leaves_a_margin_too(tmp_path):
    "300 pixels of height leave the map less than both usual margins take."
    file = tmp_path / "map.html"
    file.write_text(map_page(full_lake(), "m"), encoding="utf-8")
    with opened(file, 480, 300) as page:
        page.wait_for_selector("body[data-ready]", timeout=20_000)
        assert page.evaluate("lakePage.map.getSize().y") < 40


@pytest.mark.browser
def test_a_browser_shows_the_map_inside_the_notebooks_page(tmp_path):
    "The frame's page is ready, draws, and complains of nothing, though it has no storage; names run nowhere."
    lake = dataclasses.replace(full_lake(), name=HOSTILE[1])
    file = tmp_path / "notebook.html"
    file.write_text(f"<!doctype html><title>notebook</title><div>{lake._repr_html_()}{lake.depth._repr_html_()}"
                    f"{lake.spots._repr_html_()}</div>", encoding="utf-8")
    with opened(file, 1000, 900) as page:
        inside = page.frames[1]
        inside.wait_for_selector("body[data-ready]", timeout=20_000)
        assert inside.locator("canvas").count() > 0 and inside.evaluate("document.title")
        assert inside.evaluate("(() => { try { return !!window.localStorage; } catch { return false; } })()") is False
        assert page.locator("table").count() == 2 and page.locator("img").count() == 0
