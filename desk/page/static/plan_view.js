// The outline from above as a dimensioned drawing: sizes with their U95, what was seen and what was not, and a
// magnified band of how sure the edge is or of how far the measured points lie from it.

import { deviationBands } from "./geometry/deviation_band.js";
import { boxFor, mainDimensions, pixelFor, shownArc } from "./geometry/dimension_lines.js";
import {
  between,
  magnification,
  pointOn,
  seenStretches,
  stretchPath,
  uncertaintyBand,
} from "./geometry/outline_edge.js";
import { s } from "./parts/dom.js";
import { arrow, dimensionLine, fitting, label } from "./parts/drawn.js";
import { sizeWordings } from "./parts/quantities.js";

export const TIMES = [2, 5, 10, 20, 50, 100, 200, 500];
const ROOM = 0.03; // of the part's larger side: how far a magnified band may reach

const OVER = 90; // CSS pixels by which a text may be longer than its line

const largerSide = ([x0, y0, x1, y1]) => Math.max(x1 - x0, y1 - y0);

/** U95 of the sizes that move the edge; the corners' radius where they share one. */
export function edgeSizes({ length, width, corners }) {
  const radii = corners.map(({ sizes }) => sizes.radius?.u95 ?? 0);
  return { length: length.u95, width: width.u95, radius: Math.max(0, ...radii) };
}

/** The magnification that shows a band well. */
export function fittingTimes(outline, band) {
  const { length, width } = edgeSizes(outline);
  const largest = band === "deviation" ? outline.residual_max : Math.max(length, width) / 2;
  return magnification(TIMES, largest, ROOM * largerSide(outline.bounds));
}

function bandPaths(outline, band, times) {
  if (band === "deviation") return outline.along.flatMap((share) => deviationBands(share, times, outline.perimeter));
  return [uncertaintyBand(outline.segments, edgeSizes(outline), times)];
}

function edge({ segments, along, perimeter }) {
  const seen = seenStretches(along, perimeter);
  const paths = (stretches) => stretches.map(([a, b]) => stretchPath(segments, a, b)).join("");
  return [
    s("path", { class: "line", d: paths(seen) }),
    s("path", { class: "line inferred", d: paths(between(seen, perimeter)) }),
  ];
}

/** The radius of a corner with a leader to its arc. */
function radius(outline, unit, room) {
  const arc = shownArc(outline.segments);
  const shared = outline.corners.find(({ sizes }) => Math.abs((sizes.radius?.value ?? -1) - arc?.radius) < 0.01);
  if (!arc || !shared) return [];
  const [{ point }, [cx, cy]] = [pointOn(arc, 0.5), arc.centre];
  const angle = (Math.atan2(-(point[1] - cy), point[0] - cx) * 180) / Math.PI;
  const all = outline.corners.every(({ sizes }) => sizes.radius?.value === shared.sizes.radius.value);
  const tail = all && outline.corners.length > 1 ? ", all" : "";
  const words = fitting(
    sizeWordings(unit, shared.sizes.radius).map((text) => `R ${text}${tail}`),
    room,
  );
  return [
    s("path", { class: "dimline", d: `M${cx} ${-cy}L${point[0]} ${-point[1]}` }),
    arrow([point[0], -point[1]], angle),
    label([cx, -cy], 0, [words], { anchor: "end", place: "on" }),
  ];
}

/** Bounds and SVG children for a viewer of `size` CSS pixels; y down, as SVG counts. */
export function outlinePlan(outline, { band, times, unit, size }) {
  const [x0, y0, x1, y1] = outline.bounds;
  const pixel = pixelFor(outline.bounds, size);
  const { length, width } = mainDimensions(outline.bounds, pixel);
  const [long, wide] = [(x1 - x0) / pixel, (y1 - y0) / pixel];
  const sizes = () => [
    ...radius(outline, unit, long * 0.8),
    ...dimensionLine(length, pixel, [fitting(sizeWordings(unit, outline.length), long + OVER)], { place: "below" }),
    ...dimensionLine(width, pixel, [fitting(sizeWordings(unit, outline.width), wide + OVER)]),
  ];
  return [
    boxFor(outline.bounds, pixel),
    s("path", { class: "axis", d: `M${x0} 0H${x1}M0 ${-y0}V${-y1}` }),
    ...bandPaths(outline, band, times).map((d) => s("path", { class: "band", d, "fill-rule": "evenodd" })),
    ...edge(outline),
    ...(outline.has_sizes === false ? [] : sizes()),
  ];
}
