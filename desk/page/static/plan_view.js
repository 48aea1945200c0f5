// The outline from above, with the measured points' distances as magnified bands.

import { deviationBands } from "./geometry/deviation_band.js";
import { s } from "./parts/dom.js";

/** Bounds and SVG children for the viewer; y down, as SVG counts. */
export function outlinePlan(outline, times) {
  const [x0, y0, x1, y1] = outline.bounds;
  const size = Math.max(x1 - x0, y1 - y0);
  const margin = Math.max(0.05 * size, Math.min(0.2 * size, outline.residual_max * times * 1.1));
  const bands = outline.along.flatMap((share) => deviationBands(share, times, outline.perimeter));
  const [left, top] = [x0 - margin / 2, -y1 - margin / 2];
  return [
    [x0 - margin, -y1 - margin, x1 - x0 + 2 * margin, y1 - y0 + 2 * margin],
    s("path", { class: "axis", d: `M${left} 0H${x1 + margin / 2}M0 ${-y0 + margin / 2}V${top}` }),
    ...bands.map((d) => s("path", { class: "band", d })),
    s("path", { class: "line", d: outline.d }),
  ];
}
