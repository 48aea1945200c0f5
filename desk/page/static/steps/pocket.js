// The pocket: every choice next to the drawing that it changes, every remark next to its cause.

import { state, value } from "../job.js";
import { h, keyed, mark, s, say } from "../parts/dom.js";
import { clearanceWords, pocketOf } from "../parts/clearances.js";
import { keepSizes } from "../parts/drawn.js";
import { counted } from "../parts/quantities.js";
import { length, parseLength } from "../parts/lengths.js";
import { errorWords, noticeList } from "../parts/notices.js";
import { view as shownAs } from "../parts/view.js";
import { viewer } from "../parts/viewer.js";
import { sections, sheetPicture } from "../pocket_view.js";
import { groups } from "./pocket_groups.js";
import { stepTop } from "./top.js";

const LEAST_MM = 1; // across the view
const EMPTY = [-100, -60, 200, 120];

const part = (key) => value(["part", key]);

/** What of the part and the job a section needs: its upper edge, and what is sanded off. */
function sectionPart() {
  const form = part("edge_chamfer") !== undefined ? "edge_chamfer" : "edge_radius";
  const lengthOf = (text) => parseLength(text ?? "") ?? 0;
  return { edge: { form, size: lengthOf(part(form)) }, sanding: lengthOf(value(["pocket", "sanding"])) };
}

/** Which line is which layer of the files, and how deep it is cut. */
function legend() {
  const rows = h("tbody");
  const row = () => {
    const sample = s("svg.sample", { viewBox: "0 0 60 10", "aria-hidden": "true" });
    const [name, depth] = [h("td"), h("td.number")];
    return {
      el: h("tr", h("td", sample), name, depth),
      update(layer) {
        sample.replaceChildren(s("path", { class: `line ${layer.pattern}`, d: "M1 5H59" }));
        say(name, layer.name);
        say(depth, layer.depth === null ? "" : length(layer.depth));
      },
    };
  };
  const update = keyed(rows, ({ name }) => name, row);
  const head = h("tr", h("th", "Line"), h("th", "Layer in the files"), h("th.number", "Depth"));
  const cutter = cutterLegend();
  return {
    el: h("section.card.legend.stack", { "aria-label": "Layers" }, h("table", h("thead", head), rows), cutter.el),
    update(sheet) {
      update(sheet?.layers ?? []);
      cutter.update(sheet?.cutter);
    },
  };
}

/** What is drawn of the cutter, which is in no file. */
function cutterLegend() {
  const sample = (kind, d) =>
    s("svg.sample", { viewBox: "0 0 60 10", "aria-hidden": "true" }, s("path", { class: kind, d }));
  const [path, uncut] = [h("span"), h("span")];
  const left = h("li.row", sample("uncut", "M18 0H42V10H18Z"), uncut);
  const el = h("ul.legendlist", h("li.row", sample("cutterpath", "M1 5H59"), path), left);
  return {
    el,
    update(cutter) {
      el.hidden = !cutter;
      if (!cutter) return;
      const { diameter, corners } = cutter;
      say(path, `Path of the cutter's centre along the walls, cutter ${length(diameter)}; in no file.`);
      left.hidden = !corners.length;
      const most = Math.max(...corners.map(({ stands }) => stands));
      const where = counted(corners.length, "corner");
      if (corners.length) say(uncut, `Wood it cannot reach, in ${where} (ringed): up to ${length(most)}.`);
    },
  };
}

/** The plan as long as it is the job's, or the one being tried; after a refusal there is none. */
const planNow = () => state.tried ?? (state.planState.state === "refused" ? null : state.plan);

/** The plan's sheets, each with a key that stays while its clearance changes. */
function sheetsNow() {
  const count = {};
  return (planNow()?.sheets ?? []).map((sheet) => {
    count[sheet.name] = (count[sheet.name] ?? -1) + 1;
    return { ...sheet, key: `${sheet.name}|${count[sheet.name]}` };
  });
}

