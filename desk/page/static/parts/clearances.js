// Clearances, one number for both axes of the part or one for each: in millimetres as the plan has them,
// or as the job's texts.

import { lengthIn, typedIn } from "./quantities.js";

/** The clearance along `length` or `width`; of texts, the text. */
export const alongAxis = (clearance, axis) => (typeof clearance === "object" ? clearance[axis] : clearance);

/** In words: `0.40 mm`, or `0.60 mm along, 0.40 mm across`. */
export function clearanceWords(unit, clearance) {
  if (typeof clearance !== "object") return lengthIn(unit, clearance);
  return `${lengthIn(unit, clearance.length)} along, ${lengthIn(unit, clearance.width)} across`;
}

/** A clearance of the job, `text`, put at one in millimetres: as it is typed, one number or two. */
export function shifted(text, clearance, unit) {
  if (typeof text !== "object") return typedIn(unit, clearance);
  return { length: typedIn(unit, alongAxis(clearance, "length")), width: typedIn(unit, alongAxis(clearance, "width")) };
}

/** What the plan says of a drawing's pocket: `{ gaps: [along, across], verdict }`; null for other drawings. */
export function pocketOf({ sheets, gaps, pockets }, sheet) {
  const number = sheets.filter(({ clearance }) => clearance !== null).findIndex(({ title }) => title === sheet.title);
  if (number < 0) return null;
  return { gaps: gaps.slice(2 * number, 2 * number + 2), verdict: pockets?.[number] ?? null };
}
