// The frame: which sheet, its print, and its two bars as measured.

import { commit, state, value } from "../job.js";
import { h, keyed, s, say } from "../parts/dom.js";
import { choiceField, lengthField } from "../parts/fields.js";
import { length } from "../parts/lengths.js";
import { sign } from "../parts/marks.js";
import { ask } from "../server.js";
import { stepTop } from "./top.js";

const PAPERS = [
  ["a4", "A4"],
  ["a3", "A3"],
  ["letter", "Letter"],
  ["tabloid", "Tabloid"],
];
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

const listed = (frame) => (Array.isArray(frame) ? frame : frame ? [frame] : []);

function parse(name = "") {
  const match = /^border-([a-z0-9]+?)(?:-(\d+))?(-dark)?$/.exec(name);
  return match ? { paper: match[1], sheet: Number(match[2] ?? 1), dark: Boolean(match[3]) } : null;
}
const nameOf = ({ paper, sheet, dark }) => `border-${paper}${sheet > 1 ? `-${sheet}` : ""}${dark ? "-dark" : ""}`;

/** The sheet as it lies: markers round a window, the two bars with their letters. */
function drawing(frame) {
  const [w, t] = frame?.sheet ?? [297, 210];
  const window = frame?.window ?? [
    [40, 40],
    [w - 40, 40],
    [w - 40, t - 40],
    [40, t - 40],
  ];
  const xs = window.map(([x]) => x);
  const ys = window.map(([, y]) => y);
  const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const bars = frame?.bars ?? { x: 200, y: 120 };
  const up = (y) => t - y;
  const size = Math.min(14, x0 * 0.36);
  const columns = Math.round((w - 16) / (size * 1.6));
  const rows = Math.round((t - 16) / (size * 1.6));
  const squares = [];
  for (let i = 0; i < columns; i++) {
    for (let j = 0; j < rows; j++) {
      if (i > 0 && j > 0 && i < columns - 1 && j < rows - 1) continue;
      const x = 8 + (i * (w - 16 - size)) / (columns - 1);
      const y = 8 + (j * (t - 16 - size)) / (rows - 1);
      squares.push(`M${x} ${y}h${size}v${size}h${-size}Z`);
    }
  }
  const xm = w / 2;
  const ym = t / 2;
  const barX = `M${xm - bars.x / 2} ${up(y0) + 3}v6M${xm - bars.x / 2} ${up(y0) + 6}h${bars.x}m0 -3v6`;
  const barY = `M${x0 - 9} ${up(ym - bars.y / 2)}h6m-3 0v${-bars.y}m-3 0h6`;
  const letter = { "font-size": 20, class: "letter" };
  return s(
    "svg.drawing",
    {
      viewBox: `-2 -2 ${w + 4} ${t + 4}`,
      role: "img",
      "aria-label": "The sheet: markers round the window, bar x below it, bar y left of it",
    },
    s("rect", { x: 0, y: 0, width: w, height: t, class: "line" }),
    s("path", { d: squares.join(""), class: "squares" }),
    s("rect", { x: x0, y: up(y1), width: x1 - x0, height: y1 - y0, class: "thin dashed" }),
    s("path", { d: barX, class: "bar" }),
    s("path", { d: barY, class: "bar" }),
    s("text", { x: xm, y: up(y0) - 6, "text-anchor": "middle", ...letter }, "x"),
    s("text", { x: x0 + 8, y: up(ym) + 6, ...letter }, "y"),
  );
}

