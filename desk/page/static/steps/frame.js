// The frame: which sheet, its print, and its two bars as measured.

import { sheetDrawing } from "../geometry/sheet.js";
import { address, commit, refresh, state, value } from "../job.js";
import { h, keyed, s, say } from "../parts/dom.js";
import { barFields } from "../parts/bar_fields.js";
import { choiceField } from "../parts/fields.js";
import { length, parseLength, size } from "../parts/lengths.js";
import { sign } from "../parts/marks.js";
import { barFault, printWords } from "../parts/print_scale.js";
import { barReading, tapedSheet } from "../pictures.js";
import { problems } from "../problems.js";
import { ask } from "../server.js";
import { ownFrames } from "./own_frames.js";
import { printChoice } from "./print_choice.js";
import { another, isList, listed, nameOf, parseName, PAPERS } from "./sheet_name.js";
import { stepTop } from "./top.js";

const BAR_STEP = 0.05; // mm, for a press
const COPIES = [1, 2, 3, 4, 5].map((n) => [String(n), String(n)]);
const MEASURE =
  "Measure its two bars with a caliper, from the middle of one end mark to the middle of the other, " +
  "and type the readings. Few printers print to exact size; the readings correct for that.";
const SAYS =
  "The printed sheet gives the photos their scale. Keep the print: it serves for the next part, " +
  "with the same two readings.";

const known = new Map();

/** What a built-in frame measures, once read; null until then. */
function frameOf(name, then) {
  if (!known.has(name)) {
    known.set(name, null);
    ask("GET", `/api/frames/${encodeURIComponent(name)}`)
      .then((found) => {
        known.set(name, found);
        then();
      })
      .catch(() => {});
  }
  return known.get(name);
}

/** The sheet as it lies: markers round a window, the two bars with their letters. */
function drawing(frame) {
  const drawn = sheetDrawing(frame);
  const [width, height] = drawn.size;
  const label = "The sheet: markers round the window, bar x below it, bar y left of it";
  const letter = ([x, y], text) => s("text.letter", { x, y, "font-size": 20, "text-anchor": "middle" }, text);
  return s(
    "svg.drawing",
    { viewBox: `-2 -2 ${width + 4} ${height + 4}`, role: "img", "aria-label": label },
    s("rect.line", { x: 0, y: 0, width, height }),
    s("path.squares", { d: drawn.markers }),
    s("rect.thin.dashed", drawn.window),
    s("path.bar", { d: drawn.barX }),
    s("path.bar", { d: drawn.barY }),
    letter(drawn.letterX, "x"),
    letter(drawn.letterY, "y"),
  );
}

/** Which of the built-in sheets it is; hidden for a frame of one's own. */
function choice(path) {
  const pick = (label, key, options, asPart, hint) =>
    choiceField({
      label,
      hint,
      path,
      options,
      name: "frame",
      edits: (word) => [[path(), nameOf({ ...parseName(value(path())), [key]: asPart(word) })]],
    });
  const inside = [
    ["white", "white (dark parts)"],
    ["dark", "dark (white or pale parts)"],
  ];
  const paper = pick("Paper", "paper", PAPERS, String);
  const dark = pick("Inside of the sheet", "dark", inside, (word) => word === "dark");
  const copy = pick("Which copy?", "sheet", COPIES, Number, "only when two sheets lie under one part");
  const el = h("div.fields", paper.el, dark.el, copy.el);
  return {
    el,
    update(found) {
      el.hidden = !found;
      if (!found) return;
      paper.input.value = found.paper;
      dark.input.value = found.dark ? "dark" : "white";
      copy.input.value = String(found.sheet);
    },
  };
}

/** The mean of a bar's readings, null where one cannot be read. */
function mean(bar) {
  const readings = [bar ?? ""].flat().map(parseLength);
  return readings.includes(null) ? null : readings.reduce((sum, one) => sum + one, 0) / readings.length;
}

