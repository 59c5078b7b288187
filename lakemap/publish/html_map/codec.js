// Grids back from base64: inflate, undo the differences, leave whole-number codes; 0 means nothing here.
const Codec = (() => {
  async function inflate(text) {
    const letters = atob(text), packed = new Uint8Array(letters.length);
    for (let at = 0; at < letters.length; at++) packed[at] = letters.charCodeAt(at);
    const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  }

  function* undo(planes, rows, columns, codes) {
    const size = rows * columns;
    for (let row = 0, at = 0; row < rows; row++) {
      let across = 0;
      for (let column = 0; column < columns; column++, at++) {
        const folded = planes[at] | (planes[size + at] << 8);
        across += (folded >> 1) ^ -(folded & 1);
        codes[at] = across + (row ? codes[at - columns] : 0);
      }
      yield;
    }
  }

  async function layer(packed, rows, columns) {
    const planes = await inflate(packed.data), codes = new Uint16Array(rows * columns);
    await Slices.add(undo(planes, rows, columns, codes)).done;
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

  return { layer, points };
})();
