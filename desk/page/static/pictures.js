// The page's own drawings: how to lay the sheet and the part, hold the phone, read the bars, and what an edge looks
// like. Each is drawn in a box of 240 by 150; colours come from the style sheet, so that both themes have them.

import { h, s } from "./parts/dom.js";

const p = (kind, d) => s("path", { class: kind, d });
const box = (kind, x, y, width, height, rx = 0) => s("rect", { class: kind, x, y, width, height, rx });
const text = (x, y, words) => s("text", { x, y, "text-anchor": "middle" }, words);

function drawing(says, ...children) {
  return s("svg.pic", { viewBox: "0 0 240 150", role: "img", "aria-label": says }, children);
}

/** Markers along the border of a sheet at x, y. */
function sheet(x, y, w, t, size = 8) {
  const step = size * 1.7;
  const across = Math.floor((w - 8 - size) / step);
  const down = Math.floor((t - 8 - size) / step);
  let d = "";
  const square = (i, j) => {
    const left = x + 4 + (i * (w - 8 - size)) / across;
    const top = y + 4 + (j * (t - 8 - size)) / down;
    d += `M${left.toFixed(1)} ${top.toFixed(1)}h${size}v${size}h-${size}Z`;
  };
  for (let i = 0; i <= across; i++) [0, down].forEach((j) => square(i, j));
  for (let j = 1; j < down; j++) [0, across].forEach((i) => square(i, j));
  return [box("paper", x, y, w, t), p("marker", d)];
}

const tape = (x, y, angle) =>
  s("rect", {
    class: "tape",
    x: -15,
    y: -6,
    width: 30,
    height: 12,
    transform: `translate(${x} ${y}) rotate(${angle})`,
  });

/** The sheet taped at its corners to a flat board. */
export const tapedSheet = () =>
  drawing(
    "The sheet lies flat on a board, taped at its four corners",
    box("board", 4, 4, 232, 142, 6),
    sheet(40, 24, 160, 102),
    tape(40, 24, -45),
    tape(200, 24, 45),
    tape(40, 126, 45),
    tape(200, 126, -45),
  );

/** A bar's end mark, enlarged: the jaw's edge stands on the middle of the line. */
export function barReading() {
  const jaw = (x, way) => `M${x} 62V20H${x + way * 22}V44L${x + way * 10} 62Z`;
  return drawing(
    "The caliper's jaws stand on the middle of the two end marks of a bar",
    p("mark wide", "M48 58V104M192 58V104"),
    p("mark", "M48 81H192"),
    p("steel", jaw(48, -1) + jaw(192, 1)),
    p("steel", "M26 14H214V22H26Z"),
    p("thin dashed", "M48 40V128M192 40V128"),
    p("measure", "M50 122H190M56 118l-6 4l6 4M184 118l6 4l-6 4"),
    text(120, 142, "middle to middle"),
  );
}

/** One end of the part over the window; the rest covers markers on one side only. */
export const laidPart = () =>
  drawing(
    "One end of the part lies inside the window of the sheet, 5 mm or more from its border; the rest covers one side",
    sheet(8, 12, 168, 126),
    p("thin dashed", "M36 38H148V112H36Z"),
    p("part", "M232 48H84q-16 0-16 16v22q0 16 16 16H232Z"),
    p("measure", "M38 75H66M44 71l-6 4l6 4M60 71l6 4l-6 4"),
    text(52, 66, "5"),
  );

/** A card in the middle of the window, and where it may lie next. */
export const cardInWindow = () =>
  drawing(
    "A card lies in the middle of the window, clear of the markers; it is moved and turned between photos",
    sheet(36, 10, 168, 130),
    p("thin dashed", "M64 36H176V114H64Z"),
    box("part", 90, 58, 58, 36, 4),
    p("thin dashed", "M108 46L156 70L140 102L92 78Z"),
    p("measure", "M160 52q10 8 8 20M163 68l5 5l4-6"),
  );

