"""Each control of the page by mouse, by touch and by keys: a table of what is done with it and what must change."""

import dataclasses
import importlib.util
import json
import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from drawn_lake import LAT, LON
from shapely.geometry import Point

from lakemap.model.changes import ChangedAreas, Changes
from lakemap.model.flags import Flag
from lakemap.model.hits import Hits

_spec = importlib.util.spec_from_file_location("water_tests", Path(__file__).with_name("test_on_the_water.py"))
water = importlib.util.module_from_spec(_spec)
sys.modules["water_tests"] = water
_spec.loader.exec_module(water)
shared, opened = water.shared, water.opened
chromium, written = water.chromium, water.written

pytestmark = pytest.mark.browser

EVERY = ("button, input, select, textarea, a[href], summary, [role=button], [contenteditable], "
         "[tabindex]:not([tabindex='-1'])")
NAMED = """one => one.dataset.unit ? `unit ${one.dataset.unit}` : one.type === 'radio' ? `view ${one.value}`
    : one.closest('#overlay-choices') ? `over ${one.value}` : one.closest('.pick') ? 'pick'
    : one.classList.contains('folium-map') ? 'map' : one.type === 'submit' ? 'note-keep'
    : one.id || one.className.split(' ').filter(word => /spot-icon|zoom-|row/.test(word))[0]
    || one.tagName.toLowerCase()"""


class Control(NamedTuple):
    """Where it is, what is done, and what the page says before and after: every entry must be another."""

    where: str
    act: str
    seen: str
    before: str = ""


def text(*ids):
    "What stands in elements."
    return ", ".join(f"document.getElementById('{one}').innerText" for one in ids)


def hidden(one):
    "Whether an element is put away."
    return f"document.getElementById('{one}').hidden"


def kept(key):
    "What the browser keeps."
    return f"localStorage.getItem('lakemap.{key}')"


WORDS = "document.getElementById('note-text').value"
LAYERS, CARD, SPOT_LIST, NOTE = "layers", "card", "list", "note"
SURFACE, SKETCH, LINES = "paint:surface", "paint:sketch", "paint:contours"


def over(name, seen, inner=""):
    "A box of the list of what is drawn over the colour."
    state = f"lakePage.map.hasLayer(lakePage.overlays['{name}'].layer)"
    return Control(f"#overlay-choices input[value={name}]", "check", f"{state}, {seen}" if seen else state,
                   f"{LAYERS} {inner}")


