// The pocket with the part in it: from above with its dimensions, and in section at a wall.

import { boxFor, mainDimensions, pixelFor } from "./geometry/dimension_lines.js";
import { clearanceRange, wallSection } from "./geometry/section.js";
import { h, s } from "./parts/dom.js";
import { arrow, dimensionLine, fitting, fixed, keepSizes, label } from "./parts/drawn.js";
import { alongAxis, clearanceWords, pocketOf } from "./parts/clearances.js";
import { lengthIn } from "./parts/quantities.js";

// CSS pixels of a section
const AROUND = { left: 116, right: 30, top: 48, bottom: 10 };
const LEAST_WIDE = 60; // of a part with two lines of text in it
const SHAPE = 0.56; // height to width
const OVER = 22; // of the clearance's line over the part
const BESIDE = 18; // of a height's line beside the wood
const TAIL = 26; // of the lines outside the clearance
const SPOT = 14; // radius of the ring round a corner with wood left
const PAST = 6; // of an extension line beyond its dimension line

const lines = (sheet) => sheet.layers.map(({ d, pattern }) => s("path", { d, class: `line ${pattern}` }));

const grown = ([x0, y0, x1, y1], dx, dy) => [x0 - dx, y0 - dy, x1 + dx, y1 + dy];

/** The path of the cutter's centre along the walls, and the wood that it leaves: ringed, since it is small. */
function cutterLines({ cutter }) {
  if (!cutter) return [];
  const ring = ({ at }) => fixed([at[0], -at[1]], 0, s("circle", { class: "spot", r: SPOT }));
  return [
    s("path", { class: "uncut", d: cutter.uncut, "fill-rule": "evenodd" }),
    s("path", { class: "cutterpath", d: cutter.path }),
    ...cutter.corners.map(ring),
  ];
}

/** Bounds and SVG children for the viewer; a pocket has the part in it and its opening's size. */
export function sheetPicture(sheet, { outline, unit, size }) {
  const [x, y, w, hgt] = sheet.view_box;
  if (sheet.clearance === null || !outline) return [sheet.view_box, ...lines(sheet)];
  const drawn = [x, -y - hgt, x + w, -y]; // y up
  const pixel = pixelFor(drawn, size);
  const opening = grown(outline.bounds, ...["length", "width"].map((axis) => alongAxis(sheet.clearance, axis)));
  const { length, width } = mainDimensions(opening, pixel, drawn);
  const [long, wide] = [opening[2] - opening[0], opening[3] - opening[1]];
  const clearance = `clearance ${clearanceWords(unit, sheet.clearance)} per side`;
  const inside = wide / pixel > LEAST_WIDE ? ["part", fitting([clearance, ""], long / pixel - 40)] : ["part"];
  return [
    boxFor(drawn, pixel),
    s("path", { class: "inlay", d: outline.d }),
    ...cutterLines(sheet),
    ...lines(sheet),
    label([0, 0], 0, inside, { place: "on" }),
    ...dimensionLine(length, pixel, [lengthIn(unit, long)], { place: "below" }),
    ...dimensionLine(width, pixel, [lengthIn(unit, wide)]),
  ];
}

const BAND = "Strip at the part's side: there its edge lies, with 95 % probability.";
const WHERE = { length: "At the ends", width: "At the long sides" };

function rangeWords(gap, unit) {
  const [low, high] = clearanceRange(gap).map((mm) => lengthIn(unit, mm));
  const binds = gap.u95 > gap.clearance ? ": the part may not enter" : "";
  return `${WHERE[gap.along]}: ${lengthIn(unit, gap.clearance)} drawn, ${low} to ${high} in fact (95 %)${binds}.`;
}

const path = (kind, ...points) => s("path", { class: kind, d: `M${points.map((one) => one.join(" ")).join("L")}` });

/** The clearance between its two extension lines, arrows from outside, its text to the right. */
function clearanceLine(clearance, top, pixel, words) {
  const y = Math.min(0, top) - OVER * pixel;
  const high = y - PAST * pixel;
  return [
    path("extension", [0, 0], [0, high]),
    path("extension", [clearance, top], [clearance, high]),
    path("dimline", [-TAIL * pixel, y], [0, y]),
    path("dimline", [clearance, y], [clearance + TAIL * pixel, y]),
    arrow([0, y], 0),
    arrow([clearance, y], 180),
    label([clearance + (TAIL + 6) * pixel, y], 0, [words], { anchor: "start", place: "on" }),
  ];
}

