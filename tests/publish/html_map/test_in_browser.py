"""map.html opened in Chromium with the network cut, at desk and phone size."""

import dataclasses
from contextlib import contextmanager

import numpy as np
import pytest
import rasterio.warp
from drawn_lake import bare, frame_at, full_lake, surface
from own_browser import launched
from pyproj import CRS, Transformer
from rasterio.transform import from_bounds

from lakemap.model.outputs import CAUTION
from lakemap.publish.html_map import packing
from lakemap.publish.html_map.page import map_page
from lakemap.units import fill_lengths

pytestmark = pytest.mark.browser

DESK = {"viewport": {"width": 1280, "height": 800}}
PHONE = {"viewport": {"width": 390, "height": 844}, "device_scale_factor": 2, "is_mobile": True, "has_touch": True}

@pytest.fixture(scope="module")
def chromium():
    "The machine's own Chromium, never a downloaded one."
    with launched() as browser:
        yield browser


@contextmanager
def opened(chromium, path, size):
    "A page with the network cut; leaving it, no request went out and nothing was complained about."
    context = chromium.new_context(**size)
    context.set_offline(True)
    outside, complaints = [], []

    def only_files(route):
        if route.request.url.startswith("file:"):
            route.continue_()
        else:
            outside.append(route.request.url)
            route.abort()

    context.route("**/*", only_files)
    page = context.new_page()
    page.on("request", lambda request: outside.append(request.url)
            if not request.url.startswith(("file:", "data:", "blob:")) else None)
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(path.as_uri())
    page.wait_for_selector("body[data-ready]", timeout=20_000)
    settled(page)
    yield page
    context.close()
    assert outside == [], outside
    assert complaints == [], complaints


@pytest.fixture
def written(tmp_path):
    "Writes a lake's page and gives its path."
    def write(lake, unit="m"):
        path = tmp_path / "map.html"
        path.write_text(map_page(lake, unit), encoding="utf-8")
        return path

    return write


@pytest.fixture(params=[DESK, PHONE], ids=["desk", "phone"])
def size(request):
    "Desk and phone."
    return request.param


def settled(page):
    "Until nothing is being drawn any more."
    page.wait_for_function("() => !document.body.dataset.painting", timeout=20_000)


def painted(page, pane="surface"):
    "A sum over a picture of the map: changes when what it shows changes."
    settled(page)
    return page.evaluate("""(pane) => {
        const canvas = document.querySelector(`.${pane}-canvas`);
        const bytes = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data;
        let sum = 0;
        for (let at = 0; at < bytes.length; at += 1) sum = (sum * 31 + bytes[at]) % 1000000007;
        return sum;
    }""", pane)


def show_depth(page):
    "Colour shows depth."
    page.evaluate("lakePage.layers.choose('depth')")


def open_layers(page):
    "The layers panel, open."
    if page.locator("#layers").is_hidden():
        page.click("#layers-button")


def open_list(page):
    "The list of spots, in sight."
    if page.locator("#drawer-handle").is_visible() and "drawer-open" not in (page.get_attribute("body", "class") or ""):
        page.click("#drawer-handle")


def test_layers_switch(chromium, written, size):
    "Each view of the colour paints something else, and each thing drawn over it goes and comes."
    with opened(chromium, written(full_lake()), size) as page:
        open_layers(page)
        assert page.locator("input[name=view]").evaluate_all("all => all.map(one => one.value)") == [
            "sure", "depth", "hardness", "slope",
        ]
        seen = set()
        for name in ("sure", "depth", "hardness", "slope"):
            page.check(f"input[value={name}]")
            seen.add(painted(page))
        assert len(seen) == 4
        for name in ("contours", "passes", "features", "spots", "shore"):
            box = page.locator(f"#overlay-choices input[value={name}]")
            was = box.is_checked()
            box.set_checked(not was)
            assert page.evaluate(f"lakePage.map.hasLayer(lakePage.overlays.{name}.layer)") is (not was)
            box.set_checked(was)
            assert page.evaluate(f"lakePage.map.hasLayer(lakePage.overlays.{name}.layer)") is was
        assert page.evaluate("lakePage.contours.labelled") > 3


def test_colour_fades_where_unsure(chromium, written):
    "With fading off the same view is painted in full strength."
    with opened(chromium, written(full_lake()), DESK) as page:
        show_depth(page)
        faded = painted(page)
        page.uncheck("#fade")
        assert painted(page) != faded