CONTROLS = {
    "unit ft": Control("button[data-unit=ft]", "press", f"{text('scale-text', 'legend-ticks')}, {kept('unit')}"),
    "unit m": Control("button[data-unit=m]", "press", f"{text('scale-text', 'legend-ticks')}, {kept('unit')}", "feet"),
    "drawer-handle": Control("#drawer-handle", "press", "document.body.className, "
                             "document.getElementById('drawer-handle').ariaExpanded"),
    "sure-show": Control("#sure-show", "press", f"{text('legend-title', 'sure-show')}, {kept('view')}, {SURFACE}"),
    "summary": Control("#more-sure summary", "press", "document.querySelector('#more-sure details').open", SPOT_LIST),
    "legend-count": Control("#legend-count", "press", "document.getElementById('legend-more').open"),
    "spot-order": Control("#spot-order", "choose:shallow", text("spot-list"), SPOT_LIST),
    "spot-kind": Control("#spot-kind", "choose:stump", text("spot-list", "spot-count"), SPOT_LIST),
    "spot-search": Control("#spot-search", "write:brush", text("spot-list", "spot-count"), SPOT_LIST),
    "picks-all": Control("#picks-all", "press", f"{text('picks-gpx')}, "
                         "document.querySelectorAll('.pick :checked').length", SPOT_LIST),
    "picks-gpx": Control("#picks-gpx", "save:<wpt", "", f"{SPOT_LIST} picked"),
    "pick": Control(".pick input >> nth=0", "check", f"{text('picks-gpx')}, "
                    "document.getElementById('picks-gpx').disabled", SPOT_LIST),
    "spot-row": Control(".spot-row >> nth=1", "press", f"{hidden('card')}, {text('card-title')}", SPOT_LIST),
    "spot-icon": Control(".spot-icon >> nth=0", "press", f"{hidden('card')}, {text('card-title')}"),
    "card-back": Control("#card-back", "press", f"{hidden('card')}, {hidden('spots')}", CARD),
    "card-note": Control("#card-note", "press", f"{hidden('note-form')}, document.activeElement.id", CARD),
    "note-text": Control("#note-text", "write:two of them", WORDS, f"{CARD} {NOTE}"),
    "note-keep": Control("#note-form button[type=submit]", "press", f"{hidden('note-form')}, {text('notes-count')}, "
                         f"{kept('notes.Long Pike Water')}", f"{CARD} {NOTE} words"),
    "note-cancel": Control("#note-cancel", "press", hidden("note-form"), f"{CARD} {NOTE} words"),
    "note-remove": Control("#note-remove", "press", f"{hidden('note-form')}, {hidden('notes')}, "
                           f"{kept('notes.Long Pike Water')}", f"noted {CARD} {NOTE}"),
    "notes-export": Control("#notes-export", "save:two of them", "", "noted"),
    "note-row": Control(".note-row >> nth=0", "press", f"{hidden('note-form')}, document.activeElement.id",
                        "noted"),
    "layers-button": Control("#layers-button", "press", f"{hidden('layers')}, "
                             "document.getElementById('layers-button').ariaExpanded", "closed"),
    "layers-close": Control("#layers-close", "press", f"{hidden('layers')}, "
                            "document.getElementById('layers-button').ariaExpanded", LAYERS),
    "view sure": Control("input[value=sure]", "check", f"{text('legend-title')}, {kept('view')}, {SURFACE}",
                         f"{LAYERS} depth"),
    **{f"view {name}": Control(f"input[value={name}]", "check", f"{text('legend-title')}, {kept('view')}, {SURFACE}",
                               LAYERS) for name in ("depth", "hardness", "slope")},
    "fade": Control("#fade", "check", SURFACE, f"{LAYERS} depth"),
    "over hazards": over("hazards", f"{SKETCH}, document.getElementById('legend-lines').textContent"),
    **{f"over {name}": over(name, SKETCH) for name in
       ("closed", "passes", "features", "gaps", "flagged", "hits", "edges", "weed", "moved", "shore")},
    "over contours": over("contours", "document.querySelectorAll('.contours-canvas').length"),
    "over spots": over("spots", "document.querySelectorAll('.spot-icon').length"),
    "over notes": over("notes", "Boolean(lakePage.notes.layer.getLayers()[0]._map)", "noted"),
    "over suited": Control("#overlay-choices input[value=suited]", "check", SURFACE, LAYERS),
    "over degrees": over("degrees", "document.querySelectorAll('.degree-name').length"),
    "line-every": Control("#line-every", "choose:5", "lakePage.contours.contours.length", LAYERS),
    "band-from": Control("#band-from", "enter:3", f"lakePage.contours.edges.length, {SURFACE}", LAYERS),
    "band-to": Control("#band-to", "enter:5", f"lakePage.contours.edges.length, {SURFACE}", LAYERS),
    "level": Control("#level", "enter:-1", f"lakePage.contours.edges.length, {SURFACE}", f"{LAYERS} depth"),
    "positions": Control("#positions", "choose:minutes", f"{text('readout-more')}, {kept('positions')}",
                         f"{LAYERS} reading"),
    "night": Control("#night", "check", f"getComputedStyle(document.body).backgroundColor, {kept('night')}", LAYERS),
    "lines-file": Control("#lines-file", "file", text("lines-said"), LAYERS),
    "whole-button": Control("#whole-button", "press", "lakePage.map.getZoom()", "closed near"),
    "here-button": Control("#here-button", "press", f"{hidden('here')}, {text('here')}, "
                           "document.getElementById('here-button').ariaPressed", "closed placed"),
    "readout-close": Control("#readout-close", "press", hidden("readout"), "closed reading"),
    "readout-note": Control("#readout-note", "press", f"{hidden('note-form')}, {text('note-title')}", "closed reading"),
    "map": Control(".folium-map", "map", "lakePage.readout.latlng?.lat ?? lakePage.map.getCenter().lat", "closed"),
    "leaflet-control-zoom-in": Control(".leaflet-control-zoom-in", "press", "lakePage.map.getZoom()", "closed"),
    "leaflet-control-zoom-out": Control(".leaflet-control-zoom-out", "press", "lakePage.map.getZoom()", "closed"),
}
ONLY_ON_PHONE = {"drawer-handle", "legend-count"}
LINE = b"""<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x"><rte><name>one</name>
<rtept lat="53.2" lon="14.6"/><rtept lat="53.201" lon="14.6"/></rte></gpx>"""
FIX = "{coords: {latitude: 53.2, longitude: 14.6, accuracy: 4}}"


