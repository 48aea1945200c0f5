// What was measured, drawn over its photo: pale under dark, so that it shows on any part.

import { s } from "./parts/dom.js";
import { picture } from "./contours.js";

const path = (points, closed) =>
  points.length ? `M${points.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L")}${closed ? "Z" : ""}` : "";

/** The pieces of a curve: split at its gaps and wherever a point's class changes. */
function pieces(curve, classOf) {
  const found = [];
  const breaks = new Set(curve.breaks);
  let now = null;
  curve.px.forEach((point, i) => {
    const kind = classOf(i);
    if (!now || breaks.has(i)) now = { kind, points: [] };
    else if (kind !== now.kind) {
      now.points.push(point);
      now = { kind, points: [] };
    } else {
      now.points.push(point);
      return;
    }
    now.points.push(point);
    found.push(now);
  });
  if (curve.closed && found.length && curve.px.length) found.at(-1).points.push(curve.px[0]);
  return found;
}

/** The places that remarks name, each with all its numbers; places that overlap mostly are one. */
function placesOf(notices) {
  const found = [];
  for (const { region, number } of notices) {
    if (!region) continue;
    const middle = ([left, top, right, bottom]) => [
      (left + right) / 2,
      (top + bottom) / 2,
      Math.max(right - left, bottom - top),
    ];
    const [x, y, size] = middle(region);
    const known = found.find(([place]) => {
      const [kx, ky, ksize] = middle(place);
      return Math.hypot(x - kx, y - ky) < 0.3 * Math.max(size, ksize);
    });
    if (known) {
      known[1].push(number);
      known[0] = known[0].map((v, i) => (i < 2 ? Math.min(v, region[i]) : Math.max(v, region[i])));
    } else found.push([region, [number]]);
  }
  return found;
}

/** Contour, markers, fitted outline and places of remarks as SVG elements. */
export function overlay(photo, contour, { fitted = false } = {}) {
  const drawn = [];
  const twice = (d, dark, pale) =>
    drawn.push(s("path", { d, class: `over ${pale}` }), s("path", { d, class: `over ${dark}` }));
  if (contour) {
    twice(contour.markers_used.map((quad) => path(quad, true)).join(""), "top thinner", "under thinner");
    twice(contour.markers_rejected.map(([a, b, c, d]) => path([a, c]) + path([b, d])).join(""), "top", "under");
    for (const curve of contour.curves) {
      const parts = pieces(curve, (i) => (curve.left_out[i] ? "gone" : "top"));
      for (const { kind, points } of parts) {
        if (kind === "gone") {
          drawn.push(
            s("path", { d: path(points), class: "over gone-under" }),
            s("path", { d: path(points), class: "over gone" }),
          );
        } else twice(path(points), "top", "under");
      }
    }
    if (fitted && contour.outline_px) {
      twice(contour.outline_px.map((line) => path(line)).join(""), "fitted", "fitted-under");
    }
  }
  for (const [place, numbers] of placesOf(photo.notices ?? [])) {
    const [left, top, right, bottom] = place;
    const round = {
      cx: (left + right) / 2,
      cy: (top + bottom) / 2,
      rx: Math.max((right - left) * 0.6, 60),
      ry: Math.max((bottom - top) * 0.6, 60),
    };
    drawn.push(s("ellipse", { ...round, class: "over place-under" }), s("ellipse", { ...round, class: "over place" }));
    drawn.push(
      s(
        "text",
        { x: round.cx, y: Math.max(round.cy - round.ry, 0), class: "number", "text-anchor": "middle", dy: "0.9em" },
        numbers.join(", "),
      ),
    );
  }
  return drawn;
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

/** Keep the numbers of an SVG as large as the page's text, however it is enlarged. */
export function sizeNumbers(svg) {
  const scale = svg.getScreenCTM()?.a;
  if (!scale) return;
  const pixel = 1 / scale;
  for (const text of svg.querySelectorAll("text")) text.setAttribute("font-size", (26 * pixel).toFixed(2));
}
