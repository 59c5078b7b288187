// The page's modules by themselves: `node --test` from the repository's root, or through test_modules.py.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import vm from "node:vm";

const folder = new URL("../../../../lakemap/publish/html_map/", import.meta.url);
const load = (...names) => {
  const context = vm.createContext({ performance, setTimeout, Date, window: {} });
  const text = names.map((name) => readFileSync(new URL(`${name}.js`, folder), "utf8")).join("\n");
  const given = { geo: "Geo", exchange: "Exchange", tracer: "Tracer", units: "Units", today: "Today", keep: "Keep" };
  return vm.runInContext(`${text}\n({ ${names.map((name) => given[name]).filter(Boolean).join(", ")} })`, context);
};

test("bearings and distances along the meridian, the equator and across 180 degrees", () => {
  const { Geo } = load("geo");
  assert.equal(Math.round(Geo.bearing([0, 0], [1, 0])), 0);
  assert.equal(Math.round(Geo.bearing([0, 179.9], [0, -179.9])), 90);
  assert.equal(Math.round(Geo.bearing([1, 0], [0, 0])), 180);
  // one degree of a great circle on the mean sphere of 6371.0088 km
  assert.ok(Math.abs(Geo.distance([0, 179.5], [0, -179.5]) - 111195.08) < 0.05);
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

test("a cone's contours are closed circles at the right depth", async () => {
  const { Tracer } = load("tracer");
  const n = 61, codes = new Uint16Array(n * n);
  for (let r = 0; r < n; r++) for (let c = 0; c < n; c++) codes[r * n + c] = 1 + Math.round(100 * Math.hypot(r - 30, c - 30));
  const lines = await Tracer.trace({ codes, low: 0, quantum: 0.01 }, n, n, [10, 20]);
  for (const [k, radius] of [[0, 10], [1, 20]]) {
    assert.equal(lines[k].length, 1);
    assert.deepEqual(lines[k][0][0], lines[k][0].at(-1));
    for (const [x, y] of lines[k][0]) assert.ok(Math.abs(Math.hypot(x - 30.5, y - 30.5) - radius) < 0.06);
  }
});

test("lines end at holes, and saddles are joined one way or the other but never crossed", async () => {
  const { Tracer } = load("tracer");
  const codes = Uint16Array.from([1, 101, 1, 101, 1, 101, 0, 101, 1]);
  const [lines] = await Tracer.trace({ codes, low: 0, quantum: 0.01 }, 3, 3, [0.5]);
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