def whole_lake():
    "A lake that has all that the page can draw but a background, which has its own tests."
    lake = water.rich_lake()
    west, south, east, north = lake.depth.frame.bounds
    around = (Point((west + east) / 2, (south + north) / 2).buffer(60),)
    day = np.array(["2024-05-18"], "datetime64[D]")
    areas = ChangedAreas(around, np.array([0.5]), day, day)
    flags = lake.soundings.flags.copy()
    flags[5:400] |= np.uint32(Flag.spike)
    n = len(lake.spots)
    one = np.ones(n)
    hits = Hits(np.array(["stump"] * n), np.zeros(n, np.int8), one * (west + 300), one * (south + 300), one, one, one,
                one, np.ones(n, np.int32), np.zeros(n, np.int32), one, np.array(["2024-05-18"] * n, "datetime64[ms]"),
                np.array([""] * n))
    return dataclasses.replace(lake, changes=Changes(None, None, areas, areas), hits=hits,
                               soundings=dataclasses.replace(lake.soundings, flags=flags))


def ready(page, control, phone):
    "The page opened anew with what the control needs in sight."
    page.evaluate("localStorage.clear()")
    page.reload()
    page.wait_for_selector("body[data-ready]")
    todo = control.before.split()
    page.evaluate("document.getElementById('layers').hidden && !OPEN || lakePage.layers.open(OPEN)".replace(
        "OPEN", json.dumps(LAYERS in todo or not (phone or "closed" in todo))))
    if "feet" in todo:
        page.evaluate("document.querySelector('[data-unit=ft]').click()")
    if "depth" in todo:
        page.evaluate("lakePage.layers.choose('depth')")
    if "reading" in todo:
        page.evaluate(f"lakePage.readout.show(L.latLng({LAT}, {LON}))")
    if "placed" in todo:
        page.evaluate("void (Object.getPrototypeOf(navigator.geolocation).watchPosition = (told) => "
                      f"{{ setTimeout(() => told({FIX}), 0); return 1; }})")
    if {CARD, SPOT_LIST, "noted"} & set(todo) and phone:
        page.evaluate("drawer(true)")
    if "near" in todo:
        page.evaluate("lakePage.map.setZoom(lakePage.map.getZoom() + 2, {animate: false})")
    if CARD in todo:
        page.evaluate("lakePage.spots.open(lakePage.spots.spots[0])")
    if "noted" in todo:
        page.evaluate("""() => {
            const [first] = lakePage.spots.spots;
            lakePage.notes.open(lakePage.spots.placeOf(first));
            document.getElementById('note-text').value = 'two of them';
            lakePage.notes.save();
        }""")
    if NOTE in todo:
        page.evaluate("lakePage.notes.open(lakePage.spots.placeOf(lakePage.spots.spots[0]))")
    if "words" in todo:
        page.fill("#note-text", "two of them")
    if "picked" in todo:
        page.evaluate("document.getElementById('picks-all').click()")
    page.wait_for_timeout(300 if phone else 30)
    shared.settled(page)


