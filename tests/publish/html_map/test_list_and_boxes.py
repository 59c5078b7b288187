"""What is typed, opened or deleted in the page: the map follows the list, and nothing that is misread stays silent."""

import dataclasses
import importlib.util
import sys
from pathlib import Path

import pytest
from drawn_lake import LAT, LON

_spec = importlib.util.spec_from_file_location("water_tests", Path(__file__).with_name("test_on_the_water.py"))
water = importlib.util.module_from_spec(_spec)
sys.modules["water_tests"] = water
_spec.loader.exec_module(water)
shared, opened = water.shared, water.opened
chromium, written, size = water.chromium, water.written, shared.size

pytestmark = pytest.mark.browser

TYPES = {"GPX": "application/gpx+xml", "CSV": "text/csv", "HTML": "text/html"}
ONE = """<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x"><rte><name>one</name>
<rtept lat="53.2" lon="14.6"/><rtept lat="53.201" lon="14.6"/></rte></gpx>"""


def marks(page):
    "Numbers on the marks of the map, in the order that keys meet them."
    return page.locator(".spot-icon text").all_text_contents()


@pytest.mark.parametrize(("name", "text", "said"), [
    ("lines.gpx", ONE, "lines.gpx: one line opened"),
    ("lines.gpx", ONE.replace("</gpx>", ONE[ONE.index("<rte>"):]), "lines.gpx: 2 lines opened"),
    ("log.csv", "lat,lon,depth\n53.2,14.6,3\n", "log.csv: no GPX with a route or track"),
    ("half.gpx", ONE[:150], "half.gpx: no GPX with a route or track"),
    ("page.html", "<!DOCTYPE html><p style='color: red'>no", "page.html: no GPX with a route or track"),
    ("marks.gpx", ONE.replace("rte", "xxx"), "marks.gpx: no GPX with a route or track"),
    ("empty.gpx", "", "empty.gpx: no GPX with a route or track"),
    ("large.gpx", ONE + " " * 20_000_001, "large.gpx: larger than 20 MB"),
])
def test_a_file_that_is_no_plan_is_said_by_its_name(chromium, written, name, text, said):
    "Whatever it holds; the browser complains of nothing."
    with opened(chromium, written(water.rich_lake()), shared.DESK) as page:
        page.set_input_files("#lines-file", {"name": name, "mimeType": "text/plain", "buffer": text.encode()})
        page.wait_for_function("() => document.getElementById('lines-said').innerText")
        assert page.inner_text("#lines-said").startswith(said)


def test_the_map_shows_what_the_list_shows(chromium, written, size):
    "Marks left out by kind or search go, come back in their order, and stay away while all spots are switched off."
    lake = water.rich_lake()
    with opened(chromium, written(lake), size) as page:
        shared.open_list(page)
        every = marks(page)
        assert len(every) == len(lake.spots) > 2
        page.select_option("#spot-kind", "stump")
        kept = [str(k + 1) for k, kind in enumerate(lake.spots.kind) if kind == "stump"]
        assert marks(page) == kept != every
        page.fill("#spot-search", "nowhere at all")
        assert marks(page) == [] and page.is_disabled("#picks-all") and page.is_visible("#none-shown")
        page.evaluate("lakePage.layers.toggle(lakePage.overlays.spots, false)")
        page.fill("#spot-search", "")
        page.select_option("#spot-kind", "")
        assert marks(page) == []
        page.evaluate("lakePage.layers.toggle(lakePage.overlays.spots, true)")
        assert marks(page) == every and not page.is_disabled("#picks-all")


@pytest.mark.parametrize(("words", "found"), [
    ("drop off", True), ("Drop-Offs", True), ("north drop", True), ("stand öland", True), ("drop east", False),
    ("  ", True), ("grass", False), ("pass 3", True),
])
def test_a_search_takes_each_word_by_itself(chromium, written, words, found):
    "In any order, with or without hyphen and plural; marks over letters do not matter."
    lake = water.rich_lake()
    spot = lake.spots.take(lake.spots.score == lake.spots.score.max())
    told = ("Seen by 3 passes.", "Drop-off of {2.1 m} to the north.", "Stands in the Oland reeds.")
    lake = dataclasses.replace(lake, spots=dataclasses.replace(spot.take(shared.np.array([0])), reasons=(told,)))
    with opened(chromium, written(lake), shared.DESK) as page:
        page.evaluate("document.getElementById('spot-filter').hidden = false")
        page.fill("#spot-search", words)
        assert page.locator(".spot-row").count() == int(found)


