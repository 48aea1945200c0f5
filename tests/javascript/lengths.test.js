// Lengths, angles and fractions: what is typed, and what is shown of it.

import assert from "node:assert/strict";
import { beforeEach, test } from "node:test";

import {
  length,
  parseAngle,
  parseLength,
  size,
  typed,
  withDegrees,
  withUnit,
} from "../../desk/page/static/parts/lengths.js";
import {
  counted,
  figureIn,
  fraction,
  lengthIn,
  render,
  sentenceIn,
  sentencesIn,
  sixtyFourths,
  sizeIn,
} from "../../desk/page/static/parts/quantities.js";
import { duration, timeRow } from "../../desk/page/static/parts/times.js";
import { view } from "../../desk/page/static/parts/view.js";

beforeEach(() => {
  view.unit = "mm";
});

const near = (a, b, within = 1e-9) => assert.ok(Math.abs(a - b) <= within, `${a} is not within ${within} of ${b}`);

test("lengths as people write them", () => {
  // NIST Special Publication 811 (2008), appendix B.8: one inch is exactly 25.4 mm.
  near(parseLength("1 in"), 25.4);
  near(parseLength("16 7/16 in"), 417.5125);
  near(parseLength('7-3/16"'), 182.5625);
  near(parseLength("3/8 in"), 9.525);
  near(parseLength(".5 in"), 12.7);
  near(parseLength("95 cm"), 950);
  near(parseLength("-0.5 mm"), -0.5);
  for (const text of ["", "9.5", "mm", "1/0 in", "5 ft", "abc mm", "1 2 3 mm", "5 constructor"]) {
    assert.equal(parseLength(text), null, text);
  }
});

test("angles as people write them", () => {
  near(parseAngle("0.5 deg"), 0.5);
  near(parseAngle("1 1/2°"), 1.5);
  near(parseAngle("0.01 rad"), 1.8 / Math.PI);
  assert.equal(parseAngle("0.5"), null);
  assert.equal(parseAngle("0.5 mm"), null);
});

test("a number alone takes the unit shown", () => {
  assert.equal(withUnit(" 9,5 "), "9.5 mm");
  assert.equal(withUnit("9.5 cm"), "9.5 cm");
  assert.equal(withUnit(""), "");
  assert.equal(withDegrees("0.5"), "0.5 deg");
  assert.equal(withDegrees("0.5°"), "0.5°");
  view.unit = "in";
  assert.equal(withUnit("16 7/16"), "16 7/16 in");
  assert.equal(withUnit("3/8"), "3/8 in");
  assert.equal(typed(9.525), "0.3750 in");
});

test("lengths in the unit shown", () => {
  assert.equal(length(118.506), "118.51 mm");
  assert.equal(length(0.0931, 3), "0.093 mm");
  view.unit = "in";
  assert.equal(length(118.506), "4.6656 in");
  assert.equal(size(200), "7.8740 in (≈ 7 7/8)");
});

test("a sentence keeps its figures, and braces that are only words", () => {
  const said = { template: "cut {{A}} is {} too wide", figures: [{ value: 0.31, kind: "length", decimals: 2 }] };
  assert.equal(sentenceIn("mm", said), "cut {A} is 0.31 mm too wide");
  assert.equal(sentenceIn("in", said), "cut {A} is 0.012 in too wide");
});

test("fractions are in lowest terms, to the nearest 1/64 in", () => {
  // Decimal equivalents of the 64ths of an inch, as printed on drill charts: exact by arithmetic.
  const chart = [
    ["1/64", 0.015625],
    ["1/32", 0.03125],
    ["3/64", 0.046875],
    ["1/16", 0.0625],
    ["9/64", 0.140625],
    ["1/4", 0.25],
    ["25/64", 0.390625],
    ["1/2", 0.5],
    ["21/32", 0.65625],
    ["63/64", 0.984375],
  ];
  for (const [text, inches] of chart) assert.equal(fraction(inches * 25.4), text);
  assert.equal(fraction(417.5125), "16 7/16");
  assert.equal(fraction(-9.525), "-3/8");
  assert.equal(fraction(25.4 * 0.9999), "1");
  assert.equal(fraction(0.1), null);
  for (let mm = 0; mm < 60; mm += 0.37) {
    const { whole, top, bottom, off } = sixtyFourths(mm);
    near(whole + top / bottom + off, mm / 25.4);
    assert.ok(Math.abs(off) <= 1 / 128 + 1e-12);
    assert.ok(64 % bottom === 0 && (top === 0 || top % 2 === 1), `${top}/${bottom} is not in lowest terms`);
  }
});

