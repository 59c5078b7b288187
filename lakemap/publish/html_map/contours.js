// Contours with their depth written along them; the lettering keeps clear of itself at every zoom.
const ContourLayer = L.Renderer.extend({
  options: { padding: 0.2, pane: "contours" },
  GAP: 70,
  LINES_WANTED: 12,
  SLACK: 0.12,

  initialize(grid, data) {
    L.Renderer.prototype.initialize.call(this, {});
    this.grid = grid;
    this.asked_m = data.contour_m;
    this.least_m = data.relief_error_m;
    this.chosen = 0;
    this.contours = [];
    this.edges = [];
    this.number = 0;
    this.range = grid.range("depth", 0.01);
  },
  _initContainer() {
    this._container = document.createElement("canvas");
    this._container.className = "contour-canvas";
  },
  _destroyContainer() {
    this._container.remove();
    this._container = null;
  },
  _update() {
    if (this._map._animatingZoom && this._bounds) return;
    L.Renderer.prototype._update.call(this);
    this.draw();
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
    const mine = ++this.number, wanted = () => mine === this.number;
    if (!this.range) return;
    const step_m = this.step(), level = Today.level_m, [low, high] = this.grid.range("depth", 0);
    const counts = [];
    for (let k = Math.max(1, Math.ceil((low + level) / step_m)); k * step_m < high + level && counts.length < 400; k++) {
      counts.push(k);
    }
    const lines = await this._lines(counts.map((k) => k * step_m - level), wanted);
    const edges = Today.edges();
    const marks = lines && await this._lines(edges.map((edge) => edge.depth_m - level), wanted);
    if (!marks) return;
    this.spacing_m = this._spacing(lines, step_m);
    this.contours = counts.map((count, n) => ({ depth_m: count * step_m, count, lines: lines[n] }));
    this.edges = edges.map((edge, n) => ({ ...edge, lines: marks[n] }));
    this.draw();
    document.body.dataset.traced = String(mine);
  },

  async _lines(levels, wanted) {
    const found = await Tracer.trace(this.grid.layers.depth, this.grid.rows, this.grid.columns, levels, wanted);
    return found && found.map((chains) => chains.filter((chain) => chain.length > 3).map((chain) => this._place(chain)));
  },

  // Simplified a little, in Mercator metres, with the box around.
  _place(chain) {
    const slim = L.LineUtil.simplify(chain.map(([x, y]) => L.point(x, y)), this.SLACK);
    const points = slim.map(({ x, y }) => this.grid.mercator(x, y));
    const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]);
    return { points, box: [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)] };
  },

  // Mean distance between neighbouring lines in pixels of the grid.
  _spacing(lines, step_m) {
    const slopes = this.grid.has("slope") ? this.grid.range("slope", 0.25) : null;
    const fall = slopes ? Math.tan((slopes[0] + slopes[1]) / 2 * Math.PI / 180) : 0;
    return fall > 0 ? step_m / fall : 1e6;
  },

  draw() {
    if (!this._map || !this._bounds) return;
    const size = this._bounds.getSize(), scale = Math.min(window.devicePixelRatio || 1, 2);
    const canvas = this._container;
    canvas.width = size.x * scale;
    canvas.height = size.y * scale;
    canvas.style.width = `${size.x}px`;
    canvas.style.height = `${size.y}px`;
    L.DomUtil.setPosition(canvas, this._bounds.min);
    const context = canvas.getContext("2d");
    context.setTransform(scale, 0, 0, scale, -this._bounds.min.x * scale, -this._bounds.min.y * scale);
    const taken = [], labels = [], every = this._every(), onScreen = this._screen();
    for (const contour of this.contours.filter((one) => one.count % every === 0)) {
      context.beginPath();
      this._path(context, contour.lines, onScreen, (points) => this._findLabels(points, contour.depth_m, taken, labels));
      this._stroke(context, contour.count % 5 === 0);
    }
    for (const edge of this.edges) {
      context.beginPath();
      this._path(context, edge.lines, onScreen, () => {});
      this._strokeEdge(context, edge.kind);
    }
    labels.forEach((label) => this._write(context, label));
    this.labelled = labels.length;
  },

  // Mercator metres to the layer's pixels: a straight line on each axis.
  _screen() {
    const map = this._map, origin = map.getPixelOrigin(), zoom = map.getZoom();
    const per = 256 * 2 ** zoom / (2 * Math.PI * 6378137), half = Math.PI * 6378137;
    return (x, y) => L.point((x + half) * per - origin.x, (half - y) * per - origin.y);
  },

  _path(context, lines, onScreen, each) {
    for (const line of lines) {
      const [west, south, east, north] = line.box;
      if (!this._bounds.intersects(L.bounds([onScreen(west, north), onScreen(east, south)]))) continue;
      const points = line.points.map(([x, y]) => onScreen(x, y));
      points.forEach((p, i) => (i ? context.lineTo(p.x, p.y) : context.moveTo(p.x, p.y)));
      each(points);
    }
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
  _findLabels(points, depth_m, taken, labels) {
    let along = -80;
    for (let i = 1; i < points.length; i++) {
      along += points[i].distanceTo(points[i - 1]);
      if (along < 0 || !this._bounds.contains(points[i])) continue;
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
