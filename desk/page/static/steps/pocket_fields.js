// Fields that only the pocket has: the list of clearances, the seat, tables that are there or not.

import { address, commit, state, value } from "../job.js";
import { h, idle, keyed, mark, say } from "../parts/dom.js";
import { clearanceSlider } from "./clearance_slider.js";
import { few, lengthInput } from "../parts/fields.js";
import { length, parseLength, typed } from "../parts/lengths.js";
import { sign } from "../parts/marks.js";
import { told } from "../parts/notices.js";
import { ask } from "../server.js";

const CLEARANCE = ["pocket", "clearance"];
const GRID = 0.05;
const TRIED = "0.3 mm";

export const clearances = () => {
  const now = value(CLEARANCE);
  return Array.isArray(now) ? now : now === undefined ? [] : [now];
};

function setClearances(list) {
  commit("clearance", [[CLEARANCE, list.length ? list : null]]);
}

const AXES = { length: "along the length", width: "across the width" };

/** One clearance: one field for all round, or one for each axis. */
function clearanceFields(i) {
  const name = i === 0 ? "Clearance" : `Clearance ${i + 1}`;
  const put = (next) => {
    const list = [...clearances()];
    if (next === null) list.splice(i, 1);
    else list[i] = next;
    setClearances(list);
  };
  const input = (label, optional, take) =>
    lengthInput({ label, step: () => GRID, placeholder: "0.30 mm", optional, signed: true, take });
  const all = input(name, i > 0, put);
  const axes = Object.entries(AXES).map(([axis, words]) => [
    axis,
    input(`${name} ${words}`, false, (text) => text && put({ ...clearances()[i], [axis]: text })),
  ]);
  const slider = clearanceSlider({ number: i, clearance: () => clearances()[i], take: put });
  const split = h("button", { type: "button" });
  split.addEventListener("click", () => {
    const now = clearances()[i];
    put(typeof now === "object" ? now.length : { length: now, width: now });
  });
  return {
    el: h(
      "div.wholerow.stack",
      h(
        "div.fields",
        all.el,
        axes.map(([, field]) => field.el),
      ),
      slider.el,
      h("div", split),
    ),
    update() {
      const now = clearances()[i] ?? "";
      const both = typeof now === "object";
      all.el.hidden = both;
      if (!both) all.show(now);
      for (const [axis, field] of axes) {
        field.el.hidden = !both;
        if (both) field.show(now[axis] ?? "");
      }
      slider.update();
      say(split, both ? "Same clearance all round" : "Different along and across");
      split.hidden = now === "";
    },
  };
}

/** One pocket is drawn for each clearance. */
export function clearanceList() {
  const rows = h("div.stack");
  const fields = [];
  const add = () => {
    const last = clearances().at(-1);
    const from = parseLength((typeof last === "object" ? last.length : last) ?? "") ?? 0.25;
    setClearances([...clearances(), typed(from + 0.1)]);
  };
  const more = h("button", { type: "button", onclick: add }, sign("plus"), "Another clearance to compare");
  return {
    el: h("div.wholerow.stack", rows, h("div", more)),
    update() {
      const now = clearances();
      const wanted = Math.max(1, now.length);
      while (fields.length > wanted) fields.pop().el.remove();
      while (fields.length < wanted) {
        fields.push(clearanceFields(fields.length));
        rows.append(fields.at(-1).el);
      }
      fields.forEach((field) => field.update());
      mark(more, "disabled", now.length ? null : true);
    },
  };
}

