// Quantities as words, in millimetres or inches. Nothing here asks which unit the page shows: it is given.

const MM_PER_INCH = 25.4; // exact since 1959
const FINEST = 64; // the finest graduation of a US rule, in parts of an inch
const INCH_DECIMALS = 2; // more than in millimetres, for a last digit of the same order

const gcd = (a, b) => (b ? gcd(b, a % b) : a);

/** The nearest 1/64 in: `{ whole, top, bottom, off }`, `off` being the inches that it leaves out. */
export function sixtyFourths(mm) {
  const inches = Math.abs(mm) / MM_PER_INCH;
  const parts = Math.round(inches * FINEST);
  const common = gcd(parts % FINEST, FINEST);
  const [whole, top] = [Math.floor(parts / FINEST), (parts % FINEST) / common];
  return { whole, top, bottom: top ? FINEST / common : 1, off: inches - parts / FINEST };
}

/** The nearest fraction of an inch as it is read from a rule: `16 7/16`, `3/8`, `7`; null below 1/128 in. */
export function fraction(mm) {
  const { whole, top, bottom } = sixtyFourths(mm);
  if (!whole && !top) return null;
  const words = [whole || "", top ? `${top}/${bottom}` : ""].filter(Boolean).join(" ");
  return mm < 0 ? `-${words}` : words;
}

const plain = (number, decimals) => {
  const text = number.toFixed(decimals);
  return Number(text) === 0 ? (0).toFixed(decimals) : text; // no "-0.00"
};

/** A length's number alone, for a column whose head has the unit. */
export const digits = (mm, unit, decimals = 2) =>
  unit === "mm" ? plain(mm, decimals) : plain(mm / MM_PER_INCH, decimals + INCH_DECIMALS);

/** A length with its unit; `decimals` are those in millimetres. */
export const lengthIn = (unit, mm, decimals = 2) => `${digits(mm, unit, decimals)} ${unit}`;

/** A length that is to be typed into a field: short, and exact enough. */
export const typedIn = (unit, mm) => `${unit === "mm" ? mm.toFixed(2) : (mm / MM_PER_INCH).toFixed(4)} ${unit}`;

/** A size: in inches with the nearest 1/64 after the decimals, "≈" where the two differ. */
export function sizeIn(unit, mm, decimals = 2) {
  const decimal = lengthIn(unit, mm, decimals);
  if (unit === "mm") return decimal;
  const rule = fraction(mm);
  if (rule === null) return decimal;
  const same = Math.abs(sixtyFourths(mm).off) < 0.5 * 10 ** -(decimals + INCH_DECIMALS);
  return `${decimal} (${same ? "" : "≈ "}${rule})`;
}

/** Wordings of a measured size for a drawing, the fullest first: `417.97 ± 0.76 mm`, `417.97 mm`. */
export function sizeWordings(unit, { value, u95 }) {
  const number = digits(value, unit, 2);
  const both = u95 > 0 ? [`${number} ± ${digits(u95, unit, 2)} ${unit}`] : [];
  const rule = unit === "in" ? fraction(value) : null;
  return [...(rule === null ? [] : both.map((words) => `${words} (≈ ${rule})`)), ...both, `${number} ${unit}`];
}

// ---- sentences that keep their figures

const SENTENCE_INCH_DECIMALS = 1; // more than in millimetres, as report and shop sheet write them
const AFTER = { angle: " degrees", pixels: " px", share: " %", number: "" };

/** A figure `{ value, kind, decimals, signed }` of a sentence as words; lengths and positions are in mm. */
export function figureIn(unit, { value, kind, decimals, signed = false }) {
  const isLength = kind === "length" || kind === "position";
  const inches = isLength && unit === "in";
  const one = (number) => {
    const text = plain(inches ? number / MM_PER_INCH : number, decimals + (inches ? SENTENCE_INCH_DECIMALS : 0));
    return signed && number >= 0 ? `+${text}` : text;
  };
  const after = isLength ? ` ${unit}` : (AFTER[kind] ?? "");
  return `${Array.isArray(value) ? `(${value.map(one).join(", ")})` : one(value)}${after}`;
}

const PLACE = /\{\{|\}\}|\{\}/g; // of a template: a brace, a brace, a figure

const placesOf = (template) => (template.match(PLACE) ?? []).filter((found) => found === "{}").length;

/** A template with its figures put in; `{{` and `}}` stand for single braces. */
export function render(unit, template, figures) {
  let next = 0;
  if (placesOf(template) !== figures.length) throw new Error(`${figures.length} figures do not fit "${template}"`);
  return template.replace(PLACE, (found) => (found === "{}" ? figureIn(unit, figures[next++]) : found[0]));
}

/** A sentence `{ template, figures }` of the server. */
export const sentenceIn = (unit, { template, figures }) => render(unit, template, figures);

/** Text and remedy of a remark (`text`) or an error (`what`), their lengths in `unit`. */
export function sentencesIn(unit, { text, what, mend, templates, figures }) {
  if (!templates) return [text ?? what ?? "", mend ?? ""];
  const own = placesOf(templates[0]);
  return [render(unit, templates[0], figures.slice(0, own)), render(unit, templates[1], figures.slice(own))];
}

/** Several of a noun: `1 photo`, `2 photos`. */
export const counted = (number, one, many = `${one}s`) => `${number} ${number === 1 ? one : many}`;
