// What is drawn over photos and from above, and what a viewer shows of it.

import assert from "node:assert/strict";
import { test } from "node:test";

import { along, furthest, nearest, path, pieces, places, ring } from "../../desk/page/static/geometry/curves.js";
import { deviationBands } from "../../desk/page/static/geometry/deviation_band.js";
import { sheetDrawing } from "../../desk/page/static/geometry/sheet.js";
import { about, centre, enlarged, filled, moved, reshaped } from "../../desk/page/static/geometry/view_box.js";

const line = (count) => Array.from({ length: count }, (_, i) => [10 * i, 0]);
const square = {
  px: [
    [0, 0],
    [10, 0],
    [10, 10],
    [0, 10],
  ],
  breaks: [],
  closed: true,
  left_out: [0, 0, 0, 0],
};

test("a curve is split at its breaks and where its class changes, without a gap between classes", () => {
  const curve = { px: line(6), breaks: [4], closed: false };
  const found = pieces(curve, (i) => (i === 2 ? "gone" : "top"));
  assert.deepEqual(
    found.map(({ kind, points }) => [kind, points.map(([x]) => x / 10)]),
    [
      ["top", [0, 1, 2]],
      ["gone", [2, 3]],
      ["top", [3]],
      ["top", [4, 5]],
    ],
  );
});

test("a closed curve ends where it began, but not over a gap", () => {
  const [one] = pieces(square, () => "top");
  assert.deepEqual(one.points.at(-1), [0, 0]);
  assert.equal(one.points.length, 5);
  const [open] = pieces({ ...square, breaks: [0] }, () => "top");
  assert.equal(open.points.length, 4);
});

test("path data", () => {
  assert.equal(
    path(
      [
        [0, 1],
        [2.26, 3],
      ],
      true,
    ),
    "M0.0 1.0L2.3 3.0Z",
  );
  assert.equal(path([]), "");
});

test("regions that mostly overlap are one place with both numbers", () => {
  const found = places([
    { number: 1, region: [0, 0, 100, 100] },
    { number: 2, region: null },
    { number: 3, region: [10, 0, 110, 100] },
    { number: 4, region: [500, 0, 600, 100] },
  ]);
  assert.deepEqual(found, [
    { region: [0, 0, 110, 100], numbers: [1, 3] },
    { region: [500, 0, 600, 100], numbers: [4] },
  ]);
  assert.deepEqual(ring([0, 0, 10, 400]), { cx: 5, cy: 200, rx: 60, ry: 240 });
});

test("the largest error is found among points that are in the fit", () => {
  const curve = { ...square, outer: true, residual: [0.1, -0.4, 0.2, 9], left_out: [0, 0, 0, 1] };
  assert.deepEqual(furthest([{ ...square, outer: false }, curve]), { curve, at: 1 });
  assert.equal(furthest([{ ...square, outer: true, residual: null }]), null);
});

test("a tap finds the nearest point within reach", () => {
  assert.equal(nearest([square], [9, 1], 5).at, 1);
  assert.equal(nearest([square], [50, 50], 5), null);
});

test("going along a curve wraps round a closed one and stops at an open end", () => {
  assert.equal(along(square, 3, 1, 15), 1);
  assert.equal(along(square, 0, -1, 5), 3);
  assert.equal(along({ px: line(4), closed: false }, 2, 1, 1000), 3);
});

test("deviations are magnified along the normal, y down, broken over a gap", () => {
  const share = {
    position: [0, 1, 10, 11],
    residual: [0.01, -0.02, 0, 0.03],
    foot: [
      [0, 5],
      [1, 5],
      [10, 5],
      [11, 5],
    ],
    normal: [
      [0, 1],
      [0, 1],
      [0, 1],
      [0, 1],
    ],
  };
  assert.deepEqual(deviationBands(share, 100, 100), [
    "M0.00 -5.00L1.00 -5.00L1.00 -3.00L0.00 -6.00Z",
    "M10.00 -5.00L11.00 -5.00L11.00 -8.00L10.00 -5.00Z",
  ]);
  // With few points round a long outline the gap grows with it.
  assert.equal(deviationBands(share, 100, 2000).length, 1);
});

test("a box fills its window about its middle", () => {
  assert.deepEqual(filled([0, 0, 100, 100], 2), [-50, 0, 200, 100]);
  assert.deepEqual(filled([0, 0, 100, 100], 0.5), [0, -50, 100, 200]);
  assert.deepEqual(centre(filled([3, 4, 10, 20], 3)), centre([3, 4, 10, 20]));
});

test("enlarging keeps the point under the finger and the limits", () => {
  const box = enlarged([0, 0, 100, 50], 2, [20, 10], [1, 400]);
  assert.deepEqual(box, [10, 5, 50, 25]);
  assert.equal((20 - box[0]) / box[2], 0.2);
  assert.equal(enlarged([0, 0, 100, 50], 1000, [0, 0], [4, 400])[2], 4);
  assert.equal(enlarged([0, 0, 100, 50], 0.01, [0, 0], [4, 400])[2], 400);
  assert.deepEqual(moved([0, 0, 4, 3], 1, -1), [1, -1, 4, 3]);
  assert.deepEqual(reshaped([0, 0, 100, 50], 1), [0, -25, 100, 100]);
  assert.deepEqual(about([10, 10], 4, 2), [8, 9, 4, 2]);
});

test("the sheet's bars are drawn at their own lengths, its markers on the paper", () => {
  const a3 = {
    sheet: [420, 297],
    window: [
      [45, 45],
      [375, 45],
      [375, 252],
      [45, 252],
    ],
    bars: { x: 300, y: 180 },
  };
  for (const given of [undefined, a3]) {
    const drawn = sheetDrawing(given);
    const [w, t] = drawn.size;
    const { x, y } = given?.bars ?? { x: 200, y: 120 };
    assert.match(drawn.barX, new RegExp(`h${x}m`));
    assert.match(drawn.barY, new RegExp(`v-${y}m`));
    for (const [, mx, my, size] of drawn.markers.matchAll(/M([\d.]+) ([\d.]+)h([\d.]+)/g)) {
      assert.ok(Number(mx) + Number(size) <= w && Number(my) + Number(size) <= t);
    }
  }
});
