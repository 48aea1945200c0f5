// Pieces of a drawing that keep their size on the screen however it is enlarged: texts, arrows.

import { s } from "./dom.js";

const ARROW = "M0 0L-10 3.2V-3.2Z"; // CSS pixels, pointing right
const LINE_HEIGHT = 20; // CSS pixels

/** Children in CSS pixels about a point of the drawing, turned by an angle in degrees. */
export const fixed = ([x, y], angle, ...children) =>
  s("g.fixed", { "data-x": x, "data-y": y, "data-angle": angle }, children);

// Where the first line's foot lies below the point, CSS pixels.
const FOOT = {
  above: (count) => -8 - (count - 1) * LINE_HEIGHT,
  on: (count) => 5.5 - ((count - 1) * LINE_HEIGHT) / 2,
  below: () => 20,
};

/** Lines of text above, on or below a point, turned so that they are read from below or from the right. */
export function label(point, angle, lines, { anchor = "middle", place = "above" } = {}) {
  const upright = angle < -91 || angle > 90 ? angle + 180 : angle;
  const foot = FOOT[place](lines.length);
  const texts = lines.map((line, i) => s("text.label", { y: foot + i * LINE_HEIGHT, "text-anchor": anchor }, line));
  return fixed(point, upright, texts);
}

const CHARACTER = 9.2; // CSS pixels, about, of a label

/** The first of several wordings that fits into `room` CSS pixels, else the last. */
export const fitting = (wordings, room) => wordings.find((text) => text.length * CHARACTER <= room) ?? wordings.at(-1);

export const arrow = (point, angle) => fixed(point, angle, s("path.arrow", { d: ARROW }));

const line = ([a, b], kind) => s("path", { class: kind, d: `M${a.join(" ")}L${b.join(" ")}` });

/** A dimension with its extension lines, arrows and text. */
export function dimensionLine({ extensions, line: ends, middle, angle }, pixel, lines, options) {
  return [
    ...extensions(pixel).map((one) => line(one, "extension")),
    line(ends, "dimline"),
    arrow(ends[0], angle + 180),
    arrow(ends[1], angle),
    label(middle, angle, lines, options),
  ];
}

/** Keep those pieces, and the numbers over a photo, as large as the page's text. */
export function keepSizes(svg, numberPx = 26) {
  const scale = svg.getScreenCTM()?.a;
  if (!scale) return;
  for (const text of svg.querySelectorAll("text.number")) text.setAttribute("font-size", (numberPx / scale).toFixed(3));
  for (const one of svg.querySelectorAll("g.fixed")) {
    const { x, y, angle } = one.dataset;
    one.setAttribute("transform", `translate(${x} ${y}) rotate(${angle}) scale(${1 / scale})`);
  }
}
