// What was measured, drawn over its photo: pale under dark, so that it shows on any part.

import { picture } from "./contours.js";
import { path, pieces, places, ring } from "./geometry/curves.js";
import { s } from "./parts/dom.js";

const line = (d, kind) => s("path", { d, class: `over ${kind}` });
const twice = (d, dark, pale) => [line(d, pale), line(d, dark)];

function curve(one) {
  return pieces(one, (i) => (one.left_out[i] ? "gone" : "top")).flatMap(({ kind, points }) =>
    kind === "gone" ? twice(path(points), "gone", "gone-under") : twice(path(points), "top", "under"),
  );
}

function place({ region, numbers }) {
  const round = ring(region);
  const above = { x: round.cx, y: Math.max(round.cy - round.ry, 0), "text-anchor": "middle", dy: "0.9em" };
  return [
    s("ellipse", { ...round, class: "over place-under" }),
    s("ellipse", { ...round, class: "over place" }),
    s("text", { class: "number", ...above }, numbers.join(", ")),
  ];
}

/** Contour, markers, fitted outline and places of remarks as SVG elements. */
export function overlay(photo, contour, { fitted = false } = {}) {
  const drawn = [];
  if (contour) {
    const crossed = ([a, b, c, d]) => path([a, c]) + path([b, d]);
    drawn.push(
      ...twice(contour.markers_used.map((quad) => path(quad, true)).join(""), "top thinner", "under thinner"),
      ...twice(contour.markers_rejected.map(crossed).join(""), "top", "under"),
      ...contour.curves.flatMap(curve),
    );
    const outline = fitted ? (contour.outline_px ?? []) : [];
    if (outline.length) drawn.push(...twice(outline.map((points) => path(points)).join(""), "fitted", "fitted-under"));
  }
  return [...drawn, ...places(photo.notices ?? []).flatMap(place)];
}

/** The photo itself as an SVG image. */
export const photoImage = (photo, width) =>
  s("image", {
    class: "image",
    href: picture(photo, width),
    x: -0.5,
    y: -0.5,
    width: photo.width,
    height: photo.height,
    preserveAspectRatio: "none",
  });
