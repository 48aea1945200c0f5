// The files of a run by drawing, and the drawings by what they are for.

const SETS = [
  ["To cut", (stem) => /-(pocket|coupons|layout|template|width-slips)-/.test(stem)],
  ["The part's outline", (stem) => stem === "outline"],
  ["To print and keep", (stem) => /^outline-tiled|shop-sheet|^report$/.test(stem)],
  ["The photos, with what was measured", (stem) => stem.startsWith("overlay-")],
  ["All the rest", () => true],
];
const FORMATS = ["svg", "dxf", "pdf", "png", "html", "json", "zip"];

export const ending = ({ name }) => name.split(".").at(-1);

/** Those of a drawing's files that are shown small, and at full size. */
export const pictured = (files) =>
  files.find((one) => one.preview && /\.(png|jpg)$/.test(one.name)) ?? files.find((one) => ending(one) === "svg");
export const viewed = (files) =>
  files.find((one) => one.preview && ending(one) === "pdf") ?? files.find((one) => one.preview);

/** `[{ title, drawings: [{ stem, files }] }]`; pockets come before their test coupons. */
export function fileSets(list) {
  const stems = new Map();
  for (const one of list) {
    const stem = one.name.replace(/\.[a-z]+$/i, "");
    stems.set(stem, [...(stems.get(stem) ?? []), one]);
  }
  const rank = (one) => FORMATS.indexOf(ending(one));
  let left = [...stems].map(([stem, files]) => ({ stem, files: files.sort((a, b) => rank(a) - rank(b)) }));
  return SETS.map(([title, belongs]) => {
    const drawings = left.filter(({ stem }) => belongs(stem));
    left = left.filter((one) => !drawings.includes(one));
    drawings.sort((a, b) => /-pocket-/.test(b.stem) - /-pocket-/.test(a.stem));
    return { title, drawings };
  }).filter(({ drawings }) => drawings.length);
}

/** The size of a file in a few words. */
export const bytesWords = (bytes) =>
  bytes < 1e6 ? `${Math.max(1, Math.round(bytes / 1e3))} kB` : `${(bytes / 1e6).toFixed(1)} MB`;
