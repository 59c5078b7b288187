// Lengths and other numbers as people read them; everything inside is in metres.
const Units = (() => {
  const METRES = { m: 1, ft: 0.3048 };
  let unit = "m";
  const listeners = [];

  function start(word) {
    const before = Keep.get("unit");
    unit = METRES[before] ? before : word;
  }
  function choose(word) {
    unit = word;
    Keep.set("unit", word);
    listeners.forEach((listener) => listener());
  }

  const inUnit = (metres) => metres / METRES[unit];
  const known = (value) => value !== null && value !== undefined && Number.isFinite(value);

  function number(value, decimals) {
    const text = value.toFixed(decimals);
    return Number(text) === 0 ? (0).toFixed(decimals) : text.replace("-", "\u2212");
  }
  // Small errors need a digit more than depths, or they would read as nothing.
  function giveOrTake(metres) {
    const value = inUnit(metres);
    return `\u00b1\u00a0${number(value, value < 0.095 ? 2 : 1)}\u00a0${unit}`;
  }
  const length = (metres, decimals = 1) =>
    known(metres) ? `${number(inUnit(metres), decimals)}\u00a0${unit}` : "unknown";

  const trimmed = (metres) => String(Number(inUnit(metres).toFixed(inUnit(metres) < 10 ? 1 : 0)));
  const exact = (metres) => String(Number(inUnit(metres).toFixed(1)));

  function distance(metres) {
    const value = inUnit(metres);
    return `${value < 10 ? number(value, 1) : Math.round(value)}\u00a0${unit}`;
  }
  // A sentence carries its lengths as {1.230 m}.
  const fill = (sentence) =>
    sentence.replace(/\{(-?\d+(?:\.\d+)?) m(?::\d)?\}/g, (_, metres) => length(Number(metres)));

  return {
    start, choose, known, length, giveOrTake, distance, fill, number, inUnit, trimmed, exact,
    get word() { return unit; },
    metresPer: (word) => METRES[word],
    onChange: (listener) => listeners.push(listener),
  };
})();