def test_what_is_kept_while_the_map_moves_is_what_would_be_drawn(chromium, written):
    "After a move the part that both pictures share is copied; drawn anew, next to no pixel differs, and by one step."
    keep = """() => {
        const { canvas } = lakePage.painter;
        const kept = window.kept, { data } = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height);
        window.kept = data;
        return kept ? data.reduce((sum, value, k) => sum + Math.abs(value - kept[k]), 0) : null;
    }"""
    with opened(chromium, written(full_lake()), PHONE) as page:
        for move in ("[61, -43]", "[-170, 90]"):
            page.evaluate(keep)
            page.evaluate(f"void lakePage.map.panBy({move}, {{animate: false}})")
            settled(page)
            assert page.evaluate(keep) > 1e6
            page.evaluate("lakePage.painter.redraw()")
            settled(page)
            assert page.evaluate(keep) < 100


def test_the_last_picture_stays_in_place_until_the_next_is_whole(chromium, written):
    "Zoomed without waiting: the old canvas is scaled onto its place on the ground, corner by corner."
    with opened(chromium, written(full_lake()), DESK) as page:
        settled(page)
        off = page.evaluate("""() => {
            const { map, painter } = lakePage, { min, span, zoom } = painter.seen, canvas = painter.canvas;
            const corners = [min, min.add(span)].map(point => map.unproject(point, zoom));
            map.setZoom(zoom + 1.5, { animate: false });
            const box = canvas.getBoundingClientRect(), from = map.getContainer().getBoundingClientRect();
            const shown = [[box.left, box.top], [box.right, box.bottom]];
            const meant = corners.map(corner => map.latLngToContainerPoint(corner));
            return [canvas === painter.canvas, ...meant.flatMap((point, k) =>
                [point.x + from.left - shown[k][0], point.y + from.top - shown[k][1]])];
        }""")
        assert off[0] is True
        assert np.max(np.abs(off[1:])) < 1.0


def test_certainty_leads(chromium, written, size):
    "The first thing said and painted is how sure the map is; one tap turns to depth and back."
    with opened(chromium, written(full_lake()), size) as page:
        shares = [page.inner_text(f"#share-word-{k}") for k in range(3)]
        assert [text.split()[0] for text in shares] == ["Sure", "Fair", "Guess"]
        assert page.locator("input[value=sure]").is_checked()
        page.click("#sure-show")
        assert page.locator("input[value=depth]").is_checked()
        page.click("#sure-show")
        assert page.locator("input[value=sure]").is_checked()
        assert page.inner_text("#legend-title") == "Depth is within ± (m)"
        assert page.locator("#caution").is_visible()
        assert page.inner_text("#caution") == CAUTION


def test_a_spot_opens_and_shows_its_reasons(chromium, written, size):
    "A tap on a mark, or on its row, shows evidence, reasons with lengths filled in, depth and the score's parts."
    lake = full_lake()
    with opened(chromium, written(lake), size) as page:
        page.locator(".leaflet-marker-icon.spot-icon").nth(3).click()
        assert page.locator("#card").is_visible()
        assert page.inner_text("#card-title") == lake.spots.name[3]
        said = [text.replace("\u00a0", " ") for text in page.locator("#card-reasons li").all_inner_texts()]
        assert said == [fill_lengths(text, "m") for text in lake.spots.reasons[3]]
        assert "Seen by 1 of 4 passes over it" in page.inner_text("#card-evidence")
        assert page.locator("#card-parts li").count() == len(lake.spots.score_parts)
        page.click("#card-back")
        page.locator(".spot-row").nth(1).click()
        assert page.inner_text("#card-title") == lake.spots.name[1]
        caption = page.inner_text("#card-passes figcaption").replace("\u00a0", " ")
        assert caption == "2024-05-18 · Did not show it · 6.6 m away at the nearest"
        label = page.locator("#card-passes svg[role=img]").get_attribute("aria-label")
        assert label.startswith("Depth along the pass: 1.0")
        assert page.locator(".spot-icon.chosen").count() == 1