/** A height at the left with its text beside the line. */
function heightLine(from, to, left, pixel, words) {
  const x = left - BESIDE * pixel;
  return [
    path("extension", [left - 2 * pixel, from], [x - PAST * pixel, from]),
    path("extension", [left - 2 * pixel, to], [x - PAST * pixel, to]),
    path("dimline", [x, from], [x, to]),
    arrow([x, from], -90),
    arrow([x, to], 90),
    label([x - 6 * pixel, (from + to) / 2], 0, [words], { anchor: "end", place: "on" }),
  ];
}

/** One wall in section, with the clearance and the depth written at their lines. */
function section({ depth, gap, edge, sanding }, unit, size) {
  const drawn = wallSection({ depth, gap, edge, sanding });
  const [x, y, w, hgt] = drawn.box;
  const bounds = [x, -y - hgt, x + w, -y];
  const pixel = pixelFor(bounds, size, AROUND);
  const has = (mm) => mm !== null && mm !== undefined && mm > 0;
  return s(
    "svg.stage.section",
    { viewBox: boxFor(bounds, pixel, AROUND).join(" "), role: "img", "aria-label": rangeWords(gap, unit) },
    s("path.wood", { d: drawn.wood }),
    s("path.inlay.line", { d: drawn.part }),
    s("rect.band", drawn.band),
    s("path.line.dashed", { d: drawn.face }),
    clearanceLine(gap.clearance, drawn.top, pixel, lengthIn(unit, gap.clearance)),
    heightLine(0, depth.pocket, x, pixel, lengthIn(unit, depth.pocket)),
    has(depth.floor) ? heightLine(depth.pocket, drawn.bottom, x, pixel, lengthIn(unit, depth.floor)) : null,
    label([(w + 2 * x) / 2 + w / 4, (drawn.top + depth.pocket) / 2], 0, ["part"], { place: "on" }),
    label([x + w / 4, drawn.bottom], 0, ["wood"]),
  );
}

/** How the part sits in the finished piece. */
function seatWords({ above }, sanding, unit) {
  const way = above > 0 ? "above" : "below";
  const seat = above ? `${lengthIn(unit, Math.abs(above))} ${way} the face` : "flush with the face";
  return `The part sits ${seat}${sanding > 0 ? `, once ${lengthIn(unit, sanding)} is sanded off (dashed)` : ""}. `;
}

/** Both walls in section, with the range that the real clearance lies in: `{ el, update(plan, sheet, part) }`. */
export function sections() {
  const figures = h("div.sections");
  const seat = h("span");
  const el = h(
    "section.card.stack",
    { "aria-label": "Section" },
    h("h3", "In section, to one scale"),
    figures,
    h("p.soft", seat, BAND),
  );
  const redraw = new ResizeObserver(() => last && draw());
  redraw.observe(figures);
  let last = null;
  let drawn = "";

  function draw() {
    const { plan, sheet, part, unit } = last;
    const { gaps } = pocketOf(plan, sheet);
    const width = Math.max(240, figures.clientWidth / (figures.clientWidth > 620 ? gaps.length : 1) - 16);
    const now = [plan.key, sheet.title, unit, width, JSON.stringify(part)].join("|");
    if (now === drawn) return;
    drawn = now;
    seat.textContent = seatWords(plan.depth, part.sanding, unit);
    const made = gaps.map((gap) => {
      const svg = section({ depth: plan.depth, gap, ...part }, unit, [width, width * SHAPE]);
      return h("figure", svg, h("figcaption", rangeWords(gap, unit)));
    });
    figures.replaceChildren(...made);
    made.forEach((one) => keepSizes(one.firstChild));
  }
  return {
    el,
    update(plan, sheet, part, unit) {
      el.hidden = !plan || !sheet || !pocketOf(plan, sheet)?.gaps.length;
      if (el.hidden) return;
      last = { plan, sheet, part, unit };
      draw();
    },
  };
}
