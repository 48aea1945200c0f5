// What the measured bars of a print say, at the field.

import assert from "node:assert/strict";
import { test } from "node:test";

import { barFault, printWords } from "../../desk/page/static/parts/print_scale.js";

const written = (mm) => `${mm} mm`;
const nominal = { x: 200, y: 120 };

test("a slip is refused with its likely cause, a printer's scale is not", () => {
  assert.match(barFault(19.917, 200, written), /about 200 mm: ten times too small\?/);
  assert.match(barFault(1991.7, 200, written), /ten times too large/);
  assert.match(barFault(7.84, 200, written), /inches typed as mm/);
  assert.match(barFault(199.2 * 25.4, 200, written), /mm typed as inches/);
  assert.match(barFault(160, 200, written), /Measure it again/);
  for (const mm of [170.1, 188, 199.17, 206]) assert.equal(barFault(mm, 200, written), "");
});

test("two bars must agree within 1 %", () => {
  assert.match(printWords({ x: 199.2, y: 112.8 }, nominal).fault, /bar x is 99.6 % .* bar y 94.0 %/);
  assert.equal(printWords({ x: 199.2, y: 120.3 }, nominal).fault, "");
  assert.deepEqual(printWords({ x: 199.2, y: null }, nominal), { fault: "", note: "" });
});

test("a print at 94 % is explained and may be used", () => {
  const { fault, note } = printWords({ x: 188, y: 112.9 }, nominal);
  assert.equal(fault, "");
  assert.match(note, /fitted to the page.* At 94\.\d %/);
  assert.equal(printWords({ x: 199.2, y: 120.3 }, nominal).note, "");
});
