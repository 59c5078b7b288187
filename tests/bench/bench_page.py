"""map.html of a lake of a million pixels on a phone four times slower than this machine: size, first picture, stalls.

The page holds classes of the bottom, contours, passes and spots. Chromium is slowed by its own throttle; the longest
task of the main thread in each act is told, from Chromium's own trace: by the wall, and in processor time, which
holds on a busy machine too (with a throttle of 1 it is also told four times over). "first" is the first contentful
paint, "depths" when the first coloured picture of the lake is on the screen.
Run: python tests/bench/bench_page.py [megapixels] [throttle] [detail]
"""

from __future__ import annotations

import dataclasses
import json
import shutil
import sys
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np
from scipy.ndimage import gaussian_filter

sys.path.insert(0, str(Path(__file__).parents[1]))

from drawn_lake import full_lake, surface

PHONE = {"viewport": {"width": 390, "height": 844}, "device_scale_factor": 3, "is_mobile": True, "has_touch": True}
QUIET = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)
WATCH = """
new MutationObserver(() => {
  if (!window.depthsAt && document.body?.dataset.painted) window.depthsAt = performance.now();
}).observe(document, { attributes: true, subtree: true, attributeFilter: ['data-painted'] });
"""


def rough(shape, rng, widths=(60, 18, 5, 1.2)):
    "A floor that is rough at every width, about -1 to 1."
    made = sum(w**0.8 * (n := gaussian_filter(rng.normal(size=shape), w)) / n.std() for w in widths)
    return made / np.abs(made).max()


def lake(pixels):
    "A lake of so many pixels, with everything that a page can hold."
    from lakemap.model.bottom import Bottom, BottomEdges
    from lakemap.model.frame import Grid

    side = round(pixels**0.5)
    rng = np.random.default_rng(3)
    drawn = full_lake((side, side), 2.0)
    frame, water = drawn.depth.frame, np.isfinite(drawn.depth.estimate.values)
    depth = np.where(water, np.clip(drawn.depth.estimate.values + 1.5 * rough((side, side), rng), 0.2, None), np.nan)
    sigma = drawn.depth.sigma.values * (1 + 0.3 * rough((side, side), rng))
    hard = np.where(water, np.clip(0.5 + 0.6 * rough((side, side), rng), 0, 1), np.nan)
    shares = ((1 - hard) ** 2, 2 * hard * (1 - hard), hard**2)
    grids = tuple(Grid(frame, one.astype(np.float32), f"class {k}", "1") for k, one in enumerate(shares))
    bottom = Bottom(("soft", "medium", "hard"), grids, Grid(frame, 0 * hard, "doubt", "1"), BottomEdges())
    return dataclasses.replace(
        drawn, depth=surface(frame, "depth_m", "m", depth, sigma), bottom=bottom, soundings=passes(frame, rng),
        hardness=surface(frame, "hardness", "1", hard, np.where(water, 0.1, np.nan)),
    )


def passes(frame, rng, apart_m=20.0):
    "Passes side by side over the whole frame, none of them straight."
    from lakemap.geo.crs import unproject
    from lakemap.model.log_facts import LogFacts
    from lakemap.model.soundings import Soundings

    west, south, east, north = frame.bounds
    x = np.arange(west, east, 2.0)
    rows = [np.column_stack([x, y + np.cumsum(rng.normal(0, 0.25, len(x))), np.full(len(x), k)])
            for k, y in enumerate(np.arange(south, north, apart_m))]
    x_m, y_m, number = np.concatenate(rows).T
    lon, lat = unproject(frame.crs, x_m, y_m)
    built = Soundings.build(
        len(x_m), logs=(LogFacts(name="a", depth_unit="m", rows_in=len(x_m)),), x_m=x_m, y_m=y_m, lon_deg=lon,
        lat_deg=lat, pass_id=number, time_s=np.arange(len(x_m)), depth_m=np.ones(len(x_m)),
    )
    return dataclasses.replace(built, crs=frame.crs)


def flick(page, dx, dy):
    "A finger across the map, as the browser's own input."
    session = page.context.new_cdp_session(page)
    at = [200.0, 320.0]
    touch = lambda kind, points: session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})  # noqa: E731
    touch("touchStart", [{"x": at[0], "y": at[1]}])
    for k in range(1, 13):
        touch("touchMove", [{"x": at[0] + dx * k / 12, "y": at[1] + dy * k / 12}])
        page.wait_for_timeout(16)
    touch("touchEnd", [])
    session.detach()


def later(page, script):
    "Runs as a task of the page's own: one that the browser's tools run is not counted as a stall."
    page.evaluate(f"setTimeout(() => {{ {script} }}, 0) && 0")


def wait_still(page):
    "Until all pictures are drawn."
    page.wait_for_timeout(400)
    page.wait_for_function("() => !document.body.dataset.painting", timeout=60_000)
    page.wait_for_timeout(400)


