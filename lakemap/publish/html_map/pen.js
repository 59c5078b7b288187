// Lines, areas and points in Mercator metres, drawn onto a picture; what lies outside or below a pixel is left out.
class Pen {
  constructor(context, { span, scale }, { per, x0, y0 }) {
    this.context = context;
    this.place = { per, x0, y0 };
    this.span = span;
    context.setTransform(scale, 0, 0, scale, 0, 0);
  }

  static FINEST_PX = 0.7;
  static BESIDE_PX = 40;
  static AT_ONCE = 400;

  at([x, y]) {
    const { per, x0, y0 } = this.place;
    return L.point(x * per + x0, y0 - y * per);
  }

  seen([west, south, east, north]) {
    const low = this.at([west, north]), high = this.at([east, south]), beside = Pen.BESIDE_PX;
    return high.x >= -beside && high.y >= -beside && low.x <= this.span.x + beside && low.y <= this.span.y + beside;
  }

  // One line, stroked by `stroke(context)` in stretches; returns its points, with those far outside left out.
  *line({ points, box }, stroke) {
    if (!this.seen(box)) return null;
    const { context } = this, drawn = [];
    let last = null, lifted = true, inPath = 0;
    context.beginPath();
    for (let k = 0; k < points.length; k++) {
      const here = this.at(points[k]), end = k === points.length - 1;
      if (last && !end && Math.abs(here.x - last.x) + Math.abs(here.y - last.y) < Pen.FINEST_PX) continue;
      if (last && this._apart(last, here)) lifted = true;
      else if (last) {
        if (lifted) { context.moveTo(last.x, last.y); drawn.push(last); }
        context.lineTo(here.x, here.y);
        drawn.push(here);
        lifted = false;
        inPath++;
      }
      last = here;
      if (inPath >= Pen.AT_ONCE) {
        stroke(context);
        yield;
        context.beginPath();
        lifted = true;
        inPath = 0;
      }
    }
    stroke(context);
    yield;
    return drawn;
  }

  // Whether both ends of a stretch lie beyond the same edge.
  _apart(a, b) {
    const beside = Pen.BESIDE_PX, { x: wide, y: high } = this.span;
    return (a.x < -beside && b.x < -beside) || (a.y < -beside && b.y < -beside) ||
      (a.x > wide + beside && b.x > wide + beside) || (a.y > high + beside && b.y > high + beside);
  }

  // The rings of one polygon as one path; the holes stay open under the rule of even and odd.
  rings(rings) {
    this.context.beginPath();
    for (const ring of rings) {
      let last = null;
      ring.forEach((point, k) => {
        const here = this.at(point);
        if (last && Math.abs(here.x - last.x) + Math.abs(here.y - last.y) < Pen.FINEST_PX) return;
        if (k) this.context.lineTo(here.x, here.y); else this.context.moveTo(here.x, here.y);
        last = here;
      });
      this.context.closePath();
    }
  }

  disc(point, radius) {
    const { x, y } = this.at(point);
    if (x < -radius || y < -radius || x > this.span.x + radius || y > this.span.y + radius) return false;
    this.context.beginPath();
    this.context.arc(x, y, radius, 0, 2 * Math.PI);
    return true;
  }
}
