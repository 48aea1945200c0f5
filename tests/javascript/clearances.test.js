// Clearances with one number or two, and which pocket a drawing shows.

import assert from "node:assert/strict";
import { test } from "node:test";

import { curvePoints, nearestRung, placeOf } from "../../desk/page/static/geometry/chance_curve.js";
import { alongAxis, clearanceWords, pocketOf, shifted } from "../../desk/page/static/parts/clearances.js";

test("one number holds for both axes", () => {
  assert.equal(alongAxis(0.4, "width"), 0.4);
  assert.equal(alongAxis({ length: "0.6 mm", width: "0.4 mm" }, "width"), "0.4 mm");
  assert.equal(clearanceWords("mm", 0.4), "0.40 mm");
  assert.equal(clearanceWords("in", { length: 0.635, width: 0.254 }), "0.0250 in along, 0.0100 in across");
});

test("a drawing finds its own pocket's gaps and verdict", () => {
  const sheets = [0.4, { length: 0.6, width: 0.5 }, null].map((clearance, i) => ({ clearance, title: `sheet ${i}` }));
  const gap = (clearance, along) => ({ clearance, along, u95: 0.1 });
  const gaps = [gap(0.4, "length"), gap(0.4, "width"), gap(0.6, "length"), gap(0.5, "width")];
  const plan = { sheets, gaps, pockets: [{ state: "usable" }, { state: "good" }] };
  assert.deepEqual(pocketOf(plan, sheets[1]), { gaps: gaps.slice(2), verdict: { state: "good" } });
  assert.equal(pocketOf(plan, sheets[2]), null);
});

test("a clearance is put elsewhere in the form that it has", () => {
  assert.equal(shifted("0.3 mm", 0.35, "mm"), "0.35 mm");
  assert.equal(shifted("0.3 mm", 0.254, "in"), "0.0100 in");
  const both = { length: "0.60 mm", width: "0.80 mm" };
  assert.deepEqual(shifted(both, { length: 0.65, width: 0.85 }, "mm"), { length: "0.65 mm", width: "0.85 mm" });
});

test("the curve runs from tight to loose, what cannot be drawn at nil", () => {
  const rungs = [
    { clearance: 0, probability: null },
    { clearance: 0.05, probability: 0.5 },
    { clearance: 0.1, probability: 1 },
  ];
  assert.deepEqual(curvePoints(rungs), [
    [0, 40],
    [50, 20],
    [100, 0],
  ]);
  assert.equal(nearestRung(rungs, 0.07), 1);
  assert.equal(nearestRung(rungs, { length: 0.3, width: 0.09 }), 2);
  assert.equal(placeOf(rungs, 0.025), 25);
  assert.equal(placeOf(rungs, 7), 100);
});
