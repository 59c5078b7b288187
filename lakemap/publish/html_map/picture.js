// A canvas over the map, drawn in slices; until a new picture is whole the last one moves and scales along.
const Picture = L.Layer.extend({
  PADDING: 0.15,
  MOST_PIXELS: 1200000,
  STEP: 4,
  rank: 0,

  onAdd() {
    this.canvas = this._blank(null);
    this.getPane().append(this.canvas);
    this.redraw();
  },
  onRemove() {
    this._job?.cancel();
    this.canvas.remove();
    this.canvas = this._spare = this.seen = null;
  },
  getEvents() {
    return {
      moveend: () => this.redraw(false), viewreset: () => this._follow(), zoom: () => this._follow(),
      zoomanim: ({ center, zoom }) => { this._job?.cancel(); this._follow(center, zoom); },
    };
  },

  // `anew` when what is shown has changed, else the place alone; a picture may then keep what it has.
  redraw(anew = true) {
    if (!this._map || (this._map._animatingZoom && this.seen)) return;
    this._job?.cancel();
    this._stale = anew || this._stale;
    const sight = this._sight(), first = !this.seen, canvas = first ? this.canvas : this._blank(this._spare);
    this._size(canvas, sight);
    if (first) this._change(canvas, sight);
    const job = Slices.add(this._draw(canvas, sight, this._stale ? null : { canvas: this.canvas, ...this.seen }), this.rank);
    this._job = job;
    job.done.then((whole) => {
      if (!whole || this._job !== job || !this._map) return;
      this._stale = false;
      this._change(canvas, sight);
      document.body.dataset.painted = "yes";
    });
  },

  _blank(before) {
    const canvas = before || document.createElement("canvas");
    canvas.className = `${this.options.pane}-canvas leaflet-zoom-animated`;
    return canvas;
  },

  // What the screen shows and a margin: its corner in the pixels of the whole world at this zoom, on even steps so that
  // pictures of one zoom fit onto each other.
  _sight() {
    const map = this._map, size = map.getSize(), pad = size.multiplyBy(this.PADDING), step = this.STEP;
    const low = map.containerPointToLayerPoint(pad.multiplyBy(-1)).add(map.getPixelOrigin());
    const min = low.divideBy(step).floor().multiplyBy(step);
    const span = size.add(pad.multiplyBy(2)).divideBy(step).ceil().add([1, 1]).multiplyBy(step);
    const finest = Math.min(window.devicePixelRatio || 1, 2, Math.sqrt(this.MOST_PIXELS / (span.x * span.y)));
    return { zoom: map.getZoom(), min, span, scale: Math.max(1, Math.floor(step * finest)) / step };
  },

  _size(canvas, { span, scale }) {
    canvas.width = span.x * scale;
    canvas.height = span.y * scale;
    canvas.style.width = `${span.x}px`;
    canvas.style.height = `${span.y}px`;
  },

  _change(canvas, sight) {
    if (canvas !== this.canvas) {
      this.canvas.replaceWith(canvas);
      this._spare = this.canvas;
      this.canvas = canvas;
    }
    this.seen = sight;
    this._follow();
  },

  _follow(centre = this._map.getCenter(), zoom = this._map.getZoom()) {
    if (!this.seen) return;
    const scale = this._map.getZoomScale(zoom, this.seen.zoom);
    const corner = this.seen.min.multiplyBy(scale).subtract(this._map._getNewPixelOrigin(centre, zoom));
    L.DomUtil.setTransform(this.canvas, corner, scale);
  },

  // Mercator metres to pixels of the picture, before its scale: a straight line on each axis.
  _onPicture({ zoom, min }) {
    const half = Math.PI * 6378137, per = 256 * 2 ** zoom / (2 * half);
    return { per, x0: half * per - min.x, y0: half * per - min.y };
  },
});