/** One sheet under each end, both in one photo. */
export const twoSheets = () =>
  drawing(
    "One sheet under each end of the part; all of both sheets is in the photo",
    sheet(6, 28, 92, 94, 6),
    sheet(142, 28, 92, 94, 6),
    p("part", "M40 60H200q8 0 8 8v22q0 8-8 8H40q-8 0-8-8V68q0-8 8-8Z"),
    p("thin dashed", "M2 12H238V138H2Z"),
    text(120, 84, "one part"),
  );

/** The phone level above the sheet, all of the sheet in its picture. */
export const heldPhone = () =>
  drawing(
    "The phone is held level above the part; the whole sheet is in the picture",
    box("board", 10, 126, 220, 10),
    p("paper", "M40 122H200V126H40Z"),
    box("part", 96, 108, 104, 14, 2),
    p("thin dashed", "M120 36L42 120M120 36L198 120"),
    box("steel", 82, 18, 76, 12, 5),
    p("measure", "M58 24H76M64 20l-6 4l6 4M182 24H164M176 20l6 4l-6 4"),
    text(120, 60, "level"),
  );

/** Light from the side, no flash. */
export const sideLight = () =>
  drawing(
    "Light comes from the side; the flash of the phone is off",
    box("board", 10, 126, 220, 10),
    p("paper", "M60 122H220V126H60Z"),
    box("part", 116, 108, 104, 14, 2),
    p("steel", "M14 30L44 18L54 42L30 58Z"),
    p("ray", "M56 46L96 106M60 40L128 98M62 34L160 92"),
    box("steel", 140, 14, 76, 12, 5),
    p("mark", "M178 34l-8 14h9l-5 14"),
    p("cross", "M160 36L196 60M196 36L160 60"),
  );

/** Tape and caliper at the part. */
export const readPart = () =>
  drawing(
    "The length is read with a tape, the width with a caliper",
    box("part", 30, 34, 180, 66, 16),
    p("measure", "M32 118H208M38 114l-6 4l6 4M202 114l6 4l-6 4"),
    p("thin", "M30 104V124M210 104V124"),
    text(92, 140, "418 mm"),
    p("steel", "M152 10H168V22L162 34H152ZM152 124V100H162L168 108V124Z"),
    p("steel", "M168 6H180V128H168Z"),
  );

/** The part in its pocket, seen from the end. */
export const inPocket = () =>
  drawing(
    "The part lies flush in the pocket of a board, with a small clearance on both sides",
    p("board", "M8 52H58V92H182V52H232V126H8Z"),
    p("part", "M64 60q0-8 8-8h96q8 0 8 8V92H64Z"),
    p("measure", "M38 38H57M51 34l6 4l-6 4M84 38H65M71 34l-6 4l6 4"),
    p("thin", "M58 30V52M64 30V60"),
    text(128, 34, "clearance"),
  );

// ---- what is asked: the upper edge and the sides, seen from the end of the part

const PROFILES = {
  sharp: "M40 40H200V120H40Z",
  edge_radius: "M40 70Q40 40 70 40H170Q200 40 200 70V120H40Z",
  edge_chamfer: "M40 62L62 40H178L200 62V120H40Z",
  straight: "M40 40H200V120H40Z",
  leaning: "M62 40H178L200 120H40Z",
};
const QUESTION = "M108 68q0-12 12-12t12 12q0 8-7 11q-5 2-5 9M120 101v2";

/** The part seen from its end, beside the words of a choice; for an unknown word a question mark. */
export function profile(word) {
  const known = word in PROFILES;
  const lean = word === "leaning" ? p("thin dashed", "M40 120V34M200 120V34") : null;
  return s(
    "svg.pic",
    { viewBox: "0 20 240 110", "aria-hidden": "true" },
    p(known ? "part" : "part dashed", PROFILES[known ? word : "sharp"]),
    known ? null : p("cross", QUESTION),
    lean,
    p("thin", "M14 120H226"),
  );
}

/** Drawings in a row, each with its sentence below. */
export const pictureRow = (...rows) =>
  h(
    "ul.picturerow",
    rows.map(([picture, words]) => h("li", picture, h("p", words))),
  );
