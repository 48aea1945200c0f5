// The sizes of an outline as rows: length, width, each corner size once for all corners that share it.

import { lengthIn, sizeIn } from "../parts/quantities.js";

const ANGLES = { taper: "Angle between the long sides", "end taper": "Angle between the ends", skew: "Out of square" };
const BOW = /^sag (.*)$/; // of a side, outwards positive

const from = (quantity) => (quantity.from?.length ? `from ${quantity.from.join(", ")}` : "");

function cornerRows(corners) {
  const alike = new Map();
  for (const { at, family, sizes, seen } of corners) {
    for (const [name, quantity] of Object.entries(sizes)) {
      const key = `${name}|${quantity.value}|${quantity.u95}`;
      if (!alike.has(key)) alike.set(key, { name, quantity, family, places: [], unseen: [] });
      alike.get(key).places.push(at);
      if (!seen) alike.get(key).unseen.push(at);
    }
  }
  return [...alike.values()].map(({ name, quantity, family, places, unseen }) => {
    const where = places.length === corners.length && places.length > 1 ? "all corners" : places.join(", ");
    const note = `${family}, ${where}${unseen.length ? `; in no photo: ${unseen.join(", ")}` : ""}`;
    return { of: `Corner ${name}`, quantity, note, kind: name === "exponent" ? "number" : "length" };
  });
}

function extraRow([name, quantity]) {
  const side = BOW.exec(name)?.[1];
  return {
    of: side ? `Bow of the ${side} side` : (ANGLES[name] ?? name),
    quantity,
    note: "",
    kind: side ? "length" : "angle",
  };
}

/** `[{ of, quantity: { value, u95 }, note, kind }]`, kind being `length`, `angle` (radians) or `number`. */
export function sizeRows({ length, width, thickness, corners, extras }) {
  const main = [
    ["Length", length],
    ["Width", width],
    ["Thickness", thickness],
  ];
  return [
    ...main
      .filter(([, quantity]) => quantity)
      .map(([of, quantity]) => ({ of, quantity, note: from(quantity), kind: "length" })),
    ...cornerRows(corners),
    ...Object.entries(extras ?? {}).map(extraRow),
  ];
}

const written = (unit, number, kind, asLength) => {
  if (kind === "angle") return `${((number * 180) / Math.PI).toFixed(2)}°`;
  return kind === "number" ? number.toFixed(3) : asLength(unit, number);
};

/** Value and U95 of a row as words. */
export const rowWords = (unit, { quantity: { value, u95 }, kind }) => ({
  value: written(unit, value, kind, sizeIn),
  u95: u95 > 0 ? `± ${written(unit, u95, kind, lengthIn)}` : "not known",
});
