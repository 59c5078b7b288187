// The values on their own metric frame, and the way from the Mercator view to that frame.
class LakeGrid {
  constructor(grid) {
    this.packed = grid.layers;
    this.rows = grid.rows;
    this.columns = grid.columns;
    this.factor = grid.factor;
    this.pixel_m = grid.pixel_m;
    this.place = grid.place;
    this.layers = {};
    this.complete = false;
  }

  // Depths and their errors come first; `whole` is when all the rest is there.
  static async open(grid) {
    const made = new LakeGrid(grid);
    await made._unpack(["depth", "depth_sigma"]);
    made.whole = made._unpack(Object.keys(grid.layers).filter((name) => !made.layers[name]))
      .then(() => { made.complete = true; });
    return made;
  }

  async _unpack(names) {
    for (const name of names) this.layers[name] = await Codec.layer(this.packed[name], this.rows, this.columns);
  }

  has(name) { return Boolean(this.packed[name]); }

  // Coefficients of the polynomials in u that remain once v is fixed: one set a screen row.
  alongRow(v) {
    const { degree, column, row } = this.place;
    const columnOf = new Float64Array(degree + 1), rowOf = new Float64Array(degree + 1);
    for (let i = 0, at = 0; i <= degree; i++) {
      for (let j = 0, power = 1; j <= degree - i; j++, at++, power *= v) {
        columnOf[i] += column[at] * power / this.factor;
        rowOf[i] += row[at] * power / this.factor;
      }
    }
    return { columnOf, rowOf };
  }

  uv(mercator) {
    const { centre, half } = this.place;
    return [(mercator.x - centre[0]) / half[0], (mercator.y - centre[1]) / half[1]];
  }

  // Column and row, counted from the outer corner of the first pixel; null off the frame.
  at(latlng) {
    const [u, v] = this.uv(L.CRS.EPSG3857.project(latlng));
    if (Math.abs(u) > 1 || Math.abs(v) > 1) return null;
    const { columnOf, rowOf } = this.alongRow(v);
    const column = LakeGrid.horner(columnOf, u), row = LakeGrid.horner(rowOf, u);
    const inside = column >= 0 && row >= 0 && column < this.columns && row < this.rows;
    return inside ? [column, row] : null;
  }

  // The way back: a column and row as Mercator metres.
  mercator(column, row) {
    const { centre, half, degree, x, y } = this.place;
    const u = 2 * column * this.factor / this.place.shape[1] - 1, v = 2 * row * this.factor / this.place.shape[0] - 1;
    let sumX = 0, sumY = 0;
    for (let i = 0, at = 0, left = 1; i <= degree; i++, left *= u) {
      for (let j = 0, power = left; j <= degree - i; j++, at++, power *= v) {
        sumX += x[at] * power;
        sumY += y[at] * power;
      }
    }
    return [centre[0] + half[0] * sumX, centre[1] + half[1] * sumY];
  }

  static horner(coefficients, u) {
    let sum = 0;
    for (let i = coefficients.length - 1; i >= 0; i--) sum = sum * u + coefficients[i];
    return sum;
  }

  // The pixel's own value, as in the raster file; NaN for nothing.
  value(name, place) {
    const layer = this.layers[name];
    if (!layer || !place) return NaN;
    const code = layer.codes[Math.floor(place[1]) * this.columns + Math.floor(place[0])];
    return code ? layer.low + (code - 1) * layer.quantum : NaN;
  }

  // The values that all but the outer `tail` share on either side reach; null where there are none.
  range(name, tail) { return this.packed[name].range?.[String(tail)] ?? null; }
}