def looked(page, seen):
    "Each thing that the control must change, as it is now."
    parts = [part.strip() for part in _split(seen)]
    return [shared.painted(page, part[6:]) if part.startswith("paint:") else page.evaluate(part) for part in parts]


def _split(seen):
    depth, start = 0, 0
    for at, letter in enumerate(seen):
        depth += (letter in "([{") - (letter in ")]}")
        if letter == "," and depth == 0:
            yield seen[start:at]
            start = at + 1
    if seen:
        yield seen[start:]


def press(page, spot, how):
    "A click, a tap, or the key that presses it."
    if how == "keys":
        spot.focus()
        page.keyboard.press("Space" if spot.get_attribute("type") in ("checkbox", "radio") else "Enter")
    else:
        (spot.tap if how == "touch" else spot.click)()


def act(page, control, how, folder):
    "Does with a control what people do with it."
    spot, (what, _, word) = page.locator(control.where), control.act.partition(":")
    if what in ("press", "check"):
        press(page, spot, how)
    elif what == "choose":
        spot.select_option(word)
    elif what in ("write", "enter"):
        spot.focus()
        page.keyboard.type(word)
        if what == "enter":
            page.keyboard.press("Enter")
    elif what == "file":
        spot.set_input_files({"name": "lines.gpx", "mimeType": "application/gpx+xml", "buffer": LINE})
    elif what == "save":
        with page.expect_download() as waiting:
            press(page, spot, how)
        waiting.value.save_as(folder / "saved")
        assert word in (folder / "saved").read_text("utf-8")
    elif how == "keys":
        spot.focus()
        page.keyboard.press("ArrowUp")
        page.wait_for_timeout(400)
    else:
        box = spot.bounding_box()
        (page.touchscreen.tap if how == "touch" else page.mouse.click)(
            box["x"] + 0.9 * box["width"], box["y"] + 0.6 * box["height"])


def unmoved(page, name, control, how, folder):
    "What stayed as it was though the control was used."
    before = looked(page, control.seen)
    act(page, control, how, folder)
    page.wait_for_timeout(60)
    shared.settled(page)
    after = looked(page, control.seen)
    return [f"{name}: {part.strip()} is still {was!r:.60}" for part, was, now in
            zip(_split(control.seen), before, after, strict=True) if was == now]


HANDS = {"mouse": shared.DESK, "touch": shared.PHONE, "keys": shared.DESK}


@pytest.mark.parametrize("how", HANDS)
def test_every_control_does_what_it_says(chromium, written, how, tmp_path):
    "Used by mouse, finger or keys, each control of the table changes all that it is there to change."
    with opened(chromium, written(whole_lake()), HANDS[how]) as page:
        dead = []
        for name, control in CONTROLS.items():
            if name in ONLY_ON_PHONE and how != "touch":
                continue
            ready(page, control, how == "touch")
            dead += unmoved(page, name, control, how, tmp_path)
        assert "\n".join(dead) == ""


def everything_open(page, phone):
    "List, a note, a tap's reading, layers and own position, all in the page at once."
    ready(page, Control("", "", "", f"noted reading placed {NOTE} {LAYERS} {SPOT_LIST}"), phone)
    page.evaluate("document.getElementById('here-button').click()")


@pytest.mark.parametrize("phone", [False, True], ids=["desk", "phone"])
def test_no_control_is_left_out_of_the_table(chromium, written, phone):
    "Whatever can be pressed, chosen or written into is in the table, and the table names nothing else."
    with opened(chromium, written(whole_lake()), shared.PHONE if phone else shared.DESK) as page:
        everything_open(page, phone)
        named = page.locator(EVERY).evaluate_all(f"all => all.map({NAMED})")
        assert sorted(set(named) ^ set(CONTROLS)) == []
        shown = page.locator("#drawer-handle").is_visible()
        assert shown is phone
