// Measured curves and places of a photo, in its pixels, as pieces to draw.

/** SVG path data through points. */
export const path = (points, closed) =>
  points.length ? `M${points.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L")}${closed ? "Z" : ""}` : "";

/**
 * A curve split at its breaks and wherever a point's class changes: `[{ kind, points }]`.
 *
 * A piece ends with the first point of the next one, so that no gap shows between two classes.
 */
export function pieces({ px, breaks, closed }, classOf) {
  const found = [];
  const broken = new Set(breaks);
  let now = null;
  px.forEach((point, i) => {
    const kind = classOf(i);
    if (now && !broken.has(i)) now.points.push(point);
    if (!now || broken.has(i) || kind !== now.kind) {
      now = { kind, points: [point] };
      found.push(now);
    }
  });
  if (closed && found.length && !broken.has(0)) found.at(-1).points.push(px[0]);
  return found;
}

const SAME = 0.3; // of the larger region's size between two middles: they name one place

const middle = ([left, top, right, bottom]) => [(left + right) / 2, (top + bottom) / 2];
const sizeOf = ([left, top, right, bottom]) => Math.max(right - left, bottom - top);

function samePlace(a, b) {
  const [[ax, ay], [bx, by]] = [middle(a), middle(b)];
  return Math.hypot(ax - bx, ay - by) < SAME * Math.max(sizeOf(a), sizeOf(b));
}

const union = (a, b) => [Math.min(a[0], b[0]), Math.min(a[1], b[1]), Math.max(a[2], b[2]), Math.max(a[3], b[3])];

/** The regions that remarks name: `[{ region, numbers }]`; regions that mostly overlap are one. */
export function places(notices) {
  const found = [];
  for (const { region, number } of notices) {
    if (!region) continue;
    const known = found.find((one) => samePlace(region, one.region));
    if (known) {
      known.numbers.push(number);
      known.region = union(known.region, region);
    } else found.push({ region, numbers: [number] });
  }
  return found;
}

const LEAST_RADIUS = 60; // px of the photo, so that a speck is still circled

/** The ellipse drawn round a region. */
export const ring = (region) => {
  const [left, top, right, bottom] = region;
  const [cx, cy] = middle(region);
  return { cx, cy, rx: Math.max((right - left) * 0.6, LEAST_RADIUS), ry: Math.max((bottom - top) * 0.6, LEAST_RADIUS) };
};

// ---- going along a measured curve

/** The point of an outer curve that lies furthest from the outline, `{ curve, at }`; null without residuals. */
export function furthest(curves) {
  const curve = curves.find(({ residual, outer }) => outer && residual);
  if (!curve) return null;
  const off = (i) => (curve.left_out[i] ? -1 : Math.abs(curve.residual[i]));
  let at = 0;
  for (let i = 1; i < curve.px.length; i++) if (off(i) > off(at)) at = i;
  return { curve, at };
}

/** The measured point nearest to a place of the photo, within `far` pixels of it; null where there is none. */
export function nearest(curves, [x, y], far) {
  let best = null;
  let least = far;
  for (const curve of curves) {
    curve.px.forEach(([px, py], at) => {
      const apart = Math.hypot(px - x, py - y);
      if (apart < least) {
        least = apart;
        best = { curve, at };
      }
    });
  }
  return best;
}

/** The number of the point `far` pixels along a curve, forwards (1) or back (-1); it stops at an open end. */
export function along(curve, from, way, far) {
  const count = curve.px.length;
  let at = from;
  let travelled = 0;
  for (let i = 0; i < count && travelled < far; i++) {
    const next = curve.closed ? (at + way + count) % count : Math.min(count - 1, Math.max(0, at + way));
    if (next === at) break;
    travelled += Math.hypot(curve.px[next][0] - curve.px[at][0], curve.px[next][1] - curve.px[at][1]);
    at = next;
  }
  return at;
}