def test_a_number_that_is_none_changes_nothing_and_is_said(chromium, written):
    "In all three boxes; a depth typed the wrong way round is turned and told; a sound one clears what was said."
    with opened(chromium, written(water.rich_lake()), shared.DESK) as page:
        for box, said, kept in (("band-from", "band-said", "Today.band"), ("level", "level-said", "Today.level_m")):
            page.fill(f"#{box}", "3")
            page.press(f"#{box}", "Enter")
            before = page.evaluate(kept)
            page.fill(f"#{box}", "3 <b>or so")
            page.press(f"#{box}", "Enter")
            assert page.inner_text(f"#{said}") == "“3 <b>or so” is no number: nothing was changed."
            assert page.get_attribute(f"#{box}", "aria-invalid") == "true" and page.evaluate(kept) == before
            page.fill(f"#{box}", "6")
            page.press(f"#{box}", "Enter")
            assert page.inner_text(f"#{said}") == "" and page.get_attribute(f"#{box}", "aria-invalid") == "false"
        page.fill("#level", "-99")
        page.press("#level", "Enter")
        assert "deep at most: nothing was changed" in page.inner_text("#level-said") and page.evaluate(kept) == 6
        page.fill("#band-to", "2")
        page.press("#band-to", "Enter")
        assert [page.input_value(box) for box in ("#band-from", "#band-to")] == ["2", "6"]
        assert "turned round" in page.inner_text("#band-said")


def test_depths_of_spots_follow_the_water(chromium, written):
    "A metre less in list and card, and what it leaves dry says so."
    with opened(chromium, written(water.rich_lake()), shared.DESK) as page:
        was = page.evaluate("lakePage.spots.spots[0].depth_m")
        page.evaluate("Today.setLevel(-1)")
        assert page.locator(".spot-row-depth").first.inner_text() == f"{was - 1:.1f}\u00a0m"
        page.locator(".spot-row").first.click()
        assert "Depth today" in page.inner_text("#card-facts")
        page.evaluate(f"Today.setLevel({-was - 0.5})")
        assert "dry" in page.inner_text("#card-facts") and "dry" in page.locator(".spot-row-depth").first.text_content()


def test_the_legend_names_what_was_asked_for(chromium, written):
    "Dotted and barred lines of today's water, ends of a band, and lines to drive, as long as they are drawn."
    with opened(chromium, written(water.rich_lake()), shared.DESK) as page:
        said = page.inner_text("#legend-lines")
        page.evaluate("Today.setLevel(-1), Today.setBand(2, 4)")
        page.set_input_files("#lines-file", {"name": "a.gpx", "mimeType": "text/xml", "buffer": ONE.encode()})
        page.wait_for_function("() => document.getElementById('lines-said').innerText")
        more = page.inner_text("#legend-lines").replace("\u00a0", " ")
        for words in ("Ends of the depths asked for", "Shallow today: 1.0 m", "Falls dry today", "Lines to drive"):
            assert words in more and words not in said
        page.evaluate("Today.setLevel(0), Today.setBand(null, null)")
        assert "today" not in page.inner_text("#legend-lines")


def test_a_note_is_deleted_where_there_is_one(chromium, written):
    "A new note has nothing to delete; one that is kept goes from list, map and browser."
    with opened(chromium, written(water.rich_lake()), shared.DESK) as page:
        page.locator(".spot-row").first.click()
        page.click("#card-note")
        assert not page.is_visible("#note-remove")
        page.fill("#note-text", "long " * 90)
        page.click("#note-form button[type=submit]")
        assert page.locator(".own-note").bounding_box()["height"] < 120
        page.click("#card-note")
        page.click("#note-remove")
        assert not page.is_visible("#notes") and page.locator(".note-dot").count() == 0
        assert page.evaluate("JSON.parse(localStorage.getItem('lakemap.notes.Long Pike Water'))") == []


@pytest.mark.parametrize(("shares", "said"), [
    ((0.999, 0.97, 0.9999), "over 99 % (between 97 and over 99 %)"), ((0.53, 0.2, 0.84), "53 % (between 20 and 84 %)"),
    ((0.9999, 0.998, 1.0), "over 99 %"), ((0.62, None, None), "62 %"),
])
def test_a_share_that_is_nearly_one_is_not_said_to_be_all(chromium, written, shares, said):
    "Neither the chance nor the end of its interval."
    with opened(chromium, written(water.rich_lake()), shared.DESK) as page:
        asked = dict(zip(("probability", "prob_low", "prob_high"), shares, strict=True))
        told = page.evaluate("spot => SpotPanel.chance(spot)", asked)
        assert told.replace("\u00a0", " ") == said


def test_one_press_shows_the_whole_lake_again(chromium, written, size):
    "From anywhere, at any zoom."
    with opened(chromium, written(water.rich_lake()), size) as page:
        seen = """() => [lakePage.map.getZoom(), ...['lat', 'lng'].map(axis => lakePage.map.getCenter()[axis])]"""
        before = page.evaluate(seen)
        page.evaluate(f"lakePage.map.setView([{LAT} + 0.01, {LON}], 17, {{animate: false}})")
        page.evaluate("drawer(true)")
        page.evaluate("lakePage.readout.show(lakePage.map.getCenter())")
        page.click("#whole-button")
        page.wait_for_timeout(300)
        assert not page.is_visible("#readout") and page.evaluate("document.body.classList.contains('drawer-open')") is (
            size is shared.DESK)
        assert page.evaluate(seen) == pytest.approx(before, abs=5e-5)
