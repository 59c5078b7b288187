// Grids back from base64: inflate, undo the differences, leave whole-number codes; 0 means nothing here.
const Codec = (() => {
  async function inflate(text) {
    const packed = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
    const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  }

  function undo(planes, rows, columns) {
    const size = rows * columns;
    const codes = new Uint16Array(size);
    for (let row = 0, at = 0; row < rows; row++) {
      let across = 0;
      for (let column = 0; column < columns; column++, at++) {
        const folded = planes[at] | (planes[size + at] << 8);
        across += (folded >> 1) ^ -(folded & 1);
        codes[at] = across + (row ? codes[at - columns] : 0);
      }
    }
    return codes;
  }

  async function layer(packed, rows, columns) {
    const codes = undo(await inflate(packed.data), rows, columns);
    return { codes, low: packed.low, quantum: packed.quantum };
  }

  // "1 2 3 ..." of steps in millionths of a degree, as [lat, lon] pairs.
  function points(steps) {
    const found = [];
    let lat = 0, lon = 0;
    for (let at = 0; at < steps.length; at += 2) {
      lat += steps[at];
      lon += steps[at + 1];
      found.push([lat / 1e6, lon / 1e6]);
    }
    return found;
  }

  return { layer, points, undo };
})();
