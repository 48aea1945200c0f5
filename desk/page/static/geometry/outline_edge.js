// The outline as segments `{ kind, from, to, centre, radius, sweep }`, walked by the length along it.
// Part axes, y up, counter-clockwise; path data has y down, as SVG counts.

const GAP_MM = 3; // between neighbouring measured points; beyond it the edge was not seen
const SHOWN = 600; // points of a photo at most, as the server thins them
const BAND_STEP = 1.5; // degrees of an arc between two points of a band

const number = (v) => (Math.abs(v) < 5e-5 ? "0" : String(Number(v.toFixed(4))));
const at = ([x, y]) => `${number(x)} ${number(-y)}`;

/** Largest gap between thinned points that still counts as seen. */
export const seenGap = (perimeter) => Math.max(GAP_MM, (3 * perimeter) / SHOWN);

export function segmentLength(segment) {
  if (segment.kind === "arc") return segment.radius * Math.abs(segment.sweep);
  return Math.hypot(segment.to[0] - segment.from[0], segment.to[1] - segment.from[1]);
}

/** Point and outward normal of a segment at a share (0 to 1) of its length. */
export function pointOn(segment, share) {
  const { from, to } = segment;
  if (segment.kind !== "arc") {
    const [dx, dy] = [to[0] - from[0], to[1] - from[1]];
    const length = Math.hypot(dx, dy) || 1;
    return { point: [from[0] + share * dx, from[1] + share * dy], normal: [dy / length, -dx / length] };
  }
  const [cx, cy] = segment.centre;
  const angle = Math.atan2(from[1] - cy, from[0] - cx) + share * segment.sweep;
  const way = [Math.cos(angle), Math.sin(angle)];
  const out = Math.sign(segment.sweep); // a concave arc's normal points to its centre
  return { point: [cx + segment.radius * way[0], cy + segment.radius * way[1]], normal: [out * way[0], out * way[1]] };
}

/** Segments with where each begins along the outline. */
function placed(segments) {
  let start = 0;
  return segments.map((segment) => {
    const length = segmentLength(segment);
    start += length;
    return { segment, start: start - length, length };
  });
}

/** Path data of the outline between two lengths along it; exact, arcs stay arcs. */
export function stretchPath(segments, from, to) {
  let d = "";
  for (const { segment, start, length } of placed(segments)) {
    const low = Math.max(from, start);
    const high = Math.min(to, start + length);
    if (high - low <= 1e-9) continue;
    const [a, b] = [low, high].map((s) => (s - start) / length);
    if (!d) d = `M${at(pointOn(segment, a).point)}`;
    const end = at(pointOn(segment, b).point);
    if (segment.kind === "arc") {
      const large = Math.abs(segment.sweep) * (b - a) > Math.PI ? 1 : 0;
      d += `A${number(segment.radius)} ${number(segment.radius)} 0 ${large} ${segment.sweep > 0 ? 0 : 1} ${end}`;
    } else d += `L${end}`;
  }
  return d;
}

/** Stretches `[from, to]` of the outline that some photo saw, by the positions of its measured points. */
export function seenStretches(along, perimeter) {
  const gap = seenGap(perimeter);
  const all = along.flatMap(({ position }) => position).sort((a, b) => a - b);
  const found = [];
  for (const s of all) {
    if (found.length && s - found.at(-1)[1] <= gap) found.at(-1)[1] = s;
    else found.push([s, s]);
  }
  if (!found.length) return [];
  // The outline is closed: its end may be the beginning of the first stretch.
  if (found[0][0] + perimeter - found.at(-1)[1] <= gap) {
    found[0][0] = 0;
    found.at(-1)[1] = perimeter;
  }
  return found.filter(([a, b]) => b > a);
}

/** What lies between stretches. */
export function between(stretches, perimeter) {
  const ends = [0, ...stretches.flat(), perimeter];
  const found = [];
  for (let i = 0; i < ends.length; i += 2) if (ends[i + 1] - ends[i] > 1e-6) found.push([ends[i], ends[i + 1]]);
  return found;
}

/**
 * U95 of the edge along its normal, to first order, from the U95 of the sizes, independent of each other.
 *
 * The part is centred, so each end carries half of what the length is uncertain by, each side half of the
 * width's; a corner's radius r moves an edge of normal (nx, ny) by (1 - |nx| - |ny|) dr.
 */
export function edgeU95([nx, ny], { length, width, radius = 0 }) {
  return Math.hypot((nx * length) / 2, (ny * width) / 2, (1 - Math.abs(nx) - Math.abs(ny)) * radius);
}

/** The band in which the edge lies, magnified, as path data of two closed lines (fill rule evenodd). */
export function uncertaintyBand(segments, sizes, times) {
  const [outer, inner] = [[], []];
  for (const segment of segments) {
    const steps = segment.kind === "arc" ? Math.ceil((Math.abs(segment.sweep) * 180) / Math.PI / BAND_STEP) : 1;
    for (let i = 0; i <= steps; i++) {
      const { point, normal } = pointOn(segment, i / steps);
      const off = times * edgeU95(normal, sizes);
      outer.push(at(point.map((v, axis) => v + off * normal[axis])));
      inner.push(at(point.map((v, axis) => v - off * normal[axis])));
    }
  }
  return `M${outer.join("L")}ZM${inner.join("L")}Z`;
}

/** The magnification among `choices` that shows `largest` best: the greatest that stays below `room`. */
export const magnification = (choices, largest, room) =>
  choices.filter((times) => times * largest <= room).at(-1) ?? choices[0];
