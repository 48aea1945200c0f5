// The pocket: every choice beside the drawing that it changes, every warning beside its cause.

import { state } from "../job.js";
import { h, keyed, mark, s, say } from "../parts/dom.js";
import { inUnit, length } from "../parts/lengths.js";
import { planNoticeList, sentence } from "../parts/notices.js";
import { viewer } from "../parts/viewer.js";
import { groups } from "./pocket_groups.js";
import { stepTop } from "./top.js";

const LEAST_MM = 1;

function layers(sheet) {
  return sheet.layers.map(({ d, pattern }) => s("path", { d, class: `line ${pattern}` }));
}

function legendRow() {
  const sample = s("svg.sample", { viewBox: "0 0 60 10", "aria-hidden": "true" });
  const name = h("td");
  const depth = h("td.number");
  return {
    el: h("tr", {}, h("td", {}, sample), name, depth),
    update(layer) {
      sample.replaceChildren(s("path", { class: `line ${layer.pattern}`, d: "M1 5H59" }));
      say(name, layer.name);
      say(depth, layer.depth === null ? "" : length(layer.depth));
    },
  };
}

export function pocketStep() {
  let title = null;
  let drawn = null;
  const view = viewer({ label: "The pocket", least: () => LEAST_MM });
  const tabs = h("div.row.tabs", { role: "group", "aria-label": "Drawings" });
  const tab = keyed(
    tabs,
    (sheet) => sheet.title,
    (sheet) => {
      const words = h("span");
      const button = h(
        "button",
        {
          type: "button",
          onclick: () => {
            title = sheet.title;
            update();
          },
        },
        words,
      );
      return {
        el: button,
        update(now) {
          say(words, now.clearance === null ? now.name : `${now.name}, gap ${length(now.clearance)}`);
          mark(button, "aria-pressed", now.title === title ? "true" : "false");
        },
      };
    },
  );
  const rows = h("tbody");
  const legend = keyed(rows, ({ name }) => name, legendRow);
  const legendTable = h(
    "table",
    {},
    h("thead", {}, h("tr", {}, h("th", {}, "Line"), h("th", {}, "Layer in the files"), h("th.number", {}, "Depth"))),
    rows,
  );
  const status = h("p.soft.planstate", { role: "status" });
  const others = planNoticeList("Other remarks on the plan");
  const cautions = h("ul.cautions");
  const choices = groups();
  const top = stepTop(
    "pocket",
    "The pocket",
    "Nothing that changes the cut is filled in for you. Every change is drawn at once.",
  );

  const el = h(
    "div.pocketstep",
    {},
    top.el,
    h(
      "div.two.wideright",
      {},
      h("div.stack.groups", {}, choices.el),
      h(
        "div.stack.stays",
        {},
        h("div.planbox", {}, tabs, view.el, status),
        h("section.card.legend", { "aria-label": "Layers" }, legendTable),
        h("section.card", { "aria-label": "Cautions" }, h("h3", {}, "Mind at the machine"), others.el, cautions),
      ),
    ),
  );

  function draw() {
    const sheets = state.plan?.sheets ?? [];
    const sheet = sheets.find((one) => one.title === title) ?? sheets[0];
    title = sheet?.title ?? null;
    tab(sheets);
    legend(sheet?.layers ?? []);
    const now = `${title}|${state.plan?.key}`;
    if (now === drawn) return;
    drawn = now;
    if (sheet) view.put(sheet.view_box, ...layers(sheet));
    else view.put([-100, -60, 200, 120]);
  }

  function update() {
    top.update();
    choices.update();
    const { state: word, error } = state.planState;
    const text =
      {
        missing: error?.what
          ? `${inUnit(sentence(error.what))} ${inUnit(sentence(error.mend))}`
          : "The drawing appears as soon as there is an outline and a clearance.",
        refused: error ? `This cannot be cut so: ${inUnit(error.what)}. ${inUnit(sentence(error.mend))}` : "",
        ready: state.plan ? depthWords(state.plan) : "",
      }[word] ?? "Drawing …";
    say(status, text);
    view.el.classList.toggle("old", word === "refused");
    others.update(choices.unplaced());
    const says = state.plan?.cautions ?? [];
    if (cautions.childElementCount !== says.length) {
      cautions.replaceChildren(...says.map((caution) => h("li", {}, caution)));
    }
    draw();
  }
  return { el, update };
}

function depthWords({ depth }) {
  const floor = depth.floor === null || depth.floor === undefined ? "" : `; the floor left is ${length(depth.floor)}`;
  return `Pocket ${length(depth.pocket)} deep, ± ${length(depth.u95)}${floor}.`;
}
