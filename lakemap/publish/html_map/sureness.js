// Sure, fair or guess: the same rule as the bar at the head of the page.
const Sureness = (() => {
  const WORDS = ["Sure", "Fair", "Guess"];
  let rule = null;

  const start = (given) => { rule = given; };
  const limit = (depth, [a, b]) => Math.sqrt(a * a + b * b * depth * depth);
  const error = (sigma) => rule.factor * sigma;

  function level(depth, sigma) {
    if (!Number.isFinite(sigma)) return 2;
    return (error(sigma) > limit(depth, rule.within)) + (error(sigma) > limit(depth, rule.fair));
  }
  // 1 where the map is sure, falling to FAINT where it guesses.
  const FAINT = 0.3;
  function strength(depth, sigma) {
    if (!Number.isFinite(sigma)) return FAINT;
    const near = limit(depth, rule.within), far = limit(depth, rule.fair);
    const over = Math.min(1, Math.max(0, (error(sigma) - near) / (far - near)));
    return 1 - (1 - FAINT) * over;
  }
  function hardnessStrength(sigma) {
    if (!Number.isFinite(sigma)) return FAINT;
    const [near, far] = rule.hardness;
    return 1 - (1 - FAINT) * Math.min(1, Math.max(0, (sigma - near) / (far - near)));
  }
  return { start, level, error, strength, hardnessStrength, WORDS, get rule() { return rule; } };
})();
