// Lengths as people write them and as the page shows them; mm inside.

import { view } from "./view.js";

const MM_PER_INCH = 25.4;
const MM_PER_UNIT = { mm: 1, cm: 10, m: 1000, in: 25.4, inch: 25.4, inches: 25.4, '"': 25.4, "″": 25.4 };
const QUANTITY =
  /^\s*([-+]?)\s*(?:(?:(\d+)(?:\s+|\s*-\s*))?(\d+)\s*\/\s*(\d+)|(\d+(?:\.\d*)?|\.\d+))\s*([^\d\s].*?)?\s*$/;

/** Millimetres of a text with its unit, or null where the text is none. */
export function parseLength(text) {
  const match = QUANTITY.exec(text);
  if (!match) return null;
  const [, sign, whole, top, bottom, decimal, unit] = match;
  const factor = MM_PER_UNIT[unit];
  if (factor === undefined || Number(bottom) === 0) return null;
  const number = decimal !== undefined ? Number(decimal) : Number(whole ?? 0) + Number(top) / Number(bottom);
  return (sign === "-" ? -number : number) * factor;
}

/** The text with the unit in use added where it was left out: `9.5` means `9.5 mm` on this page. */
export function withUnit(text) {
  const trimmed = text.trim().replace(",", ".");
  const bare = /^[-+]?\s*(?:(?:\d+[\s-]+)?\d+\s*\/\s*\d+|\d+(?:\.\d*)?|\.\d+)$/;
  return bare.test(trimmed) ? `${trimmed} ${view.unit}` : trimmed;
}

/** Whether a typed length stands in the unit in use already, so that saying it again tells nothing. */
export const plainlyShown = (text) => (view.unit === "mm" ? /^[\d.]+ ?mm$/ : /^[\d.]+ ?in$/).test(text.trim());

/** A length in the unit in use. `decimals` are those in millimetres; inches take two more. */
export function length(mm, decimals = 2) {
  return view.unit === "mm" ? `${mm.toFixed(decimals)} mm` : `${(mm / MM_PER_INCH).toFixed(decimals + 2)} in`;
}

/** A length that is to be typed into a field: short, exact enough, in the unit in use. */
export function typed(mm) {
  const number = view.unit === "mm" ? mm.toFixed(2) : (mm / MM_PER_INCH).toFixed(4);
  return `${number} ${view.unit}`;
}

/** A measured value with the half width of its 95 % interval. */
export const measured = (size) => `${length(size.value)} ± ${length(size.u95)}`;

/** A sentence of the measurement, its lengths in the unit in use. */
export function inUnit(text) {
  if (view.unit === "mm") return text;
  return text.replace(/(-?\d+(?:\.(\d+))?) mm\b/g, (_, number, digits = "") => {
    return `${(Number(number) / MM_PER_INCH).toFixed(digits.length + 2)} in`;
  });
}