/** The two bars as measured, and what they should measure. */
function bars(path) {
  let sheet = null;
  const check = (axis) => (mm) => (sheet ? barFault(mm, sheet.bars[axis], length) : "");
  const field = (axis) =>
    barFields({ axis, path: () => path(`bar_${axis}`), step: () => BAR_STEP, check: check(axis) });
  const chosen = printChoice(path);
  const print = h("p.print", { role: "status" });
  const fields = [field("x"), field("y")];
  const nominal = h("p.soft");
  return {
    el: [chosen.el, h("div.stack", fields[0].el, fields[1].el), nominal, print],
    update(frame) {
      sheet = frame;
      chosen.update();
      fields.forEach((one) => one.update());
      const [x, y] = ["x", "y"].map((axis) => mean(value(path(`bar_${axis}`))));
      const { fault, note } = frame ? printWords({ x, y }, frame.bars) : { fault: "", note: "" };
      print.replaceChildren(...(fault ? [h("strong", "Fix: "), fault] : note ? [h("strong", "Tip: "), note] : []));
      print.hidden = !fault && !note;
      const words = frame
        ? `They should measure ${size(frame.bars.x)} and ${size(frame.bars.y)}.`
        : "Their nominal lengths are printed on the sheet.";
      say(nominal, words);
    },
  };
}

function sheetCard(index) {
  const path = (...keys) => (isList(state.job.frame) ? ["frame", index, ...keys] : ["frame", ...keys]);
  const description = () => path("description");
  const title = h("h3");
  const own = h("p.soft");
  const choose = choice(description);
  const measured = bars(path);
  const print = h("a.button.main", { target: "_blank", rel: "noopener" }, sign("paper"), "Open the sheet to print");
  const picture = h("div.sheetdrawing");
  const lay = (frame) =>
    ask("POST", address("frames"), { json: { number: index, description: frame } })
      .then(refresh)
      .catch(problems.report);
  const ownFrame = ownFrames(lay);
  const take = () => commit("sheet removed", [[["frame", index], null]]);
  const remove = h("button", { type: "button", onclick: take }, sign("away"), "Remove this sheet");
  const todo = h(
    "ol.todo",
    h(
      "li",
      h("p", "Print it at actual size, with no fit to page. Tape it flat on something hard."),
      print,
      tapedSheet(),
    ),
    h("li", h("p", MEASURE), barReading(), measured.el),
  );
  const el = h(
    "section.card.two",
    h("div.stack", title, own, choose.el, todo, ownFrame, remove),
    h("div.stays", picture),
  );
  let drawn = null;

  function update() {
    const name = value(description()) ?? "";
    const found = parseName(name);
    const frame = found ? frameOf(name, update) : null;
    say(title, listed(state.job.frame).length > 1 ? `Sheet ${index + 1}` : "The sheet");
    say(own, found ? "" : `A frame of your own, described in ${name}.`);
    own.hidden = Boolean(found);
    print.hidden = !found;
    print.href = `/api/frames/${encodeURIComponent(name)}.pdf?show=1`;
    choose.update(found);
    measured.update(frame);
    remove.hidden = listed(state.job.frame).length < 2;
    if (drawn !== `${name}${Boolean(frame)}`) {
      drawn = `${name}${Boolean(frame)}`;
      picture.replaceChildren(drawing(frame));
    }
  }
  return { el, update };
}

/** One more sheet under the same part: a single table becomes a list. */
export function addSheet() {
  const now = listed(state.job.frame);
  const next = { description: another(now) };
  commit("another sheet", isList(state.job.frame) ? [[["frame", now.length], next]] : [[["frame"], [...now, next]]]);
}

export function frameStep() {
  const list = h("div.stack");
  const sheets = keyed(list, (index) => index, sheetCard);
  const more = h("button", { type: "button", onclick: addSheet }, sign("plus"), "Another sheet under the same part");
  const top = stepTop("frame", "The frame", SAYS);
  return {
    el: h("div", top.el, h("div.stack", list, h("div", more))),
    update() {
      top.update();
      sheets(listed(state.job.frame).map((_, i) => i));
    },
  };
}