test("a size says when its fraction is only near", () => {
  assert.equal(sizeIn("in", 417.5125), "16.4375 in (16 7/16)");
  assert.equal(sizeIn("in", 418), "16.4567 in (≈ 16 29/64)");
  assert.equal(sizeIn("in", 0.05), "0.0020 in");
  assert.equal(sizeIn("mm", 418), "418.00 mm");
  assert.equal(lengthIn("mm", -0.001), "0.00 mm");
});

test("a sentence with a place and two lengths is in one unit", () => {
  const template = "The edge near {} is {} from the outline, {} more than {} points allow ({{}}).";
  const figures = [
    { value: [120, 35], unit: "mm", kind: "position", decimals: 0 },
    { value: 0.31, unit: "mm", kind: "length", decimals: 2 },
    { value: 0.05, unit: "mm", kind: "length", decimals: 2, signed: true },
    { value: 12, unit: "", kind: "number", decimals: 0 },
  ];
  assert.equal(
    render("mm", template, figures),
    "The edge near (120, 35) mm is 0.31 mm from the outline, +0.05 mm more than 12 points allow ({}).",
  );
  const inches = render("in", template, figures);
  assert.equal(
    inches,
    "The edge near (4.7, 1.4) in is 0.012 in from the outline, +0.002 in more than 12 points allow ({}).",
  );
  assert.doesNotMatch(inches, /\bmm\b/);
  assert.throws(() => render("mm", "{} and {}", figures.slice(0, 1)), /1 figures do not fit/);
});

test("figures of every kind", () => {
  assert.equal(figureIn("in", { value: 31, unit: "deg", kind: "angle", decimals: 0 }), "31 degrees");
  assert.equal(figureIn("in", { value: 3.14, unit: "px", kind: "pixels", decimals: 1 }), "3.1 px");
  assert.equal(figureIn("in", { value: 9.4, unit: "%", kind: "share", decimals: 0 }), "9 %");
  assert.equal(figureIn("mm", { value: -0.15, unit: "mm", kind: "length", decimals: 2, signed: true }), "-0.15 mm");
});

test("text and remedy share one list of figures", () => {
  const figures = [1, 2, 3].map((value) => ({ value, unit: "mm", kind: "length", decimals: 0 }));
  const record = { text: "1 mm and 2 mm", mend: "use 3 mm", templates: ["{} and {}", "use {}"], figures };
  assert.deepEqual(sentencesIn("mm", record), ["1 mm and 2 mm", "use 3 mm"]);
  assert.deepEqual(sentencesIn("in", record), ["0.0 in and 0.1 in", "use 0.1 in"]);
  assert.deepEqual(sentencesIn("in", { what: "no {figure}", mend: "look" }), ["no {figure}", "look"]);
});

test("nouns are counted", () => {
  assert.equal(counted(1, "remark"), "1 remark");
  assert.equal(counted(0, "photo"), "0 photos");
  assert.equal(counted(2, "mouse", "mice"), "2 mice");
});

test("times at the machine name their step-down", () => {
  assert.equal(duration(0.2), "1 min");
  assert.equal(duration(58), "58 min");
  assert.equal(duration(87), "1 h 27 min");
  assert.equal(duration(120), "2 h");
  assert.deepEqual(timeRow("mm", { step_down: 1.5, passes: 7, minutes: 57.3 }), {
    stepDown: "1.50 mm",
    passes: "7",
    time: "58 min",
  });
});