def test_units_switch_everywhere_and_are_remembered(chromium, written):
    "Feet at one switch: legend, list, reasons, tap, scale; and still feet when the page is opened again."
    lake = full_lake()
    with opened(chromium, written(lake), DESK) as page:
        show_depth(page)
        page.locator(".spot-row").first.click()
        page.evaluate("lakePage.readout.show(lakePage.map.getCenter())")
        metres = page.inner_text("#readout-depth")
        page.click("button[data-unit=ft]")
        assert page.inner_text("#legend-title") == "Depth (ft)"
        assert page.inner_text("#scale-text").endswith("ft")
        feet = float(page.inner_text("#readout-depth").split()[0])
        assert metres.endswith("m")
        assert feet == pytest.approx(float(metres.split()[0]) / 0.3048, abs=0.25)
        said = page.locator("#card-reasons li").first.inner_text().replace("\u00a0", " ")
        assert said == fill_lengths(lake.spots.reasons[0][0], "ft")
        page.reload()
        page.wait_for_selector("body[data-ready]")
        assert page.get_attribute("button[data-unit=ft]", "aria-pressed") == "true"


def test_a_page_in_feet_starts_in_feet(chromium, written):
    "The unit most depths came in is the one the page opens with."
    with opened(chromium, written(full_lake(), "ft"), DESK) as page:
        assert page.inner_text("#legend-title") == "Depth is within ± (ft)"


def test_a_tap_reads_the_rasters_own_values(chromium, written):
    "At the centre of any pixel the page reads depth, error and hardness of that very pixel, to half a quantum."
    lake = full_lake((60, 80), 8.0)
    frame = lake.depth.frame
    rng = np.random.default_rng(2)
    row, column = rng.integers(0, 60, 60), rng.integers(0, 80, 60)
    x, y = frame.centres()
    to_degrees = Transformer.from_crs(frame.crs, CRS.from_epsg(4326), always_xy=True)
    lon, lat = to_degrees.transform(x[column], y[row])
    with opened(chromium, written(lake), DESK) as page:
        read = page.evaluate(
            """places => places.map(([lat, lng]) => {
                const found = lakePage.readout.read(L.latLng(lat, lng));
                return ['depth', 'sigma', 'hardness', 'slope'].map(name =>
                    Number.isNaN(found[name]) ? null : found[name]);
            })""",
            np.column_stack([lat, lon]).tolist(),
        )
        read = np.array(read, float)
        layers = (lake.depth.estimate, lake.depth.sigma, lake.hardness.estimate, lake.terrain.slope)
        for k, (grid, half) in enumerate(zip(layers, (0.01, 0.005, 0.0025, 0.05), strict=True)):
            truth = grid.values[row, column]
            assert np.array_equal(np.isnan(read[:, k]), np.isnan(truth))
            assert np.nanmax(np.abs(read[:, k] - truth)) <= half + 1e-6


def test_a_real_tap_shows_depth_and_error(chromium, written, size):
    "A tap on open water says how sure, how deep, plus or minus what, and how hard."
    lake = bare(surface(frame_at((30, 30), 10.0), "depth_m", "m", np.full((30, 30), 4.26), np.full((30, 30), 0.25)))
    lake = dataclasses.replace(
        lake, hardness=surface(lake.depth.frame, "hardness", "1", np.full((30, 30), 0.8), np.full((30, 30), 0.05)))
    with opened(chromium, written(lake), size) as page:
        box = page.locator(".folium-map").bounding_box()
        where = (box["x"] + box["width"] * 0.4, box["y"] + box["height"] * 0.45)
        (page.touchscreen.tap if "has_touch" in size else page.mouse.click)(*where)
        page.locator("#readout").wait_for(state="visible")
        assert page.inner_text("#readout-sure") == "Sure"
        assert page.inner_text("#readout-depth") == "4.3\u00a0m"
        assert page.inner_text("#readout-error") == "±\u00a00.5\u00a0m"
        assert "hard (0.80 ±\u00a00.10)" in page.inner_text("#readout-more")


def test_what_is_read_does_not_cover_the_place(chromium, written, size):
    "Wherever on the map a tap falls, its cross stands clear of the box that tells of it."
    with opened(chromium, written(full_lake()), size) as page:
        box = page.locator(".folium-map").bounding_box()
        low = page.locator("#legend").bounding_box()
        for share in (0.2, 0.5, 0.8):
            x, y = low["x"] + share * low["width"], low["y"] - 8
            assert y > box["y"]
            page.mouse.click(x, y)
            page.wait_for_timeout(500)
            told, cross = (page.locator(one).bounding_box() for one in ("#readout", ".tap-cross"))
            middle = (cross["x"] + cross["width"] / 2, cross["y"] + cross["height"] / 2)
            assert not (told["x"] <= middle[0] <= told["x"] + told["width"]
                        and told["y"] <= middle[1] <= told["y"] + told["height"])
            assert box["y"] < middle[1] < box["y"] + box["height"]
            page.click("#readout-close")


