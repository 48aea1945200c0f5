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

const digits = (mm, unit, decimals) =>
  unit === "mm" ? plain(mm, decimals) : plain(mm / MM_PER_INCH, decimals + INCH_DECIMALS);

/** A length with its unit; `decimals` are those in millimetres. */
export const lengthIn = (unit, mm, decimals = 2) => `${digits(mm, unit, decimals)} ${unit}`;

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

const sign = (number) => (number < 0 ? "-" : "+");

// What a figure is decides how it is written; an unknown kind is written as its unit alone asks for.
const KINDS = {
  size: (unit, { value, decimals }) => sizeIn(unit, value, decimals),
  difference: (unit, { value, decimals }) => `${sign(value)}${lengthIn(unit, Math.abs(value), decimals)}`,
  point: (unit, { value, decimals = 0 }) => `(${value.map((mm) => digits(mm, unit, decimals)).join(", ")}) ${unit}`,
  range: (unit, { value: [low, high], decimals = 2 }) =>
    `${digits(low, unit, decimals)} to ${lengthIn(unit, high, decimals)}`,
  share: (_, { value, decimals = 0 }) => `${plain(100 * value, decimals)} %`,
  count: (_, { value }) => String(value),
};

const UNITS = {
  mm: (unit, { value, decimals }) => lengthIn(unit, value, decimals),
  deg: (_, { value, decimals = 1 }) => `${plain(value, decimals)}°`,
  px: (_, { value, decimals = 1 }) => `${plain(value, decimals)} px`,
};

/** One figure `{ value, unit, kind, decimals }` as words, lengths in `unit`. */
export function figureIn(unit, figure) {
  const written = KINDS[figure.kind] ?? UNITS[figure.unit];
  if (written) return written(unit, figure);
  return typeof figure.value === "number" && figure.unit ? `${figure.value} ${figure.unit}` : String(figure.value);
}

/**
 * A sentence with its figures put in: `The width of {width} is {over} too large.`
 *
 * `{{` and `}}` stand for single braces. A name without a figure is a fault of the sentence and throws.
 */
export function render(unit, template, figures = {}) {
  return template.replace(/\{\{|\}\}|\{([a-z][a-z0-9_]*)\}/gi, (found, name) => {
    if (name === undefined) return found[0];
    if (!Object.hasOwn(figures, name)) throw new Error(`no figure {${name}} for "${template}"`);
    return figureIn(unit, figures[name]);
  });
}

/** A place as words: a photo, a reading by its number, a point on the sheet or the part; "" for none. */
export function placeIn(unit, place) {
  if (!place) return "";
  const words = [];
  if (place.photo !== undefined) words.push(String(place.photo));
  if (place.reading !== undefined) words.push(`reading ${place.reading}`);
  if (place.mm !== undefined) words.push(`near ${figureIn(unit, { kind: "point", value: place.mm })}`);
  return words.join(", ");
}

/** Several of a noun: `1 photo`, `2 photos`. */
export const counted = (number, one, many = `${one}s`) => `${number} ${number === 1 ? one : many}`;
