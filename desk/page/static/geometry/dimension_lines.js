// Dimension lines of a drawing, and the room that they need round it. Millimetres, y down.

export const MARGINS = { left: 74, right: 22, top: 22, bottom: 64 }; // CSS pixels
const OFFSET = 34; // of a dimension line from what is drawn, CSS pixels
const PAST = 6; // of an extension line beyond the dimension line, CSS pixels
const APART = 4; // of an extension line from the part, CSS pixels

/** Millimetres of a CSS pixel when `bounds` (y up) with its margins fill a window. */
export function pixelFor([x0, y0, x1, y1], [width, height], { left, right, top, bottom } = MARGINS) {
  const room = [Math.max(40, width - left - right), Math.max(40, height - top - bottom)];
  return Math.max((x1 - x0) / room[0], (y1 - y0) / room[1]);
}

/** The box to show: the part with its margins, y down. */
export function boxFor([x0, y0, x1, y1], pixel, { left, right, top, bottom } = MARGINS) {
  return [x0 - left * pixel, -y1 - top * pixel, x1 - x0 + (left + right) * pixel, y1 - y0 + (top + bottom) * pixel];
}

/** `{ extensions, line, ends, middle, angle }` of a dimension between two points, moved out by a vector. */
function dimension(a, b, [ox, oy]) {
  const moved = ([x, y]) => [x + ox, y + oy];
  const far = Math.hypot(ox, oy);
  const out = ([x, y], px, scale) => [x + (ox / far) * px * scale, y + (oy / far) * px * scale];
  const [p, q] = [moved(a), moved(b)];
  const angle = (Math.atan2(q[1] - p[1], q[0] - p[0]) * 180) / Math.PI;
  return {
    extensions: (pixel) => [
      [out(a, APART, pixel), out(p, PAST, pixel)],
      [out(b, APART, pixel), out(q, PAST, pixel)],
    ],
    line: [p, q],
    middle: [(p[0] + q[0]) / 2, (p[1] + q[1]) / 2],
    angle,
  };
}

/** Length below `bounds` (y up) and width left of them, outside of what else is drawn (`within`, y up). */
export function mainDimensions([x0, y0, x1, y1], pixel, within = [x0, y0, x1, y1]) {
  return {
    length: dimension([x0, -y0], [x1, -y0], [0, y0 - within[1] + OFFSET * pixel]),
    width: dimension([x0, -y0], [x0, -y1], [within[0] - x0 - OFFSET * pixel, 0]),
  };
}

/** The corner whose radius is written: the arc that lies furthest to the upper right; null without one. */
export function shownArc(segments) {
  const arcs = segments.filter(({ kind, sweep }) => kind === "arc" && sweep > 0);
  const reach = ({ centre: [x, y] }) => x + y;
  return arcs.reduce((best, arc) => (!best || reach(arc) > reach(best) ? arc : best), null);
}
