// Clearances with one number or two, and which pocket a drawing shows.

import assert from "node:assert/strict";
import { test } from "node:test";

import { alongAxis, clearanceWords, pocketOf } from "../../desk/page/static/parts/clearances.js";

test("one number holds for both axes", () => {
  assert.equal(alongAxis(0.4, "width"), 0.4);
  assert.equal(alongAxis({ length: "0.6 mm", width: "0.4 mm" }, "width"), "0.4 mm");
  assert.equal(clearanceWords("mm", 0.4), "0.40 mm");
  assert.equal(clearanceWords("in", { length: 0.635, width: 0.254 }), "0.0250 in along, 0.0100 in across");
});

test("a drawing finds its own pocket's gaps and verdict", () => {
  const sheets = [0.4, { length: 0.6, width: 0.5 }, null].map((clearance) => ({ clearance }));
  const gap = (clearance, along) => ({ clearance, along, u95: 0.1 });
  const gaps = [gap(0.4, "length"), gap(0.4, "width"), gap(0.6, "length"), gap(0.5, "width")];
  const plan = { sheets, gaps, pockets: [{ state: "usable" }, { state: "good" }] };
  assert.deepEqual(pocketOf(plan, sheets[1]), { gaps: gaps.slice(2), verdict: { state: "good" } });
  assert.equal(pocketOf(plan, sheets[2]), null);
});