@pytest.mark.parametrize(("lon", "lat"), [(17.9, 58.0), (179.999, -40.0)], ids=["zone's edge", "antimeridian"])
def test_the_picture_lies_where_the_grid_is(chromium, written, lon, lat):
    "What is painted agrees, to one screen pixel, with the grid warped to Web Mercator by GDAL."
    frame = frame_at((90, 120), 6.0, lon, lat)
    rows, columns = np.indices(frame.shape)
    values = np.where((rows // 10 + columns // 10) % 2 == 0, 5.0, np.nan)
    lake = bare(surface(frame, "depth_m", "m", values, np.full(frame.shape, 0.1)))
    with opened(chromium, written(lake), DESK) as page:
        show_depth(page)
        page.click("#layers-close")
        settled(page)
        corners = page.evaluate("""() => {
            const size = lakePage.map.getSize();
            const to = (x, y) => L.CRS.EPSG3857.project(lakePage.map.containerPointToLatLng([x, y]));
            const a = to(0, size.y), b = to(size.x, 0);
            return [a.x, a.y, b.x, b.y, size.x, size.y];
        }""")
        shown = page.evaluate("""() => {
            const { map, painter: { canvas, seen: { min, scale } } } = lakePage, size = map.getSize();
            const from = map.containerPointToLayerPoint([0, 0]).add(map.getPixelOrigin()).subtract(min);
            const data = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data;
            let found = '';
            for (let y = 0; y < size.y; y++) for (let x = 0; x < size.x; x++) {
                const column = Math.floor((from.x + x + 0.5) * scale), row = Math.floor((from.y + y + 0.5) * scale);
                found += data[4 * (row * canvas.width + column) + 3] > 0 ? '1' : '0';
            }
            return found;
        }""")
    west, south, east, north, width, height = corners
    shown = (np.frombuffer(shown.encode(), np.uint8) == ord("1")).reshape(int(height), int(width))
    # GDAL knows no longitude beyond 180: the target's false easting moves with the lake.
    middle = lon if lon < 179 else 180.0
    shift = np.radians(middle) * 6378137.0
    target = CRS.from_proj4(f"+proj=merc +a=6378137 +b=6378137 +lon_0={middle} +units=m +nadgrids=@null +no_defs")
    expected = np.zeros(shown.shape, np.float32)
    rasterio.warp.reproject(
        np.nan_to_num(values).astype(np.float32), expected, src_transform=frame.transform, src_crs=frame.crs.to_wkt(),
        dst_transform=from_bounds(west - shift, south, east - shift, north, int(width), int(height)),
        dst_crs=target.to_wkt(), resampling=rasterio.warp.Resampling.nearest, tolerance=0.01,
    )
    inside = expected > 0
    assert 0.1 < inside.mean() < 0.5
    around = np.lib.stride_tricks.sliding_window_view(np.pad(inside, 1), (3, 3))
    surely, maybe = around.all(axis=(2, 3)), around.any(axis=(2, 3))
    assert not np.any(surely & ~shown)
    assert not np.any(shown & ~maybe)


def test_crowded_marks_and_lines_are_thinned(chromium, written):
    "Zoomed out, worse spots shrink to dots and contours are left out; zoomed in, every one is there."
    lake = full_lake()
    with opened(chromium, written(lake), DESK) as page:
        page.evaluate("void lakePage.map.setZoom(lakePage.map.getMinZoom(), {animate: false})")
        assert page.locator(".spot-icon.small").count() > 0
        assert page.locator(".spot-icon").first.evaluate("one => one.classList.contains('small')") is False
        assert page.evaluate("lakePage.contours._every()") > 1
        page.evaluate("void lakePage.map.setZoom(20, {animate: false})")
        assert page.locator(".spot-icon.small").count() == 0
        assert page.evaluate("lakePage.contours._every()") == 1


def test_hostile_names_run_nothing(chromium, written, size):
    "Markup in names is shown letter by letter."
    lake = full_lake()
    name = '<img src=x onerror="document.title=1">'
    spots = dataclasses.replace(
        lake.spots, name=(name, *lake.spots.name[1:]), kind=(name, *lake.spots.kind[1:]),
        reasons=((f"{name} {{1.000 m}}",), *lake.spots.reasons[1:]),
    )
    with opened(chromium, written(dataclasses.replace(lake, name=f"{name} بحيرة", spots=spots)), size) as page:
        open_list(page)
        page.locator(".spot-row").first.click()
        assert page.inner_text("#card-title") == name
        assert page.inner_text("#card-reasons li").replace("\u00a0", " ") == f"{name} 1.0 m"
        assert page.inner_text("#lake-name") == f"{name} بحيرة"
        assert page.locator("img").count() == 0
        assert page.title() == f"{name} بحيرة"


def test_fits_the_screen_and_the_thumb(chromium, written, size):
    "Nothing scrolls sideways, and every control is at least 40 pixels in both directions or a row that high."
    with opened(chromium, written(full_lake()), size) as page:
        open_layers(page)
        open_list(page)
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        assert page.evaluate("document.documentElement.scrollHeight <= window.innerHeight")
        small = page.locator("button, select, summary, label.choice, .spot-icon, .leaflet-bar a").evaluate_all("""all =>
            all.filter(one => one.offsetParent).map(one => [one.id || one.className, one.getBoundingClientRect()])
               .filter(([, box]) => box.height < 39.5 || box.width < 39.5).map(([name]) => name)""")
        assert small == []


def test_keys_reach_everything(chromium, written):
    "Tab goes from the unit switch on, Enter opens a spot, Escape closes it."
    with opened(chromium, written(full_lake()), DESK) as page:
        page.focus(".spot-row")
        page.keyboard.press("Enter")
        assert page.locator("#card").is_visible()
        page.keyboard.press("Escape")
        assert page.locator("#card").is_hidden()
        page.keyboard.press("Tab")
        assert "by-keys" in page.get_attribute("body", "class")


def _no_sigma(lake):
    blank = np.full(lake.depth.frame.shape, np.nan)
    return dataclasses.replace(lake, depth=surface(lake.depth.frame, "depth_m", "m", lake.depth.estimate.values, blank))


POOR = {
    "no hardness": lambda: dataclasses.replace(full_lake(), hardness=None),
    "no error": lambda: _no_sigma(full_lake()),
    "nothing but depth": lambda: bare(surface(frame_at((20, 20), 5.0), "depth_m", "m", np.full((20, 20), 3.0),
                                              np.full((20, 20), 0.2))),
    "one pixel": lambda: bare(surface(frame_at((1, 1), 5.0), "depth_m", "m", [[3.0]], [[0.2]])),
    "no depth": lambda: bare(surface(frame_at((5, 5), 5.0), "depth_m", "m", np.full((5, 5), np.nan),
                                     np.full((5, 5), np.nan))),
}


@pytest.mark.parametrize("which", POOR)
def test_poor_lakes_open_too(chromium, written, size, which):
    "What is not there is left out or said, and nothing breaks."
    lake = POOR[which]()
    with opened(chromium, written(lake), size) as page:
        open_layers(page)
        assert page.locator("input[value=hardness]").count() == (lake.hardness is not None)
        page.evaluate("lakePage.readout.show(lakePage.map.getCenter())")
        depth = page.inner_text("#readout-depth")
        assert (depth == "No depth here") is (which == "no depth")
        if which == "no error":
            assert page.inner_text("#readout-sure") == "Guess"
            assert page.inner_text("#readout-error") == "error not known"
        page.check("input[value=sure]")
        open_list(page)
        assert page.locator("#no-spots").is_visible() is (len(lake.spots) == 0)


def test_a_huge_grid_is_shown_coarser_and_says_so(chromium, written, monkeypatch):
    "Beyond the limit squares are averaged, the page says their size, and a tap still reads the right place."
    monkeypatch.setattr(packing, "MOST_PIXELS", 900)
    frame = frame_at((60, 60), 5.0)
    values = np.where(np.arange(60)[None, :] < 30, 2.0, 6.0) * np.ones((60, 1))
    with opened(chromium, written(bare(surface(frame, "depth_m", "m", values, np.full((60, 60), 0.2)))), DESK) as page:
        said = page.inner_text("#coarser").replace("\u00a0", " ")
        assert said == "Shown here in squares of 10.0 m; the files are finer."
        west, east = page.evaluate("""() => {
            const at = (part) => lakePage.grid.value('depth', lakePage.grid.at(L.latLng(LAT, LON + part)));
            return [at(-0.001), at(0.001)];
        }""".replace("LAT", "53.2").replace("LON", "14.6"))
        assert (west, east) == (2.0, 6.0)
