// Contours with their depth written along them; the lettering keeps clear of itself at every zoom.
const ContourLayer = Picture.extend({
  options: { pane: "contours" },
  rank: 2,
  GAP: 70,
  LINES_WANTED: 12,
  SLACK: 0.12,
  PIECE: 256,

  initialize(grid, data) {
    this.grid = grid;
    this.asked_m = data.contour_m;
    this.least_m = data.relief_error_m;
    this.chosen = 0;
    this.contours = [];
    this.edges = [];
    this.number = 0;
    this.range = grid.range("depth", 0.01);
  },

  // Depth between lines in metres: what was chosen, what the map was made with, or a round one in the reader's unit.
  step() {
    if (this.chosen) return this.chosen * Units.metresPer(Units.word);
    if (this.asked_m) return this.asked_m;
    return this.roundStep() * Units.metresPer(Units.word);
  },
  roundStep() {
    const [low, high] = this.range || [0, 1];
    return Legend.niceStep(Units.inUnit(Math.max((high - low) / this.LINES_WANTED, this.least_m, 0.05)) * 0.75);
  },

  // Traces again whatever has changed; the lines before stay on until the new ones are there.
  async trace() {
    if (!this.range) return;
    this._tracing?.cancel();
    const step_m = this.step(), level = Today.level_m, [low, high] = this.grid.range("depth", 0);
    const counts = [];
    for (let k = Math.max(1, Math.ceil((low + level) / step_m)); k * step_m < high + level && counts.length < 400; k++) {
      counts.push(k);
    }
    const edges = Today.edges(), lines = [], marks = [];
    const job = Slices.add(this._traceAll([
      [counts.map((k) => k * step_m - level), lines], [edges.map((edge) => edge.depth_m - level), marks]]), this.rank);
    this._tracing = job;
    if (!await job.done) return;
    this.spacing_m = this._spacing(step_m);
    this.contours = counts.map((count, n) => ({ depth_m: count * step_m, count, lines: lines[n] }));
    this.edges = edges.map((edge, n) => ({ ...edge, lines: marks[n] }));
    this.redraw();
    document.body.dataset.traced = String(++this.number);
  },

  *_traceAll(wanted) {
    for (const [levels, lines] of wanted) {
      const found = [];
      yield* Tracer.trace(this.grid.layers.depth, this.grid.rows, this.grid.columns, levels, found);
      for (const chains of found) {
        const placed = [];
        for (const chain of chains) if (chain.length > 3) placed.push(yield* this._place(chain));
        lines.push(placed);
      }
    }
  },

  // Simplified a little, piece by piece, in Mercator metres, with the box around.
  *_place(chain) {
    const points = [], box = [Infinity, Infinity, -Infinity, -Infinity];
    for (let from = 0; from < chain.length - 1; from += this.PIECE) {
      const piece = chain.slice(from, from + this.PIECE + 1).map(([x, y]) => L.point(x, y));
      L.LineUtil.simplify(piece, this.SLACK).forEach(({ x, y }, k) => {
        if (k || !from) points.push(this.grid.mercator(x, y));
      });
      yield;
    }
    for (const [x, y] of points) {
      box[0] = Math.min(box[0], x); box[1] = Math.min(box[1], y); box[2] = Math.max(box[2], x); box[3] = Math.max(box[3], y);
    }
    return { points, box };
  },

  // Mean distance between neighbouring lines in metres.
  _spacing(step_m) {
    const slopes = this.grid.has("slope") ? this.grid.range("slope", 0.25) : null;
    const fall = slopes ? Math.tan((slopes[0] + slopes[1]) / 2 * Math.PI / 180) : 0;
    return fall > 0 ? step_m / fall : 1e6;
  },

  *_draw(canvas, sight) {
    const context = canvas.getContext("2d"), pen = new Pen(context, sight, this._onPicture(sight));
    const taken = [], labels = [], every = this._every();
    for (const contour of this.contours) {
      if (contour.count % every) continue;
      for (const line of contour.lines) {
        const points = yield* pen.line(line, (path) => this._stroke(path, contour.count % 5 === 0));
        if (points) this._findLabels(points, contour.depth_m, taken, labels, sight);
      }
    }
    for (const edge of this.edges) {
      for (const line of edge.lines) yield* pen.line(line, (path) => this._strokeEdge(path, edge.kind));
    }
    for (const label of labels) { this._write(context, label); yield; }
    this.labelled = labels.length;
  },

  // Zoomed out, lines closer than they can be told apart are thinned: every line, every second, every fifth.
  _every() {
    const middle = this._map.getSize().divideBy(2);
    const [a, b] = [-50, 50].map((x) => this._map.containerPointToLatLng(middle.add([x, 0])));
    const apart = 100 * this.spacing_m / this._map.distance(a, b);
    return apart >= 9 ? 1 : apart >= 4.5 ? 2 : 5;
  },

  _stroke(context, strong) {
    context.lineJoin = "round";
    context.setLineDash([]);
    context.strokeStyle = "rgba(255,255,255,.4)";
    context.lineWidth = strong ? 3 : 2;
    context.stroke();
    context.strokeStyle = strong ? "#0f2733" : "rgba(15, 39, 51, .8)";
    context.lineWidth = strong ? 1.6 : 0.8;
    context.stroke();
  },

  // The band asked for is outlined in full, what is shallow today in dots, what is dry in bars.
  _strokeEdge(context, kind) {
    context.lineCap = "round";
    context.setLineDash([]);
    context.strokeStyle = "#ffffff";
    context.lineWidth = 5;
    context.stroke();
    context.setLineDash({ band: [], shallow: [1, 6], dry: [9, 5] }[kind]);
    context.strokeStyle = kind === "band" ? "#8f2d06" : "#0c1c26";
    context.lineWidth = kind === "shallow" ? 3.2 : 2.6;
    context.stroke();
    context.setLineDash([]);
    context.lineCap = "butt";
  },

  // A place for the figure at about every 320 px, on a straight stretch, away from figures already set.
  _findLabels(points, depth_m, taken, labels, { span }) {
    let along = -80;
    for (let i = 1; i < points.length; i++) {
      const { x, y } = points[i];
      along += points[i].distanceTo(points[i - 1]);
      if (along < 0 || x < 0 || y < 0 || x > span.x || y > span.y) continue;
      const turn = this._direction(points, i);
      if (turn === null || taken.some((p) => p.distanceTo(points[i]) < this.GAP)) continue;
      taken.push(points[i]);
      labels.push({ at: points[i], turn, text: Units.exact(depth_m) });
      along = -320;
    }
  },

  // Direction of the line over some 24 px around a point; null where it bends too much to write on.
  _direction(points, i) {
    let before = i, after = i;
    while (before > 0 && points[before].distanceTo(points[i]) < 12) before--;
    while (after < points.length - 1 && points[after].distanceTo(points[i]) < 12) after++;
    const a = points[before], b = points[after], chord = a.distanceTo(b);
    if (chord < 18) return null;
    const turn = Math.atan2(b.y - a.y, b.x - a.x);
    return Math.abs(turn) > Math.PI / 2 ? turn + Math.PI : turn;
  },

  _write(context, { at, turn, text }) {
    context.save();
    context.translate(at.x, at.y);
    context.rotate(turn);
    context.font = "600 12px system-ui, sans-serif";
    context.textAlign = "center";
    context.textBaseline = "middle";
    context.lineWidth = 4;
    context.strokeStyle = "rgba(255,255,255,.92)";
    context.strokeText(text, 0, 0);
    context.fillStyle = "#0b2230";
    context.fillText(text, 0, 0);
    context.restore();
  },
});
