// Water that suits what is sought: bottoms outside its depths are hatched while this is shown.
const Suited = (() => {
  let told = null, shown = false;
  const start = (given) => { told = given; };
  const outside = (depth) => !told.bands.some(([top, bottom]) => depth >= top && depth <= bottom);
  // A layer for the panel: it draws nothing itself, the painter asks.
  const layer = (repaint) => ({
    addTo() { shown = true; repaint(); return this; },
    remove() { shown = false; repaint(); return this; },
    fire() { return this; },
  });
  // Whether the profile has run out by the reader's clock: what it said is then of its own day.
  const ranOut = () => Boolean(told && told.until) && new Date().toISOString().slice(0, 10) > told.until;
  const label = () => (ranOut() ? "Water that did not suit" : "Water that does not suit");
  const legend = () => label() + (ranOut() ? ` on ${told.day}; the profile counted until ${told.until}` : "");
  function words(depth) {
    if (!told || !(depth <= told.deepest_m)) return null;
    const is = ranOut() ? ["suited", "did not suit"] : ["suits", "does not suit"];
    const until = ranOut() ? ` on ${told.day}; the profile counted until ${told.until}`
      : told.until ? ` until ${told.until}` : "";
    return `Water at the bottom ${is[Number(outside(depth))]}${until}`;
  }
  return { start, outside, layer, label, legend, words, get shown() { return shown; }, get told() { return told; } };
})();
