// A cut through the board at the pocket's wall, to one scale in both directions. Millimetres, the wall at x = 0,
// the board's face at y = 0 as it is when the pocket is cut, y down.

const WOOD = 0.5; // of the shown width, left of the wall
const UNKNOWN_FLOOR = 6; // mm of wood drawn under the seat where the board's thickness is not known
const RATIO = 2; // of width to height

const polygon = (points) => `M${points.map(([x, y]) => `${+x.toFixed(4)} ${+y.toFixed(4)}`).join("L")}Z`;

/** The part's upper edge from its wall side: square, rounded by a radius or chamfered by a size. */
function upperEdge(x, top, { form, size }) {
  if (form === "edge_radius" && size > 0) return `M${x} ${top + size}A${size} ${size} 0 0 1 ${x + size} ${top}`;
  if (form === "edge_chamfer" && size > 0) return `M${x} ${top + size}L${x + size} ${top}`;
  return `M${x} ${top}`;
}

/**
 * What is drawn of a pocket and the part in it.
 *
 * `depth` is the plan's `{ pocket, above, floor }`, `gap` its `{ clearance, u95 }` in one direction; `edge` the
 * part's `{ form, size }`, `sanding` what is taken off the face afterwards.
 */
export function wallSection({ depth, gap, edge, sanding = 0 }) {
  const floor = depth.floor ?? UNKNOWN_FLOOR;
  const top = sanding - depth.above; // of the part
  const bottom = depth.pocket + floor;
  const height = bottom - Math.min(0, top);
  const width = RATIO * height;
  const [left, right] = [-WOOD * width, (1 - WOOD) * width];
  const x = gap.clearance;
  return {
    box: [left, Math.min(0, top), width, height],
    wood: polygon([
      [left, 0],
      [0, 0],
      [0, depth.pocket],
      [right, depth.pocket],
      [right, bottom],
      [left, bottom],
    ]),
    part: `${upperEdge(x, top, edge)}L${right} ${top}V${depth.pocket}H${x}Z`,
    band: { x: x - gap.u95, y: top, width: 2 * gap.u95, height: depth.pocket - top },
    face: sanding > 0 ? `M${left} ${sanding}H0` : "",
    top,
    bottom,
  };
}

/** The range that holds the real clearance with 95 % probability. */
export const clearanceRange = ({ clearance, u95 }) => [clearance - u95, clearance + u95];
