// Colours the screen from the grid: each screen pixel asks the frame's pixel below it.
const Painter = L.Renderer.extend({
  options: { padding: 0.2, pane: "surface" },
  MOST_PIXELS: 900000,

  initialize(grid, views) {
    L.Renderer.prototype.initialize.call(this, {});
    this.grid = grid;
    this.views = views;
    this.view = null;
    this.fade = true;
  },

  show(view, fade) {
    this.view = view;
    this.fade = fade;
    if (this._map) this._paint();
  },

  _initContainer() {
    this._container = document.createElement("canvas");
    this._container.className = "surface-canvas";
  },
  _destroyContainer() {
    this._container.remove();
    this._container = null;
  },
  _update() {
    if (this._map._animatingZoom && this._bounds) return;
    L.Renderer.prototype._update.call(this);
    this._paint();
  },

  _paint() {
    const size = this._bounds.getSize();
    const finest = Math.min(window.devicePixelRatio || 1, 2);
    const scale = Math.min(finest, Math.sqrt(this.MOST_PIXELS / (size.x * size.y)));
    const canvas = this._container;
    canvas.width = Math.max(1, Math.round(size.x * scale));
    canvas.height = Math.max(1, Math.round(size.y * scale));
    canvas.style.width = `${size.x}px`;
    canvas.style.height = `${size.y}px`;
    L.DomUtil.setPosition(canvas, this._bounds.min);
    const view = this.views[this.view];
    if (!view) return;
    const context = canvas.getContext("2d", { willReadFrequently: true });
    const image = context.createImageData(canvas.width, canvas.height);
    this._colour(new Uint32Array(image.data.buffer), canvas.width, canvas.height, size, view);
    context.putImageData(image, 0, 0);
  },

  _colour(pixels, width, height, size, view) {
    const origin = this._bounds.min.add(this._map.getPixelOrigin());
    const metres = this._metresPerPixel();
    const stepX = size.x / width, stepY = size.y / height;
    const { centre, half } = this.grid.place;
    const u0 = ((origin.x + 0.5 * stepX) * metres.x + metres.x0 - centre[0]) / half[0];
    const du = stepX * metres.x / half[0];
    const first = Math.max(0, Math.ceil((-1 - u0) / du));
    const last = Math.min(width - 1, Math.floor((1 - u0) / du));
    const sampler = new Sampler(this.grid, view, this.fade, width / size.x);
    for (let y = 0; y < height; y++) {
      const v = (metres.y0 + (origin.y + (y + 0.5) * stepY) * metres.y - centre[1]) / half[1];
      if (Math.abs(v) > 1) continue;
      const { columnOf, rowOf } = this.grid.alongRow(v);
      const hatchRow = Math.round(origin.y / stepY) + y;
      sampler.row(hatchRow);
      for (let x = first; x <= last; x++) {
        const u = u0 + x * du;
        const column = LakeGrid.horner(columnOf, u), row = LakeGrid.horner(rowOf, u);
        const colour = sampler.colour(column, row, Math.round(origin.x / stepX) + x);
        if (colour) pixels[y * width + x] = colour;
      }
    }
  },

  // Screen pixels of the whole world at this zoom -> Mercator metres, a straight line on each axis.
  _metresPerPixel() {
    const zoom = this._map.getZoom();
    const zero = L.CRS.EPSG3857.project(this._map.unproject(L.point(0, 0), zoom));
    const far = L.CRS.EPSG3857.project(this._map.unproject(L.point(256, 256), zoom));
    return { x0: zero.x, y0: zero.y, x: (far.x - zero.x) / 256, y: (far.y - zero.y) / 256 };
  },
});

// One colour from one place on the grid: value between pixel centres, faded and hatched by its error.
class Sampler {
  constructor(grid, view, fade, scale) {
    this.columns = grid.columns;
    this.rows = grid.rows;
    this.main = grid.layers[view.layer];
    this.depth = grid.layers.depth;
    this.sigma = grid.layers[view.sigma];
    this.view = view;
    this.fade = fade;
    this.level = Today.level_m;
    this.unsuited = Suited.shown ? Suited.outside : null;
    this.period = Math.max(4, Math.round(7 * scale));
    this.stroke = Math.max(1, Math.round(1.4 * scale));
  }