ACTS = {
    "pan": lambda page: flick(page, -160, -120),
    "pan back": lambda page: flick(page, 160, 120),
    "zoom in": lambda page: later(page, "lakePage.map.zoomIn(1)"),
    "zoom in more": lambda page: later(page, "lakePage.map.zoomIn(1)"),
    "zoom out": lambda page: later(page, "lakePage.map.zoomOut(2)"),
    "depth": lambda page: later(page, "lakePage.layers.choose('depth')"),
    "hardness": lambda page: later(page, "lakePage.layers.choose('hardness')"),
    "feet": lambda page: later(page, "document.querySelector('[data-unit=ft]').click()"),
    "level": lambda page: later(page, "Today.setLevel(-0.5)"),
    "tap": lambda page: later(page, "lakePage.readout.show(lakePage.map.getCenter())"),
    "spot": lambda page: later(page, "document.querySelector('.spot-row').click()"),
    "spot closed": lambda page: later(page, "lakePage.spots.close(); drawer(false)"),
    "all layers": lambda page: later(
        page, "document.querySelectorAll('#overlay-choices input:not(:checked)').forEach((one) => one.click())"),
    "pan, all layers": lambda page: flick(page, -160, -120),
}


def tasks(trace):
    "Tasks of the page's main thread: (wall, processor time [ms], what they were made of), longest first by processor."
    events = json.loads(trace)["traceEvents"]
    main = {(one["pid"], one["tid"]) for one in events
            if one.get("name") == "thread_name" and one["args"]["name"] == "CrRendererMain"}
    mine = sorted((one for one in events if (one.get("pid"), one.get("tid")) in main and one.get("ph") == "X"),
                  key=lambda one: one["ts"])
    found = []
    for one in mine:
        if one["name"] == "RunTask":
            end = one["ts"] + one["dur"]
            inner = [child for child in mine if one["ts"] <= child["ts"] < end and child is not one]
            parts = Counter()
            for child in inner:
                name = child["name"]
                if name in ("FunctionCall", "EvaluateScript", "v8.compile", "TimerFire", "EventDispatch"):
                    name += ":" + str(child["args"].get("data", {}).get("functionName") or
                                      child["args"].get("data", {}).get("type") or "")
                parts[name] += child.get("tdur", child["dur"]) / 1000
            found.append((one["dur"] / 1000, one.get("tdur", one["dur"]) / 1000, parts))
    return sorted(found, key=lambda one: -one[1])


def told(name, page_tasks, throttle, detail):
    "One line of an act's tasks."
    if not page_tasks:
        print(f"{name:16s} nothing")
        return
    cpu = [one[1] for one in page_tasks]
    text = f"{name:16s} longest {max(one[0] for one in page_tasks):5.0f} ms by the wall, {cpu[0]:5.0f} ms of processor"
    if throttle == 1:
        text += f" (four times slower: {4 * cpu[0]:4.0f}; over 200: {sum(one > 50 for one in cpu)})"
    print(text + f", {sum(cpu):5.0f} ms in all")
    if detail:
        for _, one, parts in page_tasks[:3]:
            print(f"      {one:6.0f}: " + ", ".join(f"{what} {ms:.0f}" for what, ms in parts.most_common(7)))


def measured(path, throttle, detail):
    "Prints the longest task of each act, in order."
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=list(QUIET))
        page = browser.new_context(**PHONE).new_page()
        page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": throttle})
        page.add_init_script(WATCH)
        categories = ["toplevel", "devtools.timeline", "disabled-by-default-devtools.timeline", "v8", "__metadata"]
        browser.start_tracing(page=page, categories=categories)
        page.goto(path.as_uri())
        page.wait_for_selector("body[data-traced]", timeout=120_000, state="attached")
        wait_still(page)
        opened = tasks(browser.stop_tracing())
        first, depths = page.evaluate(
            "[performance.getEntriesByName('first-contentful-paint')[0]?.startTime, window.depthsAt ?? NaN]")
        print(f"first {first:.0f} ms, depths {depths:.0f} ms")
        told("open", opened, throttle, detail)
        for name, act in ACTS.items():
            browser.start_tracing(page=page, categories=categories)
            act(page)
            wait_still(page)
            told(name, tasks(browser.stop_tracing()), throttle, detail)
        browser.close()


def main(megapixels=1.0, throttle=4.0, detail=""):
    "Makes the page and opens it."
    from lakemap.publish.html_map.page import map_page

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "map.html"
        path.write_text(map_page(lake(float(megapixels) * 1e6), "m"), "utf-8")
        print(f"{path.stat().st_size / 1e6:.2f} MB")
        measured(path, float(throttle), bool(detail))


if __name__ == "__main__":
    main(*sys.argv[1:])