/** What to start with; offered, never applied unasked. */
export function suggestion() {
  const words = h("p.soft");
  const take = h("button", { type: "button" });
  let first = null; // before a clearance is chosen
  let asked = null;

  /** No plan, no suggestion: without a clearance one is tried, and only its suggestion taken. */
  async function askFirst() {
    const now = `${state.outline?.key} ${JSON.stringify(value(["pocket"]) ?? {})}`;
    if (clearances().length || state.outlineState.state !== "ready" || asked === now) return;
    asked = now;
    const pocket = { ...value(["pocket"]), clearance: TRIED };
    const plan = await ask("POST", address("plan"), { json: { pocket } }).catch(() => null);
    if (asked !== now) return;
    first = plan?.suggestion ?? null;
    update();
  }
  take.addEventListener("click", () => setClearances([typed(first.low)]));

  function update() {
    askFirst();
    const offered = clearances().length ? state.plan?.suggestion : first;
    const between = offered && `${length(offered.low)} to ${length(offered.high)}`;
    say(words, offered ? `Suggested start: ${between} per side. ${told(offered.basis)}` : "");
    take.hidden = !offered || clearances().length > 0;
    if (!take.hidden) say(take, `Start with ${length(offered.low)}`);
  }
  return { el: h("div.wholerow.stack", take, words), update };
}

const SEAT = ["pocket", "seat"];

/** Flush with the face, or so far above or below it. */
export function seat() {
  const parse = () => /^(.*?)\s*(above|below)$/.exec(value(SEAT) ?? "") ?? [];
  let how = "flush";
  const put = (way, text) => commit("seat", [[SEAT, way === "flush" ? null : `${text} ${way}`]]);
  const field = lengthInput({
    label: "By how much",
    step: () => GRID,
    placeholder: "0.5 mm",
    take: (text) => put(how, text ?? "0.5 mm"),
  });
  const ways = few({
    label: "Relative to the board's face the part sits",
    options: [
      ["flush", "flush"],
      ["above", "above"],
      ["below", "below"],
    ],
    take: (way) => {
      how = way;
      put(way, parse()[1] ?? "0.5 mm");
    },
  });
  return {
    el: h("div.wholerow.fields", ways.el, field.el),
    update() {
      const [, text, way] = parse();
      how = way ?? "flush";
      ways.set(how);
      idle(field.el, how === "flush");
      field.show(text ?? "");
    },
  };
}

/** A field that only makes sense while a key is there. */
export function whileThere(path, field) {
  return {
    el: field.el,
    update() {
      field.el.hidden = value(path) === undefined;
      field.update();
    },
  };
}

/** A table that is there or not, and its fields while it is; `alongside()` are edits that it needs besides. */
export function tableSwitch(label, path, first, fields, alongside = () => []) {
  const input = h("input", { type: "checkbox" });
  input.addEventListener("change", () =>
    commit(label.toLowerCase(), input.checked ? [[path, first], ...alongside()] : [[path, null]]),
  );
  const inside = h(
    "div.fields",
    fields.map((field) => field.el),
  );
  return {
    el: h("div.wholerow.stack", h("label.check", input, label), inside),
    update() {
      const there = value(path) !== undefined;
      input.checked = there;
      inside.hidden = !there;
      if (there) fields.forEach((field) => field.update?.());
    },
  };
}

/** Several tables of one kind (`notch`, ...): the file may have a single table, here it is a list of one. */
export function tableList(label, key, first, fieldsOf) {
  const at = ["pocket", key];
  const all = () => {
    const now = value(at);
    return Array.isArray(now) ? now : now === undefined ? [] : [now];
  };
  const list = h("div.stack");
  const items = keyed(
    list,
    (index) => index,
    (index) => {
      const path = (name) => () => (Array.isArray(value(at)) ? [...at, index, name] : [...at, name]);
      const fields = fieldsOf(path);
      const away = h(
        "button",
        {
          type: "button",
          onclick: () => {
            const rest = all().filter((_, i) => i !== index);
            commit(`${label.toLowerCase()} removed`, [[at, rest.length ? rest : null]]);
          },
        },
        sign("away"),
        "Remove",
      );
      return {
        el: h(
          "fieldset.stack",
          h("legend", label),
          h(
            "div.fields",
            fields.map((field) => field.el),
          ),
          h("div", away),
        ),
        update: () => fields.forEach((field) => field.update()),
      };
    },
  );
  const add = h(
    "button",
    { type: "button", onclick: () => commit(label.toLowerCase(), [[at, [...all(), first]]]) },
    sign("plus"),
    label,
  );
  return { el: h("div.wholerow.stack", list, h("div", add)), update: () => items(all().map((_, i) => i)) };
}
