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
const PRINTED = "border-a4";
const COPIES = [1, 2, 3, 4, 5].map((n) => [String(n), String(n)]);
const MEASURE =
  "Measure its two bars with a caliper, from the middle of one end mark to the middle of the other, " +
  "and type the readings. Few printers print to exact size; the readings correct for that.";
const SAYS =
  "The printed sheet gives the photos their scale. Keep the print: it serves for the next part, " +
  "with the same two readings.";

const OPENING = "Measure its opening with a caliper, from inside edge to inside edge, and type the readings.";
const NAMES = { printed: { x: "Bar x", y: "Bar y" }, plain: { x: "Opening, width", y: "Opening, height" } };

const known = new Map();

/** What a sheet of the job measures, once read; null until then. */
function frameOf(name, index, then) {
  const there = parseName(name) ? `/api/frames/${encodeURIComponent(name)}` : address(`frames/${index}`);
  const key = parseName(name) ? name : `${state.id}|${name}`;
  if (!known.has(key)) {
    known.set(key, null);
    ask("GET", there)
      .then((found) => {
        known.set(key, found);
        then();
      })
      .catch(() => known.delete(key));
  }
  return known.get(key) ?? null;
}

/** A plain frame: its border round the opening. */
function plainDrawing({ bars: { x, y }, border }) {
  const [w, t] = [x + 2 * border, y + 2 * border];
  const round = `M0 0h${w}v${t}h${-w}ZM${border} ${border}h${x}v${y}h${-x}Z`;
  return s(
    "svg.drawing",
    { viewBox: `-2 -2 ${w + 4} ${t + 4}`, role: "img", "aria-label": "The frame and its opening" },
    s("path.squares", { d: round, "fill-rule": "evenodd" }),
  );
}

/** The sheet as it lies: markers round a window, the two bars with their letters. */
function drawing(frame) {
  if (frame?.kind === "plain") return plainDrawing(frame);
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
      // With one sheet only a further copy of it has to be told from the first.
      copy.el.hidden = found.sheet === 1 && listed(state.job.frame).length < 2;
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
  const check = (axis) => (mm) => (sheet?.bars[axis] ? barFault(mm, sheet.bars[axis], length) : "");
  const field = (axis) =>
    barFields({ axis, path: () => path(`bar_${axis}`), step: () => BAR_STEP, check: check(axis) });
  const chosen = printChoice(path);
  const says = h("p.print", { role: "status" });
  const fields = [field("x"), field("y")];
  const nominal = h("p.soft");
  const should = (x, y) => (x && y ? `They should measure ${size(x)} and ${size(y)}.` : "");
  return {
    el: [chosen.el, h("div.stack", fields[0].el, fields[1].el), nominal, says, chosen.care],
    update(frame) {
      sheet = frame;
      const plain = frame?.kind === "plain";
      chosen.update();
      chosen.el.hidden = plain;
      chosen.care.hidden = plain;
      const names = plain ? NAMES.plain : NAMES.printed;
      ["x", "y"].forEach((axis, i) => {
        fields[i].name(names[axis]);
        fields[i].update();
      });
      const [x, y] = ["x", "y"].map((axis) => mean(value(path(`bar_${axis}`))));
      const print = frame && !plain;
      const { fault, note } = print ? printWords({ x, y }, frame.bars) : { fault: "", note: "" };
      says.replaceChildren(...(fault ? [h("strong", "Fix: "), fault] : note ? [h("strong", "Tip: "), note] : []));
      says.hidden = !fault && !note;
      nominal.hidden = plain;
      say(nominal, frame ? should(frame.bars.x, frame.bars.y) : "Their nominal lengths are printed on the sheet.");
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
  const lay = (frame, read = {}) =>
    ask("POST", address("frames"), { json: { number: index, description: frame, bars: read } })
      .then(refresh)
      .catch(problems.report);
  const ownFrame = ownFrames(lay);
  const take = () => commit("sheet removed", [[["frame", index], null]]);
  const remove = h("button", { type: "button", onclick: take }, sign("away"), "Remove this sheet");
  const taped = h("p", "Print it at actual size, with no fit to page. Tape it flat on something hard.");
  const printing = h("li", taped, print, tapedSheet());
  const how = h("p");
  const reading = h("div", barReading());
  const todo = h("ol.todo", printing, h("li", how, reading, measured.el));
  const printed = h("button", { type: "button" }, sign("paper"), "Use a printed sheet instead");
  printed.addEventListener("click", () => commit("a printed sheet", [[path(), { description: PRINTED }]]));
  const el = h(
    "section.card.two",
    h("div.stack", title, own, printed, choose.el, todo, ownFrame, remove),
    h("div.stays", picture),
  );
  let drawn = null;

  function update() {
    const name = value(description()) ?? "";
    const found = parseName(name);
    const frame = name ? frameOf(name, index, update) : null;
    const plain = frame?.kind === "plain";
    const kind = found ? "Sheet" : "Frame";
    say(title, listed(state.job.frame).length > 1 ? `${kind} ${index + 1}` : `The ${kind.toLowerCase()}`);
    say(own, found ? "" : ownWords(name, frame));
    own.hidden = Boolean(found);
    printed.hidden = Boolean(found);
    printing.hidden = !found;
    reading.hidden = plain;
    say(how, plain ? OPENING : MEASURE);
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

/** What frame of one's own it is. */
function ownWords(name, frame) {
  if (!frame) return `A frame of your own, described in ${name}.`;
  if (frame.kind !== "plain") return `A frame of your own: ${frame.name}.`;
  const { x, y } = frame.bars;
  return `A plain frame of your own: opening ${length(x, 1)} x ${length(y, 1)}, border ${length(frame.border, 1)}.`;
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
