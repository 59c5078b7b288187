// A small picture of a pass over a spot: the floor it read, what stood up on it, and where the spot lies.
const Section = (() => {
  const WIDE = 320, HIGH = 74, LEFT = 42, RIGHT = 6, TOP = 7, LOW = 7;

  const summed = (steps) => { let sum = 0; return steps.map((step) => (sum += step)); };

  function unpack({ along, depth, ...told }) {
    return { ...told, along: summed(along).map((dm) => dm / 10), depth: summed(depth).map((cm) => cm / 100) };
  }

  // One scale for all passes of a spot, so that they can be compared; at least a metre high.
  function scale(passes) {
    const depths = passes.flatMap((pass) => pass.depth), ways = passes.flatMap((pass) => pass.along);
    const low = Math.min(...depths), high = Math.max(...depths), spare = Math.max(0.1 * (high - low), (1 - (high - low)) / 2, 0);
    const wide = Math.max(...ways.map(Math.abs)), top = Math.max(0, low - spare), bottom = high + spare;
    const across = (WIDE - LEFT - RIGHT) / (2 * wide), down = (HIGH - TOP - LOW) / (bottom - top);
    return { x: (metres) => LEFT + (metres + wide) * across, y: (metres) => TOP + (metres - top) * down, wide, top, bottom,
      upright: down / across };
  }

  const path = (points) => points.map(([x, y], k) => `${k ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`).join("");

  // Depth at a place along the pass, straight between readings.
  function between(pass, at) {
    const k = pass.along.findIndex((way) => way >= at);
    if (k <= 0) return pass.depth[k < 0 ? pass.depth.length - 1 : 0];
    const part = (at - pass.along[k - 1]) / (pass.along[k] - pass.along[k - 1] || 1);
    return pass.depth[k - 1] + part * (pass.depth[k] - pass.depth[k - 1]);
  }

  function rises(pass, { x, y }) {
    return pass.rise.map(([from, to]) => [from / 10, to / 10]).map(([from, to]) => {
      const inner = pass.along.map((way, k) => [way, pass.depth[k]]).filter(([way]) => way > from && way < to);
      const top = [[from, between(pass, from)], ...inner, [to, between(pass, to)]].map(([way, depth]) => [x(way), y(depth)]);
      return Dom.svg("path", { class: "section-rise", d: `${path(top)}Z` });
    });
  }

  // Two round depths, one near the top and one near the bottom of the picture.
  function figures({ y, top, bottom }) {
    const from = Units.inUnit(top), to = Units.inUnit(bottom), step = Legend.niceStep((to - from) / 2.2);
    const found = [];
    for (let k = Math.ceil(from / step); k * step <= to; k++) {
      const at = y(k * step * Units.metresPer(Units.word)), decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
      const text = Dom.svg("text", { class: "section-figure", x: LEFT - 6, y: at, dy: "0.35em", "text-anchor": "end" });
      text.textContent = (k * step).toFixed(decimals);
      found.push(Dom.svg("path", { class: "section-line", d: `M${LEFT} ${at.toFixed(1)}H${WIDE - RIGHT}` }), text);
    }
    return found;
  }

  function words(pass) {
    const showed = pass.seen === null ? "Crossed it" : pass.seen ? "Showed it" : "Did not show it";
    const said = [showed, `${Units.distance(pass.off_m)} away at the nearest`];
    return pass.day ? [pass.day, ...said].join(" \u00b7 ") : said.join(" \u00b7 ");
  }

  function draw(pass, fit) {
    const floor = pass.along.map((way, k) => [fit.x(way), fit.y(pass.depth[k])]);
    const under = `${path(floor)}L${floor.at(-1)[0].toFixed(1)} ${HIGH}L${floor[0][0].toFixed(1)} ${HIGH}Z`;
    const label = `Depth along the pass: ${Units.length(Math.min(...pass.depth))} to ${Units.length(Math.max(...pass.depth))}`;
    return Dom.make("figure", { class: pass.seen ? "section seen" : "section" },
      Dom.svg("svg", { viewBox: `0 0 ${WIDE} ${HIGH}`, role: "img", "aria-label": label },
        Dom.svg("path", { class: "section-floor", d: under }), ...figures(fit),
        Dom.svg("path", { class: "section-edge", d: path(floor) }), ...rises(pass, fit),
        Dom.svg("path", { class: "section-here", d: `M${fit.x(0).toFixed(1)} 0V${HIGH}` })),
      Dom.make("figcaption", { text: words(pass) }));
  }

  // What to put onto the card; nothing where no pass came near.
  function pictures(packed) {
    if (!packed?.length) return [];
    const passes = packed.map(unpack), fit = scale(passes);
    return [Dom.make("h3", { text: `Passes over it (${Units.word})` }), ...passes.map((pass) => draw(pass, fit)),
      Dom.make("p", { class: "small", text: `${Units.distance(2 * fit.wide)} from side to side, heights drawn ` +
        `${fit.upright < 1.05 ? "as they are" : `${Units.number(fit.upright, fit.upright < 10 ? 1 : 0)} times as tall`}; ` +
        "the dotted line is the nearest place to the spot." })];
  }
  return { pictures, unpack, between, scale, words };
})();
