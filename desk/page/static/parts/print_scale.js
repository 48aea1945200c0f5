// What two measured bars say about a print.

const LEAST = 0.85; // of the nominal length: smaller is a slip, not a printer
const APART = 0.01; // between the two axes: no printer stretches paper by more
const FITTED = 0.985; // below it "fit to page" was on

const percent = (scale) => `${(100 * scale).toFixed(scale < LEAST ? 0 : 1)} %`;

/** What is wrong with one bar's reading, "" where it can be right; lengths as words by `written(mm)`. */
export function barFault(mm, nominal, written) {
  const scale = mm / nominal;
  if (scale >= LEAST && scale <= 1 / LEAST) return "";
  const tenth = [10, 0.1, 25.4, 1 / 25.4].find((factor) => Math.abs(scale * factor - 1) < 0.1);
  const guess = { 10: "ten times too small", 0.1: "ten times too large", 25.4: "inches typed as mm" }[tenth];
  const why = guess ?? (tenth ? "mm typed as inches" : "");
  return `It should measure about ${written(nominal)}${why ? `: ${why}?` : ". Measure it again"}`;
}

/** What both bars say together: `{ fault, note }`, each "" or a sentence. */
export function printWords(bars, nominal) {
  const [x, y] = ["x", "y"].map((axis) => (bars[axis] === null ? null : bars[axis] / nominal[axis]));
  if (x === null || y === null) return { fault: "", note: "" };
  if (Math.abs(x / y - 1) > APART) {
    const each = `bar x is ${percent(x)} of its nominal length, bar y ${percent(y)}`;
    return { fault: `The two readings do not agree: ${each}. Measure both again.`, note: "" };
  }
  const scale = Math.sqrt(x * y);
  if (scale >= FITTED && scale <= 1 / FITTED) return { fault: "", note: "" };
  const why =
    scale < 1 ? "The print is smaller than drawn: it was probably fitted to the page." : "The print is enlarged.";
  return { fault: "", note: `${why} At ${percent(scale)} it can be used as it is; the readings correct for it.` };
}