function sheet(index) {
  const path = (...keys) => (Array.isArray(state.job.frame) ? ["frame", index, ...keys] : ["frame", ...keys]);
  const parts = () => parse(value(path("description")));
  const pick = (label, key, options) =>
    choiceField({
      label,
      path: () => path("description"),
      options,
      name: "frame",
      edits: (word) => [
        [
          path("description"),
          nameOf({ ...parts(), [key]: key === "paper" ? word : key === "sheet" ? Number(word) : word === "dark" }),
        ],
      ],
    });
  const paper = pick("Paper", "paper", PAPERS);
  const window = pick("Window", "dark", [
    ["white", "White, for most parts"],
    ["dark", "Dark, for pale parts"],
  ]);
  const number = pick(
    "Sheet number",
    "sheet",
    [1, 2, 3, 4, 5].map((n) => [String(n), String(n)]),
  );
  const own = h("p.soft");
  const print = h("a.button.main", { target: "_blank", rel: "noopener" }, sign("paper"), "Open the sheet to print");
  const barX = lengthField({ label: "Bar x as measured", path: () => path("bar_x"), step: () => 0.05 });
  const barY = lengthField({ label: "Bar y as measured", path: () => path("bar_y"), step: () => 0.05 });
  const picture = h("div.sheetdrawing");
  const nominal = h("p.soft");
  const title = h("h3");
  const remove = h(
    "button",
    { type: "button", onclick: () => commit("sheet taken away", [[["frame", index], null]]) },
    sign("away"),
    "Take this sheet away",
  );
  const choose = h("div.fields", {}, paper.el, window.el, number.el);
  let drawn = null;

  const el = h(
    "section.card.two",
    {},
    h(
      "div.stack",
      {},
      title,
      own,
      choose,
      h(
        "ol.todo",
        {},
        h("li", {}, h("p", {}, "Print it at actual size, with no fit to page. Tape it flat on something hard."), print),
        h(
          "li",
          {},
          h(
            "p",
            {},
            "Measure its two bars with a caliper, between the outer edges of the end marks, and type what it reads. Printers are rarely exact; this undoes it.",
          ),
          h("div.fields", {}, barX.el, barY.el),
          nominal,
        ),
      ),
      remove,
    ),
    h("div.stays", {}, picture),
  );

  function update() {
    const name = value(path("description")) ?? "";
    const found = parts();
    say(title, listed(state.job.frame).length > 1 ? `Sheet ${index + 1}` : "The sheet");
    choose.hidden = !found;
    print.hidden = !found;
    own.hidden = Boolean(found);
    say(own, found ? "" : `A frame of your own, described in ${name}.`);
    if (found) {
      paper.input.value = found.paper;
      window.input.value = found.dark ? "dark" : "white";
      number.input.value = String(found.sheet);
      print.href = `/api/frames/${encodeURIComponent(name)}.pdf?show=1`;
    }
    const frame = found ? frameOf(name, update) : null;
    const mark = `${name}${Boolean(frame)}`;
    if (mark !== drawn) {
      drawn = mark;
      picture.replaceChildren(drawing(frame));
    }
    say(
      nominal,
      frame
        ? `As drawn they are ${length(frame.bars.x, 1)} and ${length(frame.bars.y, 1)} long.`
        : "Their drawn lengths stand on the sheet.",
    );
    barX.update();
    barY.update();
    remove.hidden = listed(state.job.frame).length < 2;
  }
  return { el, update };
}

export function frameStep() {
  const list = h("div.stack");
  const sheets = keyed(list, (index) => index, sheet);
  const another = h(
    "button",
    {
      type: "button",
      onclick: () => {
        const now = listed(state.job.frame);
        const used = new Set(now.map(({ description }) => parse(description)?.sheet));
        const free = [1, 2, 3, 4, 5].find((n) => !used.has(n)) ?? 5;
        const next = {
          description: nameOf({ ...(parse(now[0]?.description) ?? { paper: "a4", dark: false }), sheet: free }),
        };
        commit(
          "another sheet",
          Array.isArray(state.job.frame) ? [[["frame", now.length], next]] : [[["frame"], [...now, next]]],
        );
      },
    },
    sign("plus"),
    "Another sheet under the same part",
  );
  const top = stepTop(
    "frame",
    "The frame",
    "A printed sheet tells the camera how large things are. Once it is printed and measured, it serves for every part.",
  );
  return {
    el: h("div", {}, top.el, h("div.stack", {}, list, h("div", {}, another))),
    update() {
      top.update();
      sheets(listed(state.job.frame).map((_, i) => i));
    },
  };
}