/** The drawings of the plan, one at a time. */
function drawings(chosen) {
  let shown = null; // name of a drawing, and which of those
  let drawn = null;
  const view = viewer({ label: "The pocket", least: () => LEAST_MM });
  const tabs = h("div.row.tabs", { role: "group", "aria-label": "Drawings" });
  const tab = keyed(
    tabs,
    ({ key }) => key,
    ({ key }) => {
      const act = () => {
        shown = key;
        update();
      };
      const button = h("button", { type: "button", onclick: act });
      return {
        el: button,
        update(now) {
          say(
            button,
            now.clearance === null ? now.name : `${now.name}, clearance ${clearanceWords(shownAs.unit, now.clearance)}`,
          );
          mark(button, "aria-pressed", now.key === shown ? "true" : "false");
        },
      };
    },
  );
  function update() {
    const sheets = sheetsNow();
    if (state.tried) shown = `pocket|${state.tried.number}`;
    const sheet = sheets.find(({ key }) => key === shown) ?? sheets[0];
    shown = sheet?.key ?? null;
    tab(sheets);
    chosen(sheet);
    draw(sheet);
  }
  function draw(sheet = sheetsNow().find(({ key }) => key === shown)) {
    const size = view.room();
    const now = [shown, planNow()?.key, state.outline?.key, shownAs.unit, ...size].join("|");
    if (now === drawn) return;
    drawn = now;
    if (sheet) view.put(...sheetPicture(sheet, { outline: state.outline, unit: shownAs.unit, size }));
    else view.put(EMPTY);
    view.caption(sheet ? null : "No drawing yet");
    mark(view.el, "data-empty", sheet ? null : "");
  }
  view.el.addEventListener("looked", () => keepSizes(view.stage));
  new ResizeObserver(() => draw()).observe(view.stage);
  return { tabs, view: view.el, update };
}

function depthWords({ pocket, u95, floor }) {
  const left = floor === null || floor === undefined ? "" : `; ${length(floor)} of floor left`;
  return `Pocket ${length(pocket)} deep, ± ${length(u95)}${left}.`;
}

/** Whether the pocket shown is good, and how likely the part goes in. */
function verdictWords(plan, sheet) {
  const verdict = sheet && pocketOf(plan, sheet)?.verdict;
  if (!verdict) return "";
  const word = { good: "Good: ", usable: "Check: ", "not to be cut": "Not to be cut: " }[verdict.state] ?? "";
  return `${word}the part ${verdict.goes_in.words}. `;
}

function stateWords({ state: word, error }, plan, sheet) {
  const why = errorWords(error);
  if (word === "missing") return why || "The drawing appears as soon as there is an outline and a clearance.";
  if (word === "refused") return why && `This cannot be cut like this: ${why}`;
  if (word === "ready") return plan ? verdictWords(plan, sheet) + depthWords(plan.depth) : "";
  return "Drawing …";
}

/** What holds for every cut, and remarks that belong to none of the choices. */
function safety() {
  const remarks = noticeList("Other remarks on the plan");
  const list = h("ul.cautions");
  return {
    el: h("section.card", { "aria-label": "Cautions" }, h("h3", "At the machine: safety"), remarks.el, list),
    update(notices) {
      remarks.update(notices);
      const says = state.plan?.cautions ?? [];
      if (list.childElementCount !== says.length) list.replaceChildren(...says.map((caution) => h("li", caution)));
    },
  };
}

const SAYS = "Nothing that changes the cut is filled in for you. Every change is drawn at once.";

export function pocketStep() {
  const lines = legend();
  let shownSheet = null;
  const cuts = sections();
  const shown = drawings((sheet) => {
    lines.update(sheet);
    cuts.update(planNow(), sheet, sectionPart(), shownAs.unit);
    shownSheet = sheet;
  });
  const status = h("p.soft.planstate", { role: "status" });
  const cautions = safety();
  const choices = groups();
  const top = stepTop("pocket", "The pocket", SAYS);
  const box = h("div.planbox", shown.tabs, shown.view, status);
  const beside = h("div.stack.stays", box, cuts.el, lines.el, cautions.el);
  return {
    el: h("div.pocketstep", top.el, h("div.two.wideright", h("div.stack.groups", choices.el), beside)),
    update() {
      top.update();
      choices.update();

      cautions.update(choices.unplaced());
      shown.update();
      say(status, stateWords(state.planState, planNow(), shownSheet));
    },
  };
}
