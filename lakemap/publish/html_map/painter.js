// Colours the screen from the grid: each screen pixel asks the frame's pixel below it.
const Painter = Picture.extend({
  options: { pane: "surface" },
  CHUNK: 16,

  initialize(grid, views) {
    this.grid = grid;
    this.views = views;
    this.view = null;
    this.fade = true;
  },

  show(view, fade) {
    this.view = view;
    this.fade = fade;
    this.redraw();
  },

  redraw(anew = true) {
    const view = this.views[this.view];
    if (!view) return;
    const missing = [view.layer, view.sigma, "depth"].find((name) => !this.grid.layers[name]);
    if (missing) this.grid.whole.then(() => this.redraw(true));
    else Picture.prototype.redraw.call(this, anew);
  },

  *_draw(canvas, sight, before) {
    const context = canvas.getContext("2d", { willReadFrequently: true });
    const kept = before && this._keep(context, canvas, sight, before);
    const rows = new RowPainter(this.grid, this.views[this.view], this.fade, sight, canvas.width);
    for (const [left, top, right, bottom] of Painter.around(kept, canvas.width, canvas.height)) {
      for (let from = top; from < bottom; from += this.CHUNK) {
        const high = Math.min(this.CHUNK, bottom - from), image = context.createImageData(right - left, high);
        const pixels = new Uint32Array(image.data.buffer);
        for (let y = 0; y < high; y++) {
          rows.paint(pixels, y * (right - left), from + y, left, right);
          yield;
        }
        context.putImageData(image, left, from);
      }
    }
  },

  // At the same zoom what both pictures show is copied, pixel by pixel; returns its box [left, top, right, bottom].
  _keep(context, canvas, sight, before) {
    if (before.zoom !== sight.zoom || before.scale !== sight.scale || before.canvas === canvas) return null;
    const { x, y } = before.min.subtract(sight.min).multiplyBy(sight.scale);
    const box = [Math.max(0, x), Math.max(0, y), Math.min(canvas.width, x + before.canvas.width),
      Math.min(canvas.height, y + before.canvas.height)];
    if (box[0] >= box[2] || box[1] >= box[3]) return null;
    context.drawImage(before.canvas, x, y);
    return box;
  },
});

// The boxes that are left of a picture when one inside it is kept.
Painter.around = (kept, width, height) => {
  if (!kept) return [[0, 0, width, height]];
  const [left, top, right, bottom] = kept;
  return [[0, 0, width, top], [0, bottom, width, height], [0, top, left, bottom], [right, top, width, bottom]]
    .filter(([west, north, east, south]) => west < east && north < south);
};

// One row of screen pixels after another: values between pixel centres, faded and hatched by their error.
class RowPainter {
  constructor(grid, view, fade, sight, width) {
    this.grid = grid;
    this.main = grid.layers[view.layer];
    this.depth = grid.layers.depth;
    this.sigma = grid.layers[view.sigma];
    this.view = view;
    this.fade = fade;
    this.level = Today.level_m;
    this.unsuited = Suited.shown ? Suited.outside : null;
    this.period = Math.max(4, Math.round(7 * sight.scale));
    this.stroke = Math.max(1, Math.round(1.4 * sight.scale));
    this._place(sight, width);
  }

  // How a picture's pixel becomes u and v of the grid's place, and the world's pixel that hatching hangs on.
  _place({ zoom, min, scale }, width) {
    const { centre, half } = this.grid.place, side = Math.PI * 6378137, metres = 2 * side / (256 * 2 ** zoom);
    this.u0 = ((min.x + 0.5 / scale) * metres - side - centre[0]) / half[0];
    this.du = metres / scale / half[0];
    this.v0 = (side - (min.y + 0.5 / scale) * metres - centre[1]) / half[1];
    this.dv = -metres / scale / half[1];
    this.first = Math.max(0, Math.ceil((-1 - this.u0) / this.du));
    this.last = Math.min(width - 1, Math.floor((1 - this.u0) / this.du));
    this.worldX = Math.round(min.x * scale) % this.period;
    this.worldY = Math.round(min.y * scale) % this.period;
  }

