// The page's modules by themselves: `node --test` from the repository's root, or through test_modules.py.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import vm from "node:vm";

const folder = new URL("../../../../lakemap/publish/html_map/", import.meta.url);
const load = (...names) => {
  const failed = [], dataset = {};
  // messages of one page to itself, as a browser gives them: each in a task of its own
  class MessageChannel {
    port1 = {};
    port2 = { postMessage: () => setTimeout(() => { try { this.port1.onmessage(); } catch (error) { failed.push(error); } }) };
  }
  const context = vm.createContext({ performance, setTimeout, Date, window: {}, MessageChannel, L: { point: (x, y) => ({ x, y }) }, document: { body: { dataset } } });
  const text = names.map((name) => readFileSync(new URL(`${name}.js`, folder), "utf8")).join("\n");
  const given = { geo: "Geo", exchange: "Exchange", tracer: "Tracer", units: "Units", today: "Today", keep: "Keep", slices: "Slices", pen: "Pen", section: "Section" };
  const made = vm.runInContext(`${text}\n({ ${names.map((name) => given[name]).filter(Boolean).join(", ")} })`, context);
  return { ...made, failed, dataset };
};

const geodesics = () => readFileSync(new URL("../../../reference/geodesics.csv", import.meta.url), "utf8")
  .trim().split("\n").slice(2).map((line) => line.split(",").map(Number));

const settled = async (jobs) => Promise.all(jobs.map((job) => job.done));

test("long work: lower ranks first, all of it in turn, and what is given up stops", async () => {
  const { Slices, dataset } = load("slices"), order = [];
  function* work(name, steps) { for (let k = 0; k < steps; k++) { order.push(name); yield; } }
  const late = Slices.add(work("late", 3), 5), first = Slices.add(work("first", 2), 1);
  const never = Slices.add(work("never", 2), 9);
  never.cancel();
  assert.equal(dataset.painting, "2");
  assert.deepEqual(await settled([late, first, never]), [true, true, false]);
  assert.deepEqual(order, ["first", "first", "late", "late", "late"]);
  assert.equal(dataset.painting, undefined);
});

test("work that fails ends alone: what waits behind it is still done", async () => {
  const { Slices, failed } = load("slices");
  function* broken() { yield; throw new Error("no"); }
  function* sound() { yield; }
  const bad = Slices.add(broken()), good = Slices.add(sound());
  assert.deepEqual(await settled([bad, good]), [true, true]);
  assert.equal(failed.length, 1);
});

const traced = (Tracer, layer, rows, columns, levels) => {
  const lines = [];
  for (const _ of Tracer.trace(layer, rows, columns, levels, lines));
  return lines;
};

test("bearings and distances along the meridian, the equator and across 180 degrees", () => {
  const { Geo } = load("geo");
  assert.equal(Math.round(Geo.bearing([0, 0], [1, 0])), 0);
  assert.equal(Math.round(Geo.bearing([0, 179.9], [0, -179.9])), 90);
  assert.equal(Math.round(Geo.bearing([1, 0], [0, 0])), 180);
  // one degree of a great circle on the mean sphere of 6371.0088 km
  assert.ok(Math.abs(Geo.distance([0, 179.5], [0, -179.5]) - 111195.08) < 0.05);
});

test("distances and bearings beside geodesics on WGS 84: a sphere is off by 0.6 % and 0.2 degrees at most", () => {
  const { Geo } = load("geo");
  for (const [, lat1, lon1, lat2, lon2, length, azimuth, , sphere] of geodesics()) {
    const told = Geo.distance([lat1, lon1], [lat2, lon2]);
    assert.ok(Math.abs(told / sphere - 1) < 1e-4, `${told} is not ${sphere}`);
    assert.ok(Math.abs(told / length - 1) < 0.006, `${told} is far from ${length}`);
    const off = Geo.bearing([lat1, lon1], [lat2, lon2]) - azimuth;
    if (length < 1e5) assert.ok(Math.abs((off + 540) % 360 - 180) < 0.2, `${off} degrees off at ${lat1}`);
  }
});

test("a compass shows less than the true bearing where declination is east", () => {
  const { Geo } = load("geo");
  const model = { epoch: 2025, last: 2030, east_deg: 5, per_year: 0.2 };
  assert.equal(Geo.declination(model, 2027.5).deg, 5.5);
  assert.equal(Geo.declination(model, 2031).old, true);
  assert.equal(Geo.yearOf(new Date("2026-07-02T12:00:00Z")), 2026.5);
});

test("positions as degrees, and as degrees and minutes that never read sixty", () => {
  const { Geo } = load("geo");
  assert.equal(Geo.place([53.5, -14.25], "decimal"), "53.50000\u00b0\u00a0N, 14.25000\u00b0\u00a0W");
  assert.equal(Geo.place([-53.5, 190.25], "minutes"), "53\u00b0\u00a030.000\u2032\u00a0S, 169\u00b0\u00a045.000\u2032\u00a0W");
  assert.equal(Geo.degrees(9.9999999, "NS", "minutes"), "10\u00b0\u00a000.000\u2032\u00a0N");
});

test("off a line: to the right is above 0, along is from the first end", () => {
  const { Geo } = load("geo");
  const at = Geo.offLine([0.0005, 0.0001], [0, 0], [0.001, 0]);
  assert.ok(Math.abs(at.right - 11.12) < 0.01);
  assert.ok(Math.abs(at.along - 55.6) < 0.1);
});