  row(number) { this.screenRow = number; }

  colour(column, row, screenColumn) {
    const diagonal = screenColumn + this.screenRow;
    this._across = screenColumn - this.screenRow;
    if (column < 0 || row < 0 || column >= this.columns || row >= this.rows) return 0;
    const nearest = Math.floor(row) * this.columns + Math.floor(column);
    if (!this.depth.codes[nearest] && !this.main.codes[nearest]) return 0;
    const sigma = this._between(this.sigma, column, row, nearest);
    const depth = this._between(this.depth, column, row, nearest);
    const value = this.main === this.sigma ? sigma : this._between(this.main, column, row, nearest);
    if (Number.isNaN(value) && !this.view.hatchesNothing) return 0;
    const shown = depth + this.level;
    if (shown <= 0 && this.level < 0) return DRY;
    const away = Today.outside(shown);
    if (this.unsuited && this.unsuited(depth) && ((this._across % this.period) + this.period) % this.period < this.stroke) {
      return UNSUITED;
    }
    const guess = this.view.guess(depth, sigma);
    if (!away && guess && ((diagonal % this.period) + this.period) % this.period < this.stroke) return HATCH;
    const strength = (this.fade ? this.view.strength(depth, sigma) : 1) * (away ? AWAY : 1);
    const lut = this.view.lut;
    const at = Number.isNaN(value) ? 255 : Math.round(255 * (value - this.view.low) / this.view.span);
    const opaque = lut[at < 0 ? 0 : at > 255 ? 255 : at];
    return ((Math.round(255 * strength) << 24) | (opaque & 0xffffff)) >>> 0;
  }

  // Straight between the four pixel centres around; the pixel's own value where one of them holds nothing.
  _between(layer, column, row, nearest) {
    const codes = layer.codes;
    const left = Math.floor(column - 0.5), top = Math.floor(row - 0.5);
    if (left >= 0 && top >= 0 && left + 1 < this.columns && top + 1 < this.rows) {
      const at = top * this.columns + left;
      const a = codes[at], b = codes[at + 1], c = codes[at + this.columns], d = codes[at + this.columns + 1];
      if (a && b && c && d) {
        const x = column - 0.5 - left, y = row - 0.5 - top;
        return layer.low + ((a * (1 - x) + b * x) * (1 - y) + (c * (1 - x) + d * x) * y - 1) * layer.quantum;
      }
    }
    const code = codes[nearest];
    return code ? layer.low + (code - 1) * layer.quantum : NaN;
  }
}

// What lies outside the depths asked for keeps so much of its colour.
const AWAY = 0.16;
const DRY = ((255 << 24) | (0xc4 << 16) | (0xcf << 8) | 0xd2) >>> 0;
const UNSUITED = ((190 << 24) | (0x66 << 16) | (0x14 << 8) | 0x3b) >>> 0;
const HATCH = ((150 << 24) | (0x3a << 16) | (0x2b << 8) | 0x1e) >>> 0;

// 256 colours, little-endian ABGR as canvas memory holds them, straight between the ramp's stops.
function lutOf(stops) {
  const rgb = stops.map((hex) => [1, 3, 5].map((at) => parseInt(hex.slice(at, at + 2), 16)));
  return Uint32Array.from({ length: 256 }, (_, k) => {
    const along = k / 255 * (rgb.length - 1), at = Math.min(rgb.length - 2, Math.floor(along)), part = along - at;
    const [red, green, blue] = [0, 1, 2].map((c) => Math.round(rgb[at][c] * (1 - part) + rgb[at + 1][c] * part));
    return ((255 << 24) | (blue << 16) | (green << 8) | red) >>> 0;
  });
}
