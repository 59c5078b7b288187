// The scale of "how sure" is the same on every lake; errors from here on share the palest colour.
const WORST_M = 1.0;

// What the colour can show. Certainty comes first; each view says how its colour fades and where it guesses.
function makeViews(grid, ramps) {
  const views = {};
  const add = (name, view, range) => {
    const [low, high] = range || [0, 1];
    views[name] = { ...view, name, low, high, span: Math.max(high - low, 1e-9), lut: lutOf(ramps[name]) };
  };
  const full = () => 1;
  const guessDepth = (depth, sigma) => Sureness.level(depth, sigma) === 2;
  const depthRange = grid.range("depth", 0.002);
  add("sure", {
    label: "How sure", layer: "depth_sigma", sigma: "depth_sigma", strength: full, guess: guessDepth,
    hatchesNothing: true, title: () => `Depth is within \u00b1 (${Units.word})`,
    shown: (value) => Units.inUnit(Sureness.error(value)),
  }, [0, WORST_M / Sureness.rule.factor]);
  add("depth", {
    label: "Depth", layer: "depth", sigma: "depth_sigma", strength: Sureness.strength, guess: guessDepth,
    title: () => (Today.level_m ? `Depth on today's water (${Units.word})` : `Depth (${Units.word})`),
    shown: (value) => Units.inUnit(value + Today.level_m),
  }, depthRange ? [depthRange[0] < 0.4 * depthRange[1] ? 0 : depthRange[0], depthRange[1]] : null);
  if (grid.has("hardness")) {
    add("hardness", {
      label: "Bottom hardness", layer: "hardness", sigma: "hardness_sigma",
      strength: (depth, sigma) => Sureness.hardnessStrength(sigma), guess: (depth, sigma) => !Number.isFinite(sigma),
      title: () => "Bottom, relative hardness", shown: null,
    }, [0, 1]);
  }
  const slopeRange = grid.range("slope", 0.01);
  add("slope", {
    label: "Steepness", layer: "slope", sigma: "depth_sigma", strength: Sureness.strength, guess: guessDepth,
    title: () => "Steepness (degrees)", shown: (value) => value,
  }, [0, Math.max(slopeRange ? slopeRange[1] : 0, 2)]);
  return views;
}
