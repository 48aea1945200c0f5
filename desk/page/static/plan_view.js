// The outline from above, with the measured points' distances as an enlarged ribbon.

import { s } from "./parts/dom.js";

const GAP_MM = 3; // between neighbours; beyond it the ribbon is broken

/** Bounds and SVG children for the viewer; y down, as SVG counts. */
export function outlinePlan(outline, times) {
  const [x0, y0, x1, y1] = outline.bounds;
  const size = Math.max(x1 - x0, y1 - y0);
  const margin = Math.max(0.05 * size, Math.min(0.2 * size, outline.residual_max * times * 1.1));
  const bands = outline.along.flatMap((share) => ribbon(share, times, outline.perimeter));
  return [
    [x0 - margin, -y1 - margin, x1 - x0 + 2 * margin, y1 - y0 + 2 * margin],
    s("path", {
      class: "axis",
      d: `M${x0 - margin / 2} 0H${x1 + margin / 2}M0 ${-y0 + margin / 2}V${-y1 - margin / 2}`,
    }),
    ...bands.map((d) => s("path", { class: "band", d })),
    s("path", { class: "line", d: outline.d }),
  ];
}

/** One photo's ribbon: a closed band for each stretch without a gap. */
function ribbon({ position, residual, foot, normal }, times, perimeter) {
  const gap = Math.max(GAP_MM, (3 * perimeter) / 600);
  const bands = [];
  let base = [];
  let tips = [];
  const end = () => {
    if (base.length > 1) bands.push(`M${base.join("L")}L${tips.reverse().join("L")}Z`);
    base = [];
    tips = [];
  };
  position.forEach((place, i) => {
    if (i && place - position[i - 1] > gap) end();
    const [x, y] = foot[i];
    const [nx, ny] = normal[i];
    const far = residual[i] * times;
    base.push(`${x.toFixed(2)} ${(-y).toFixed(2)}`);
    tips.push(`${(x + nx * far).toFixed(2)} ${(-y - ny * far).toFixed(2)}`);
  });
  end();
  return bands;
}