test("names in GPX are text, characters that XML lacks are replaced", () => {
  const { Geo, Exchange } = load("geo", "exchange");
  const made = Exchange.gpx([{ lat: 1, lon: 181, name: "<b>&\u0001", cmt: "", type: "rock" }], "care");
  assert.match(made, /<name>&lt;b&gt;&amp;\ufffd<\/name>/);
  assert.match(made, /lon="-179.0000000"/);
});

test("no cell of the table of marks runs as a formula or breaks its row", () => {
  const { Exchange } = load("geo", "exchange");
  assert.equal(Exchange.cell("=1+1"), "'=1+1");
  assert.equal(Exchange.cell('a "b", c\nd'), '"a ""b"", c d"');
});

test("a cone's contours are closed circles at the right depth", () => {
  const { Tracer } = load("tracer");
  const n = 61, codes = new Uint16Array(n * n);
  for (let r = 0; r < n; r++) for (let c = 0; c < n; c++) codes[r * n + c] = 1 + Math.round(100 * Math.hypot(r - 30, c - 30));
  const lines = traced(Tracer, { codes, low: 0, quantum: 0.01 }, n, n, [10, 20]);
  for (const [k, radius] of [[0, 10], [1, 20]]) {
    assert.equal(lines[k].length, 1);
    assert.deepEqual(lines[k][0][0], lines[k][0].at(-1));
    for (const [x, y] of lines[k][0]) assert.ok(Math.abs(Math.hypot(x - 30.5, y - 30.5) - radius) < 0.06);
  }
});

test("lines end at holes, and saddles are joined one way or the other but never crossed", () => {
  const { Tracer } = load("tracer");
  const codes = Uint16Array.from([1, 101, 1, 101, 1, 101, 0, 101, 1]);
  const [lines] = traced(Tracer, { codes, low: 0, quantum: 0.01 }, 3, 3, [0.5]);
  const ends = lines.flatMap((line) => line.map(String));
  assert.ok(lines.length >= 2);
  assert.ok(ends.every((end) => ends.filter((other) => other === end).length <= 2));
  assert.ok(lines.flat().every(([x, y]) => !(x < 1.5 && y > 1.5)));
});

test("a number typed with a comma or a minus sign is read, nonsense is nothing", () => {
  const { Today } = load("keep", "units", "today");
  assert.equal(Today.typed("1,5"), 1.5);
  assert.equal(Today.typed("\u22120.3"), -0.3);
  assert.equal(Today.typed("deep"), null);
  assert.equal(Today.typed(""), null);
});

test("a pen draws what the picture shows and leaves out what lies outside or below a pixel", () => {
  const { Pen } = load("pen"), calls = [];
  const context = { setTransform() {}, beginPath() {}, moveTo: (x, y) => calls.push(["to", x, y]), lineTo: (x, y) => calls.push(["line", x, y]) };
  const pen = new Pen(context, { span: { x: 100, y: 100 }, scale: 1 }, { per: 1, x0: 0, y0: 100 });
  const line = (points) => {
    calls.length = 0;
    const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]);
    const box = [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
    for (const _ of pen.line({ points, box }, () => {}));
    return calls.map((call) => call.join(" "));
  };
  assert.deepEqual(line([[10, 90], [10.2, 90], [50, 90]]), ["to 10 10", "line 50 10"]);
  // in at the left, far out to the right and on there, and back in
  assert.deepEqual(line([[10, 50], [500, 50], [600, 50], [500, 20], [20, 20]]),
    ["to 10 50", "line 500 50", "to 500 80", "line 20 80"]);
  assert.deepEqual(line([[500, 50], [600, 50]]), []);
});

test("a pass over a spot is unpacked from its steps, and read between its readings", () => {
  const { Section } = load("keep", "units", "section");
  const pass = Section.unpack({ along: [-100, 100, 100], depth: [800, -150, 150], seen: true });
  assert.deepEqual([...pass.along], [-10, 0, 10]);
  assert.deepEqual([...pass.depth], [8, 6.5, 8]);
  assert.equal(pass.seen, true);
  assert.equal(Section.between(pass, 5), 7.25);
  assert.equal(Section.between(pass, -11), 8);
  assert.equal(Section.between(pass, 99), 8);
});

test("a section is drawn true: deeper is lower, the spot in the middle, one scale for all passes", () => {
  const { Section } = load("keep", "units", "section");
  const fit = Section.scale([{ along: [-20, 20], depth: [8, 8.2] }, { along: [-5, 5], depth: [6, 8] }]);
  assert.ok(fit.y(8) > fit.y(6) && fit.x(5) > fit.x(-5));
  assert.ok(Math.abs(fit.x(0) - (fit.x(-20) + fit.x(20)) / 2) < 1e-9);
  assert.ok(fit.y(6) >= 0 && fit.y(8.2) <= 74);
  // a flat floor is given a metre of height, so that centimetres do not look like a wall
  const flat = Section.scale([{ along: [-20, 20], depth: [8, 8.02] }]);
  assert.ok(flat.bottom - flat.top > 0.99);
  assert.match(Section.words({ day: null, seen: null, off_m: 3.04 }), /^Crossed it /);
  assert.equal(Section.words({ day: null, seen: false, off_m: 3.04 }), "Did not show it \u00b7 3.0\u00a0m away at the nearest");
});
