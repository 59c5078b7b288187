// The lines, areas and points over the colour, all in one picture; what is off is not even unpacked.
const Sketch = Picture.extend({
  options: { pane: "sketch" },
  rank: 1,

  initialize() {
    this.layers = new Map();
    this.shown = new Set();
  },

  // A layer for the panel: `items` of outlines, lines and points; `marks` fills a group with what is not drawn here.
  layer(name, items, marks = () => {}) {
    const group = L.layerGroup();
    this.layers.set(name, { items, ready: null });
    group.once("add", () => marks(group));
    group.on("add", () => { this.shown.add(name); this.redraw(); });
    group.on("remove", () => { this.shown.delete(name); this.redraw(); });
    return group;
  },

  *_draw(canvas, sight) {
    const pen = new Pen(canvas.getContext("2d"), sight, this._onPicture(sight));
    for (const [name, style] of Object.entries(Sketch.STYLE)) {
      if (!this.shown.has(name)) continue;
      const layer = this.layers.get(name);
      layer.ready ??= yield* Sketch.unpack(layer.items);
      for (const item of layer.ready) yield* this._item(pen, item, style);
    }
  },

  *_item(pen, { polygons, lines, points }, style) {
    const { context } = pen;
    context.strokeStyle = style.color;
    context.lineWidth = style.weight;
    context.fillStyle = style.fill ?? "transparent";
    context.lineJoin = context.lineCap = "round";
    context.setLineDash(style.dash ?? []);
    for (const { rings, box } of polygons) {
      if (!pen.seen(box)) continue;
      pen.rings(rings);
      if (style.fill) context.fill("evenodd");
      context.stroke();
      yield;
    }
    for (const line of lines) yield* pen.line(line, (path) => path.stroke());
    for (const point of points) {
      if (pen.disc(point, style.radius)) { context.fill(); context.stroke(); yield; }
    }
  },
});

// Our own strokes, from the lowest to what must never be covered: weight, dash and fill tell apart where colour cannot.
Sketch.STYLE = {
  shore: { color: "#14212a", weight: 1.8 },
  passes: { color: "rgba(16, 33, 43, .38)", weight: 0.8 },
  gaps: { color: "#0c1c26", weight: 1.4, dash: [1, 4], fill: "rgba(255, 255, 255, .45)" },
  weed: { color: "#0b4f8a", weight: 2, dash: [3, 4], fill: "rgba(11, 79, 138, .18)" },
  moved: { color: "#7a3b00", weight: 2, dash: [8, 3, 2, 3], fill: "rgba(122, 59, 0, .15)" },
  features: { color: "#5a3c00", weight: 1.6, dash: [6, 3], fill: "rgba(255, 255, 255, .12)" },
  edges: { color: "rgba(59, 20, 102, .9)", weight: 3 },
  flagged: { color: "#0c1c26", weight: 1.4, fill: "rgba(255, 255, 255, .9)", radius: 2.6 },
  hits: { color: "#ffffff", weight: 1, fill: "rgba(13, 66, 88, .9)", radius: 3.2 },
  closed: { color: "#0c1c26", weight: 3, dash: [12, 6], fill: "rgba(12, 28, 38, .3)" },
  hazards: { color: "#0c1c26", weight: 2.6, dash: [2, 5], fill: "rgba(240, 180, 0, .5)" },
};

// Steps in millionths of a degree to Mercator metres, with the box around each line and area.
Sketch.unpack = function* (items) {
  const made = [];
  for (const item of items) {
    const one = { polygons: [], lines: [], points: item.points ? Sketch.metres(item.points) : [] };
    for (const polygon of item.outlines || []) {
      const rings = polygon.map(Sketch.metres);
      one.polygons.push({ rings, box: Sketch.box(rings[0]) });
      yield;
    }
    for (const steps of item.lines || []) {
      const points = Sketch.metres(steps);
      one.lines.push({ points, box: Sketch.box(points) });
      yield;
    }
    made.push(one);
  }
  return made;
};
Sketch.metres = (steps) => Codec.points(steps).map(([lat, lon]) => {
  const rad = Math.PI / 180;
  return [6378137 * lon * rad, 6378137 * Math.log(Math.tan(Math.PI / 4 + lat * rad / 2))];
});
Sketch.box = (points) => points.reduce(([west, south, east, north], [x, y]) =>
  [Math.min(west, x), Math.min(south, y), Math.max(east, x), Math.max(north, y)], [Infinity, Infinity, -Infinity, -Infinity]);
