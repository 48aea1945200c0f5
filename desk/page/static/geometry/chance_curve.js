// The probability that a part goes in, over the clearance, as a curve in a box of 100 by 40.

import { s } from "../parts/dom.js";

const [WIDTH, HEIGHT] = [100, 40];

/** The least gap of a clearance: one number, or one for each axis. */
export const least = (clearance) =>
  typeof clearance === "object" ? Math.min(clearance.length, clearance.width) : clearance;

/** The place of the rung next to a clearance. */
export function nearestRung(rungs, clearance) {
  const away = rungs.map((rung) => Math.abs(least(rung.clearance) - least(clearance)));
  return away.indexOf(Math.min(...away));
}

/** Points of the curve; a clearance that cannot be drawn counts as nil. */
export const curvePoints = (rungs) =>
  rungs.map(({ probability }, i) => [(WIDTH * i) / (rungs.length - 1), HEIGHT * (1 - (probability ?? 0))]);

/** Where on the scale a clearance lies, 0 to 100. */
export function placeOf(rungs, clearance) {
  const [low, high] = [least(rungs[0].clearance), least(rungs.at(-1).clearance)];
  return WIDTH * Math.min(1, Math.max(0, (clearance - low) / (high - low)));
}

/** The curve, what is suggested as a dashed box, and where it is now. */
export function chanceCurve(rungs, now, suggested) {
  const points = curvePoints(rungs).map(([x, y]) => `${x.toFixed(2)} ${y.toFixed(2)}`);
  const [from, to] = (suggested ?? [0, 0]).map((mm) => placeOf(rungs, mm));
  const x = (WIDTH * now) / (rungs.length - 1);
  return [
    s("path", { class: "area", d: `M0 ${HEIGHT}L${points.join("L")}L${WIDTH} ${HEIGHT}Z` }),
    s("rect", { class: "offered", x: from, y: 0, width: Math.max(0, to - from), height: HEIGHT }),
    s("path", { class: "curve", d: `M${points.join("L")}` }),
    s("path", { class: "here", d: `M${x.toFixed(2)} 0V${HEIGHT}` }),
  ];
}
