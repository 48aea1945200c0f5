// Changes of a job and their way back, names of sheets, rows of sizes, sets of files.

import assert from "node:assert/strict";
import { test } from "node:test";

import { asSent, at, put, turned, whole } from "../../desk/page/static/changes.js";
import { fileSets, pictured, viewed, bytesWords } from "../../desk/page/static/steps/file_sets.js";
import { another, listed, nameOf, parseName } from "../../desk/page/static/steps/sheet_name.js";
import { rowWords, sizeRows } from "../../desk/page/static/steps/size_rows.js";

const applied = (record, changes) => {
  const after = structuredClone(record);
  changes.forEach((change) => put(after, change));
  return after;
};

test("tables on the way are made, emptied ones go", () => {
  const job = {};
  put(job, { path: ["pocket", "cutter", "diameter"], now: "6 mm" });
  assert.deepEqual(job, { pocket: { cutter: { diameter: "6 mm" } } });
  put(job, { path: ["pocket", "cutter", "diameter"], now: null });
  assert.deepEqual(job, {});
  put(job, { path: ["pocket", "cutter", "length"], now: null });
  assert.deepEqual(job, {});
});

test("every change can be turned round", () => {
  const job = {
    part: { name: "tray" },
    reading: [
      { what: "length", tool: "tape" },
      { what: "width", tool: "rule" },
    ],
  };
  const element = job.reading[1];
  const cases = [
    [{ path: ["part", "name"], was: "tray", now: "dish" }],
    [{ path: ["pocket", "clearance"], was: null, now: ["0.3 mm"] }],
    [{ path: ["reading", 1, "tool"], was: "rule", now: "caliper", element }],
    [{ path: ["reading", 0], was: job.reading[0], now: null }],
    [{ path: ["reading", 2], was: null, now: { what: "thickness", values: ["5 mm"] } }],
  ];
  for (const changes of cases) {
    const after = applied(job, changes);
    assert.notDeepEqual(after, job);
    const back = applied(after, turned(changes, after, after));
    const sorted = (one) => ({ ...one, reading: [...one.reading].sort((a, b) => (a.what < b.what ? -1 : 1)) });
    assert.deepEqual(sorted(back), sorted(job));
  }
});

test("a list that is one value is sent whole", () => {
  const job = { pocket: { notch: [{ side: "front", width: "22 mm" }] }, reading: [{ values: ["1 mm", "2 mm"] }] };
  assert.deepEqual(asSent(job, [["pocket", "notch", 0, "width"], "20 mm"]), [
    ["pocket", "notch"],
    [{ side: "front", width: "20 mm" }],
  ]);
  assert.deepEqual(asSent(job, [["reading", 0, "tool"], "tape"]), [["reading", 0, "tool"], "tape"]);
  assert.ok(whole(["reading", 0]) && !whole(["reading", 0, "tool"]));
  assert.equal(at(job, ["pocket", "notch", 0, "side"]), "front");
});

test("names of sheets are read and written alike", () => {
  for (const name of ["border-a4", "border-a3-2", "border-letter-dark", "border-tabloid-5-dark"]) {
    assert.equal(nameOf(parseName(name)), name);
  }
  assert.equal(parseName("my-frame.json"), null);
  assert.equal(another([{ description: "border-a3-dark" }]), "border-a3-2-dark");
  assert.equal(another([{ description: "border-a3-2" }, { description: "border-a3" }]), "border-a3-3");
  assert.deepEqual(listed({ description: "x" }), [{ description: "x" }]);
  assert.deepEqual(listed(undefined), []);
});

test("corners that share a size are one row; what is in no photo is said", () => {
  const radius = { value: 27.4, u95: 0.1 };
  const corner = (place, seen) => ({ at: place, family: "arc", sizes: { radius }, seen });
  const rows = sizeRows({
    length: { value: 417.5125, u95: 0.8, from: ["tape"] },
    width: { value: 118.5, u95: 0.07 },
    thickness: null,
    corners: [corner("front left", true), corner("back right", false)],
    extras: { taper: { value: Math.PI / 180, u95: 0.001 }, "sag back": { value: 0.2, u95: 0.05 } },
  });
  assert.deepEqual(
    rows.map(({ of, note }) => [of, note]),
    [
      ["Length", "from tape"],
      ["Width", ""],
      ["Corner radius", "arc, all corners; in no photo: back right"],
      ["Angle between the long sides", ""],
      ["Bow of the back side", ""],
    ],
  );
  assert.deepEqual(rowWords("mm", rows[3]), { value: "1.00°", u95: "± 0.06°" });
  assert.deepEqual(rowWords("in", rows[0]), { value: "16.4375 in (16 7/16)", u95: "± 0.0315 in" });
  assert.equal(rowWords("mm", { quantity: { value: 2.5, u95: 0 }, kind: "number" }).u95, "not known");
});

test("files are grouped by drawing and purpose", () => {
  const names = ["outline.dxf", "outline.svg", "tray-coupons-a.svg", "tray-pocket-a.svg", "report.html", "result.json"];
  const list = names.map((name) => ({ name, preview: name !== "result.json", bytes: 10 }));
  const sets = fileSets(list);
  assert.deepEqual(
    sets.map(({ title, drawings }) => [title, drawings.map(({ stem }) => stem)]),
    [
      ["To cut", ["tray-pocket-a", "tray-coupons-a"]],
      ["The part's outline", ["outline"]],
      ["To print and keep", ["report"]],
      ["All the rest", ["result"]],
    ],
  );
  assert.deepEqual(
    sets[1].drawings[0].files.map(({ name }) => name),
    ["outline.svg", "outline.dxf"],
  );
  assert.equal(pictured(list).name, "outline.svg");
  assert.equal(viewed(list.slice(1, 2)).name, "outline.svg");
  assert.equal(bytesWords(10), "1 kB");
  assert.equal(bytesWords(2_340_000), "2.3 MB");
});
