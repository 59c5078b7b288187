// Contours with their depth written along them; the lettering keeps clear of itself at every zoom.
const ContourLayer = L.Renderer.extend({
  options: { padding: 0.2, pane: "contours" },
  GAP: 70,

  initialize(contours, spacing_m) {
    L.Renderer.prototype.initialize.call(this, {});
    this.spacing_m = spacing_m;
    this.contours = contours.map((contour) => ({
      depth_m: contour.depth_m, count: contour.count, lines: contour.lines.map((steps) => Codec.points(steps)),
    }));
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

  draw() {
    if (!this._map) return;
    const size = this._bounds.getSize(), scale = Math.min(window.devicePixelRatio || 1, 2);
    const canvas = this._container;
    canvas.width = size.x * scale;
    canvas.height = size.y * scale;
    canvas.style.width = `${size.x}px`;
    canvas.style.height = `${size.y}px`;
    L.DomUtil.setPosition(canvas, this._bounds.min);
    const context = canvas.getContext("2d");
    context.setTransform(scale, 0, 0, scale, -this._bounds.min.x * scale, -this._bounds.min.y * scale);
    const taken = [];
    const labels = [];
    const every = this._every();
    this.contours.filter((contour) => contour.count % every === 0).forEach((contour) => {
      context.beginPath();
      for (const line of contour.lines) {
        const points = line.map((place) => this._map.latLngToLayerPoint(place));
        if (!this._bounds.intersects(L.bounds(points))) continue;
        points.forEach((p, i) => (i ? context.lineTo(p.x, p.y) : context.moveTo(p.x, p.y)));
        this._findLabels(points, contour.depth_m, taken, labels);
      }
      this._stroke(context, contour.count % 5 === 0);
    });
    labels.forEach((label) => this._write(context, label));
    this.labelled = labels.length;
  },

  // Zoomed out, lines closer than they can be told apart are thinned: every line, every second, every fifth.
  _every() {
    const middle = this._map.getSize().divideBy(2);
    const [a, b] = [-50, 50].map((x) => this._map.containerPointToLatLng(middle.add([x, 0])));
    const apart = 100 * this.spacing_m / this._map.distance(a, b);
    return apart >= 13 ? 1 : apart >= 6.5 ? 2 : 5;
  },

  _stroke(context, strong) {
    context.lineJoin = "round";
    context.strokeStyle = "rgba(255,255,255,.4)";
    context.lineWidth = strong ? 3 : 2;
    context.stroke();
    context.strokeStyle = strong ? "#0f2733" : "rgba(15, 39, 51, .8)";
    context.lineWidth = strong ? 1.6 : 0.8;
    context.stroke();
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
