// Today's water above the map's zero, the depths asked for, and the lines that both draw.
const Today = (() => {
  const SHALLOW = { m: 1, ft: 3 };
  let level = 0, band = null;
  const listeners = [];
  const tell = () => listeners.forEach((listener) => listener());

  // A number as typed, decimal comma or point; null for nothing or nonsense.
  function typed(text) {
    const value = Number(String(text).trim().replace("\u2212", "-").replace(",", "."));
    return String(text).trim() === "" || !Number.isFinite(value) ? null : value;
  }
  function setLevel(metres) { level = metres; tell(); }
  function setBand(from, to) {
    band = from === null && to === null ? null : [from ?? -Infinity, to ?? Infinity].sort((a, b) => a - b);
    tell();
  }
  const outside = (shown) => band !== null && (shown < band[0] || shown > band[1]);
  const shallow_m = () => SHALLOW[Units.word] * Units.metresPer(Units.word);

  // Depths on today's water that get a line of their own.
  function edges() {
    const found = band ? band.filter((depth) => Number.isFinite(depth) && depth > 0)
      .map((depth_m) => ({ kind: "band", depth_m })) : [];
    if (level !== 0) found.push({ kind: "shallow", depth_m: shallow_m() });
    if (level < 0) found.push({ kind: "dry", depth_m: 0 });
    return found.sort((a, b) => a.depth_m - b.depth_m);
  }

  // What is typed and no number changes nothing, and is said.
  function misread(inputs, said) {
    const bad = inputs.filter((input) => input.value.trim() !== "" && typed(input.value) === null);
    inputs.forEach((input) => input.setAttribute("aria-invalid", String(bad.includes(input))));
    said.textContent = bad.length ? `\u201c${bad[0].value.trim().slice(0, 20)}\u201d is no number: nothing was changed.` : "";
    return bad.length > 0;
  }

  function wire(box) {
    const metres = (input) => {
      const value = typed(input.value);
      return value === null ? null : value * Units.metresPer(Units.word);
    };
    box.level.addEventListener("change", () => {
      if (misread([box.level], box.levelSaid)) return;
      const asked = metres(box.level) ?? 0, beyond = Math.abs(asked) > box.most_m;
      box.level.setAttribute("aria-invalid", String(beyond));
      if (beyond) box.levelSaid.textContent = `The lake is ${Units.length(box.most_m)} deep at most: nothing was changed.`;
      else setLevel(asked);
    });
    const ends = () => {
      if (misread([box.from, box.to], box.bandSaid)) return;
      const [from, to] = [metres(box.from), metres(box.to)];
      setBand(from, to);
      if (from !== null && to !== null && from > to) {
        rewrite();
        box.bandSaid.textContent = "The lesser depth first: turned round.";
      }
    };
    box.from.addEventListener("change", ends);
    box.to.addEventListener("change", ends);
    const rewrite = () => {
      const text = (value) => (value === null || !Number.isFinite(value) || value === 0 ? "" : Units.exact(value));
      box.level.value = text(level);
      box.from.value = band ? text(band[0]) : "";
      box.to.value = band ? text(band[1]) : "";
      misread([box.level], box.levelSaid);
      misread([box.from, box.to], box.bandSaid);
      box.units.forEach((span) => { span.textContent = Units.word; });
    };
    Units.onChange(rewrite);
    rewrite();
  }

  return {
    setLevel, setBand, outside, edges, typed, wire, shallow_m, onChange: (listener) => listeners.push(listener),
    get level_m() { return level; }, get band() { return band; },
  };
})();
