// The style sheets keep to one scale of spaces and one scale of sizes of text.

import assert from "node:assert/strict";
import { readdirSync, readFileSync } from "node:fs";
import { test } from "node:test";

const FOLDER = new URL("../../desk/page/static/style/", import.meta.url);
const SHEETS = readdirSync(FOLDER).map((name) => [name, readFileSync(new URL(name, FOLDER), "utf8")]);

/** Declarations of the properties that match, without those of custom properties. */
function declared(property) {
  const pattern = new RegExp(`(?:^|[{;\\s])(${property}): ([^;]+);`, "g");
  return SHEETS.flatMap(([name, text]) =>
    [...text.matchAll(pattern)].map(([, key, value]) => [name, key, value.trim()]),
  );
}

test("sizes of text come from their scale; what a drawing writes has 16 px or more", () => {
  const found = declared("font-size");
  assert.ok(found.length > 5);
  for (const [name, key, value] of found) assert.match(value, /^(var\(--t[1-4]\)|16px|20px)$/, `${name}: ${key}`);
});

test("spaces come from their scale", () => {
  const found = declared("(?:row-|column-)?gap|padding(?:-[a-z-]+)?|margin(?:-[a-z-]+)?");
  assert.ok(found.length > 60);
  const word = /^(-?0|auto|!important|1\.2em|1\.6vw|2vw|-1|\*|2|var\(--(s[1-7]|side|foot-room)\))$/;
  for (const [name, key, value] of found) {
    for (const one of value
      .replace(/(clamp|calc)\(|,/g, " ")
      .replace(/\)(?=\s|$)/g, (end) => end)
      .split(/\s+/)) {
      const bare = one.startsWith("var(") ? one.slice(0, one.indexOf(")") + 1) : one.replace(/\)+$/, "");
      if (bare) assert.match(bare, word, `${name}: ${key}: ${value}`);
    }
  }
});

test("each size of text is 1.125 times the one before", () => {
  const base = SHEETS.find(([name]) => name === "base.css")[1];
  const sizes = [1, 2, 3, 4].map((n) => Number(new RegExp(`--t${n}: ([\\d.]+)rem`).exec(base)[1]));
  sizes.slice(1).forEach((size, i) => assert.ok(Math.abs(size / sizes[i] - 1.125) < 0.001, `${sizes[i]} to ${size}`));
});