  // Row y of the picture from pixel `left` to before `right` into `pixels`, from `at` on.
  paint(pixels, at, y, left, right) {
    const v = this.v0 + y * this.dv;
    if (Math.abs(v) > 1) return;
    const { columnOf, rowOf } = this.grid.alongRow(v), { period } = this;
    const from = Math.max(left, this.first), to = Math.min(right - 1, this.last);
    for (let start = from; start <= to; start += RowPainter.STRAIGHT) {
      const end = Math.min(start + RowPainter.STRAIGHT, to + 1), u = this.u0 + start * this.du;
      const uEnd = this.u0 + end * this.du, count = end - start;
      let column = LakeGrid.horner(columnOf, u), row = LakeGrid.horner(rowOf, u);
      const perColumn = (LakeGrid.horner(columnOf, uEnd) - column) / count;
      const perRow = (LakeGrid.horner(rowOf, uEnd) - row) / count;
      for (let x = start; x < end; x++, column += perColumn, row += perRow) {
        const along = (this.worldX + this.worldY + x + y) % period;
        const across = (this.worldX - this.worldY + x - y) % period;
        const colour = this.colour(column, row, along, across < 0 ? across + period : across);
        if (colour) pixels[at + x - left] = colour;
      }
    }
  }

  colour(column, row, along, across) {
    const { columns, rows } = this.grid;
    if (column < 0 || row < 0 || column >= columns || row >= rows) return 0;
    const nearest = Math.floor(row) * columns + Math.floor(column);
    if (!this.depth.codes[nearest] && !this.main.codes[nearest]) return 0;
    const left = Math.floor(column - 0.5), top = Math.floor(row - 0.5), x = column - 0.5 - left, y = row - 0.5 - top;
    const at = left >= 0 && top >= 0 && left + 1 < columns && top + 1 < rows ? top * columns + left : -1;
    const sigma = RowPainter.between(this.sigma, nearest, at, columns, x, y);
    const depth = RowPainter.between(this.depth, nearest, at, columns, x, y);
    const value = this.main === this.sigma ? sigma : this.main === this.depth ? depth
      : RowPainter.between(this.main, nearest, at, columns, x, y);
    const { view } = this;
    if (Number.isNaN(value) && !view.hatchesNothing) return 0;
    const shown = depth + this.level;
    if (shown <= 0 && this.level < 0) return DRY;
    if (this.unsuited && across < this.stroke && this.unsuited(depth)) return UNSUITED;
    const away = Today.outside(shown);
    if (!away && along < this.stroke && view.guess(depth, sigma)) return HATCH;
    const strength = (this.fade ? view.strength(depth, sigma) : 1) * (away ? AWAY : 1);
    const place = Number.isNaN(value) ? 255 : Math.round(255 * (value - view.low) / view.span);
    const opaque = view.lut[place < 0 ? 0 : place > 255 ? 255 : place];
    return ((Math.round(255 * strength) << 24) | (opaque & 0xffffff)) >>> 0;
  }

  // Straight between the four pixel centres around; the pixel's own value where one of them holds nothing.
  static between({ codes, low, quantum }, nearest, at, columns, x, y) {
    if (at >= 0) {
      const a = codes[at], b = codes[at + 1], c = codes[at + columns], d = codes[at + columns + 1];
      if (a && b && c && d) {
        return low + ((a * (1 - x) + b * x) * (1 - y) + (c * (1 - x) + d * x) * y - 1) * quantum;
      }
    }
    const code = codes[nearest];
    return code ? low + (code - 1) * quantum : NaN;
  }
}

// So many screen pixels in a row lie as good as straight on the grid: the way bends by far less than a pixel of it.
RowPainter.STRAIGHT = 32;

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
