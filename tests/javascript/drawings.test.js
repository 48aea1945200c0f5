// The dimensioned drawings: stretches of the edge, the band of uncertainty, dimension lines, the section.

import assert from "node:assert/strict";
import { test } from "node:test";

import { boxFor, mainDimensions, pixelFor, shownArc } from "../../desk/page/static/geometry/dimension_lines.js";
import * as edge from "../../desk/page/static/geometry/outline_edge.js";
import { clearanceRange, wallSection } from "../../desk/page/static/geometry/section.js";

const near = (a, b, within = 1e-9) => assert.ok(Math.abs(a - b) <= within, `${a} is not within ${within} of ${b}`);

/** A rounded rectangle as the server sends it: counter-clockwise from the right side's front end. */
function rounded(length, width, r) {
  const [a, b] = [length / 2, width / 2];
  const corner = (cx, cy, from, to) => ({ kind: "arc", from, to, centre: [cx, cy], radius: r, sweep: Math.PI / 2 });
  const line = (from, to) => ({ kind: "line", from, to });
  return [
    line([a, r - b], [a, b - r]),
    corner(a - r, b - r, [a, b - r], [a - r, b]),
    line([a - r, b], [r - a, b]),
    corner(r - a, b - r, [r - a, b], [-a, b - r]),
    line([-a, b - r], [-a, r - b]),
    corner(r - a, r - b, [-a, r - b], [r - a, -b]),
    line([r - a, -b], [a - r, -b]),
    corner(a - r, r - b, [a - r, -b], [a, r - b]),
  ];
}

const part = rounded(100, 60, 10);
const perimeter = 2 * (80 + 40) + 2 * Math.PI * 10;

test("lengths along the outline are those of a rounded rectangle", () => {
  near(
    part.map(edge.segmentLength).reduce((a, b) => a + b),
    perimeter,
  );
  const { point, normal } = edge.pointOn(part[1], 0.5);
  near(point[0], 40 + 10 * Math.SQRT1_2);
  near(normal[1], Math.SQRT1_2);
  const back = edge.pointOn(part[2], 0.25);
  assert.deepEqual(back.point, [20, 30]);
  near(back.normal[0], 0);
  near(back.normal[1], 1);
});

test("a concave arc's normal points to its centre", () => {
  const bay = { kind: "arc", from: [10, 0], to: [0, 10], centre: [0, 0], radius: 10, sweep: -1.5 * Math.PI };
  const { normal } = edge.pointOn(bay, 0);
  near(normal[0], -1);
});

test("a stretch of the edge keeps its arcs and begins where it is told", () => {
  assert.equal(edge.stretchPath(part, 0, 40), "M50 20L50 -20");
  const d = edge.stretchPath(part, 30, 40 + 5 * Math.PI + 10);
  assert.equal(d, "M50 -10L50 -20A10 10 0 0 0 40 -30L30 -30");
  assert.equal(edge.stretchPath(part, 5, 5), "");
  const pieces = edge.stretchPath(part, 0, perimeter).match(/[LA]/g);
  assert.equal(pieces.join(""), "LALALALA");
});

test("seen stretches are joined across photos and over the outline's end", () => {
  const run = (from, to) => ({ position: Array.from({ length: to - from + 1 }, (_, i) => from + i) });
  const seen = edge.seenStretches([run(0, 50), run(40, 80), run(200, 300)], 302);
  assert.deepEqual(seen, [
    [0, 80],
    [200, 302],
  ]);
  assert.deepEqual(edge.between(seen, 302), [[80, 200]]);
  assert.deepEqual(edge.seenStretches([], 302), []);
  assert.deepEqual(edge.between([], 302), [[0, 302]]);
});

test("the edge's U95 is that of the sizes that move it, checked by moving them", () => {
  const sizes = { length: 0.8, width: 0.1, radius: 0.3 };
  near(edge.edgeU95([1, 0], sizes), 0.4);
  near(edge.edgeU95([0, -1], sizes), 0.05);
  // Numerically: where the corner's 45 degree point goes along its normal when each size grows by its U95.
  const support = (l, w, r) => {
    const { point } = edge.pointOn(rounded(l, w, r)[1], 0.5);
    return (point[0] + point[1]) * Math.SQRT1_2;
  };
  const moves = [support(100.8, 60, 10), support(100, 60.1, 10), support(100, 60, 10.3)];
  const by = moves.map((one) => one - support(100, 60, 10));
  near(edge.edgeU95([Math.SQRT1_2, Math.SQRT1_2], sizes), Math.hypot(...by), 1e-12);
});

test("the band is magnified to both sides of the edge", () => {
  const d = edge.uncertaintyBand(part, { length: 0.2, width: 0.4 }, 10);
  const [outer, inner] = d.split("Z");
  const reach = (text) => Math.max(...[...text.matchAll(/[ML]([-\d.]+) /g)].map(([, x]) => Number(x)));
  near(reach(outer), 51, 1e-3);
  near(reach(inner), 49, 1e-3);
  assert.equal(edge.magnification([2, 5, 10, 20], 0.4, 5), 10);
  assert.equal(edge.magnification([2, 5], 100, 5), 2);
});

test("the part with its dimensions fills the window", () => {
  const bounds = [-50, -30, 50, 30];
  const margins = { left: 60, right: 40, top: 20, bottom: 60 };
  const pixel = pixelFor(bounds, [600, 400], margins);
  near(pixel, 0.2);
  const box = boxFor(bounds, pixel, margins);
  assert.deepEqual(box, [-62, -34, 120, 76]);
  const { length, width } = mainDimensions(bounds, pixel);
  assert.equal(length.angle, 0);
  assert.equal(width.angle, -90);
  near(length.line[0][1], 30 + 34 * pixel);
  near(width.line[0][0], -50 - 34 * pixel);
  // Outside of a border that is drawn round the pocket.
  near(mainDimensions(bounds, pixel, [-80, -60, 80, 60]).length.line[0][1], 60 + 34 * pixel);
  assert.equal(shownArc(part), part[1]);
  assert.equal(shownArc([]), null);
});

test("the section is to one scale, the part on the seat", () => {
  const gap = { clearance: 0.4, u95: 0.1 };
  const given = { depth: { pocket: 5.5, above: 0.5, floor: 14 }, gap, edge: { form: "edge_radius", size: 0.8 } };
  const drawn = wallSection(given);
  assert.equal(drawn.top, -0.5);
  assert.equal(drawn.bottom, 19.5);
  assert.deepEqual(drawn.box, [-20, -0.5, 40, 20]);
  assert.match(drawn.part, /^M0.4 0.3\d*A0.8 0.8 0 0 1 1.2\d* -0.5L20 -0.5V5.5H0.4Z$/);
  near(drawn.band.x, 0.3);
  near(drawn.band.width, 0.2);
  assert.match(wallSection({ ...given, edge: { form: "edge_chamfer", size: 1 } }).part, /^M0.4 0.5L1.4 -0.5/);
  // Sanded by 0.3 mm afterwards, the part is that much lower in the face as it is cut.
  near(wallSection({ ...given, sanding: 0.3 }).top, -0.2);
  assert.equal(wallSection({ ...given, depth: { ...given.depth, floor: null } }).bottom, 11.5);
  assert.deepEqual(
    clearanceRange(gap).map((v) => v.toFixed(3)),
    ["0.300", "0.500"],
  );
});
