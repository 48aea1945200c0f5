// Lengths and angles as people write them, and as the page shows them; mm and degrees inside.

import { lengthIn, sizeIn, typedIn } from "./quantities.js";
import { view } from "./view.js";

const MM_PER_UNIT = { mm: 1, cm: 10, m: 1000, in: 25.4, inch: 25.4, inches: 25.4, '"': 25.4, "″": 25.4 };
const DEG_PER_UNIT = { deg: 1, "°": 1, rad: 180 / Math.PI };
const NUMBER = String.raw`(?:(?:(\d+)(?:\s+|\s*-\s*))?(\d+)\s*\/\s*(\d+)|(\d+(?:\.\d*)?|\.\d+))`;
const QUANTITY = new RegExp(String.raw`^\s*([-+]?)\s*${NUMBER}\s*([^\d\s].*?)?\s*$`);
const BARE = new RegExp(String.raw`^[-+]?\s*${NUMBER}$`);

function parse(text, units) {
  const match = QUANTITY.exec(text);
  if (!match) return null;
  const [, sign, whole, top, bottom, decimal, unit] = match;
  const factor = Object.hasOwn(units, unit ?? "") ? units[unit] : undefined;
  if (factor === undefined || Number(bottom) === 0) return null;
  const number = decimal !== undefined ? Number(decimal) : Number(whole ?? 0) + Number(top) / Number(bottom);
  return (sign === "-" ? -number : number) * factor;
}

/** Millimetres of a text with its unit, or null where the text is not a length. */
export const parseLength = (text) => parse(text, MM_PER_UNIT);

/** Degrees of a text with its unit, or null where the text is not an angle. */
export const parseAngle = (text) => parse(text, DEG_PER_UNIT);

const completed = (text, unit) => {
  const trimmed = text.trim().replace(",", ".");
  return BARE.test(trimmed) ? `${trimmed} ${unit}` : trimmed;
};

/** The text with the unit shown added where it was left out: `9.5` means `9.5 mm` on this page. */
export const withUnit = (text) => completed(text, view.unit);

/** The text with degrees added where the unit was left out: `0.5` means `0.5 deg`. */
export const withDegrees = (text) => completed(text, "deg");

/** Whether a typed length is in the unit shown already, so that there is nothing to convert. */
export const plainlyShown = (text) => (view.unit === "mm" ? /^[\d.]+ ?mm$/ : /^[\d.]+ ?in$/).test(text.trim());

/** A length in the unit shown. `decimals` are those in millimetres; inches take two more. */
export const length = (mm, decimals = 2) => lengthIn(view.unit, mm, decimals);

/** A size in the unit shown, in inches with its fraction. */
export const size = (mm, decimals = 2) => sizeIn(view.unit, mm, decimals);

/** A length that is to be typed into a field: short, exact enough, in the unit shown. */
export const typed = (mm) => typedIn(view.unit, mm);
