// Lines of equal depth, traced in the page: so they follow the reader's unit, the step asked for and today's water.
const Tracer = (() => {
  const PAUSE = 512;

  // Sides that a line joins, for each pattern of corners deeper than it: 0 top, 1 right, 2 bottom, 3 left.
  const JOINS = [[], [3, 0], [0, 1], [3, 1], [1, 2], null, [0, 2], [3, 2],
    [2, 3], [2, 0], null, [2, 1], [1, 3], [1, 0], [0, 3], []];

  // Into `lines`: chains of [column, row] for each depth in `levels` (sorted, in metres); between pixel centres, never
  // over a hole. A generator, so that it can be run in slices.
  function* trace(layer, rows, columns, levels, lines) {
    const codes = layer.codes;
    const at = levels.map((depth) => {
      const code = (depth - layer.low) / layer.quantum + 1;
      return Number.isInteger(code) ? code + 0.01 : code;
    });
    const below = levelsBelow(at), found = levels.map(() => []);
    for (let row = 0; row + 1 < rows; row++) {
      for (let column = 0, k = row * columns; column + 1 < columns; column++, k++) {
        const a = codes[k], b = codes[k + 1], c = codes[k + columns + 1], d = codes[k + columns];
        if (!a || !b || !c || !d) continue;
        const first = below[Math.min(a, b, c, d)], last = below[Math.max(a, b, c, d)];
        for (let n = first; n < last; n++) cross(found[n], at[n], k, columns, a, b, c, d);
      }
      yield;
    }
    for (let n = 0; n < found.length; n++) {
      lines.push([]);
      for (const chain of chains(found[n])) {
        if (chain) lines[n].push(chain.map((side) => corner(side, at[n], codes, columns)));
        yield;
      }
    }
  }

  // For each code, how many of the levels lie below it.
  function levelsBelow(at) {
    const below = new Uint16Array(65537);
    for (let code = 0, n = 0; code <= 65536; code++) {
      while (n < at.length && at[n] < code) n++;
      below[code] = n;
    }
    return below;
  }

  function cross(into, level, k, columns, a, b, c, d) {
    const pattern = (a > level) + 2 * (b > level) + 4 * (c > level) + 8 * (d > level);
    // A side is twice the number of its first pixel, and one more if it runs down.
    const sides = [2 * k, 2 * (k + 1) + 1, 2 * (k + columns), 2 * k + 1];
    const join = (from, to) => into.push(sides[from], sides[to]);
    const pair = JOINS[pattern];
    if (pair) {
      if (pair.length) join(pair[0], pair[1]);
      return;
    }
    const middle = (a + b + c + d) / 4 > level;
    if ((pattern === 5) === middle) { join(0, 1); join(2, 3); } else { join(3, 0); join(1, 2); }
  }

  // Sides joined to chains, open ones first; null now and then, as a pause.
  function* chains(pairs) {
    const next = new Map();
    const tie = (from, to) => { const known = next.get(from); if (known) known.push(to); else next.set(from, [to]); };
    for (let i = 0; i < pairs.length; i += 2) {
      tie(pairs[i], pairs[i + 1]);
      tie(pairs[i + 1], pairs[i]);
      if (i % PAUSE === 0) yield null;
    }
    const walk = (start) => {
      const chain = [start];
      for (let here = start; ;) {
        const ways = next.get(here), way = ways.pop();
        if (way === undefined) break;
        const back = next.get(way);
        back.splice(back.indexOf(here), 1);
        chain.push(way);
        here = way;
      }
      return chain;
    };
    let seen = 0;
    for (const least of [1, 2]) {
      for (const [side, ways] of next) {
        if (ways.length && ways.length <= least) yield walk(side);
        else if (++seen % PAUSE === 0) yield null;
      }
    }
  }

  function corner(side, level, codes, columns) {
    const k = side >> 1, down = side & 1, a = codes[k], b = codes[down ? k + columns : k + 1];
    const part = (level - a) / (b - a), column = k % columns + 0.5, row = Math.floor(k / columns) + 0.5;
    return down ? [column, row + part] : [column + part, row];
  }

  return { trace };
})();
