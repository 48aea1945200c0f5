// Readings as cards: tool and values of each, and the one that is being typed.

import { commit, state, tell } from "../job.js";
import { h, mark, say } from "../parts/dom.js";
import { choiceField, lengthField, lengthInput } from "../parts/fields.js";
import { parseLength, size } from "../parts/lengths.js";
import { sign } from "../parts/marks.js";

export const WHAT = ["length", "width", "thickness", "corner radius"];
const USUAL_TOOL = { length: "tape", width: "caliper", thickness: "caliper", "corner radius": "0.5 mm" };
const TOOLS = [
  ["tape", "Tape, hook over the end"],
  ["tape from a mark", "Tape, from a mark"],
  ["us tape", "US tape"],
  ["tape class I", "Tape, class I"],
  ["rule", "Rule"],
  ["caliper", "Caliper"],
  ["vernier caliper", "Caliper with vernier"],
];
const OWN = "own"; // a tool given by its limit of error
const OWN_LIMIT = "0.1 mm";
const AS_SHOWN = "as the tool shows it";

export const readings = () => state.job.reading ?? [];
export const valuesOf = (reading) => reading.values ?? (reading.value !== undefined ? [reading.value] : []);

/** Millimetres of those values that are lengths. */
export const lengthsOf = (reading) =>
  valuesOf(reading)
    .map(parseLength)
    .filter((mm) => mm !== null);

export const mean = (numbers) => numbers.reduce((a, b) => a + b) / numbers.length;

// A reading goes into the job with its first value; until then it is only on the page.
let draft = null;

export const draftOf = (job) => (draft?.job === job ? draft : null);

export function add(what) {
  draft = { job: state.id, what, tool: USUAL_TOOL[what] };
  tell();
  queueMicrotask(() => document.querySelector(".reading.draft input")?.focus());
}

function leave() {
  draft = null;
  tell();
}

export function draftCard() {
  const title = h("h3");
  const field = lengthInput({
    label: "Reading",
    placeholder: AS_SHOWN,
    atRest: false,
    take: (text) => {
      if (text === null || !draft) return;
      const { what, tool } = draft;
      draft = null;
      commit(`reading of the ${what}`, [[["reading", readings().length], { what, values: [text], tool }]]);
    },
  });
  // Before the field is left, which would keep what is in it.
  const cancel = h("button", { type: "button", onpointerdown: leave, onclick: leave }, sign("away"), "Cancel");
  // Leaving the field keeps what is in it; the button is for whoever looks for one.
  const save = h(
    "button.main",
    { type: "button", onclick: () => field.input.dispatchEvent(new Event("change")) },
    "Save",
  );
  return {
    el: h("li.card.reading.draft.stack", title, field.el, h("div.row", save, cancel)),
    update({ draft: { what, tool } }) {
      say(title, `${what[0].toUpperCase()}${what.slice(1)}, by ${tool}`);
    },
  };
}

/** Values of one reading, as typed; a single one stays under the key that the file has. */
function withValues(reading, values) {
  const { value: _, values: __, ...rest } = reading;
  return reading.value !== undefined && values.length === 1 ? { ...rest, value: values[0] } : { ...rest, values };
}

/** One field for each value, and an empty one for the next. */
function valueList(index) {
  const row = h("div.fields");
  const fields = [];
  const take = (i) => (text) => {
    const reading = readings()[index()];
    const values = [...valuesOf(reading)];
    if (text === null) values.splice(i, 1);
    else values[i] = text;
    commit(`reading of the ${reading.what}`, [[["reading", index()], withValues(reading, values)]]);
  };
  const field = (i, last) => {
    const label = i === 0 ? "Reading" : last ? "Next reading" : `Reading ${i + 1}`;
    return lengthInput({ label, optional: i > 0, placeholder: i === 0 ? AS_SHOWN : "", take: take(i) });
  };
  return {
    el: row,
    update(reading) {
      const values = [...valuesOf(reading), ""];
      while (fields.length > values.length) fields.pop().el.remove();
      while (fields.length < values.length) {
        fields.push(field(fields.length, true));
        row.append(fields.at(-1).el);
      }
      values.forEach((text, i) => fields[i].show(text));
      fields.forEach((one, i) => i && one.name(i === fields.length - 1 ? "Next reading" : `Reading ${i + 1}`));
    },
  };
}

function toolFields(path) {
  const what = choiceField({ label: "Dimension", path: () => path("what"), options: WHAT.map((word) => [word, word]) });
  const tool = choiceField({
    label: "Tool",
    path: () => path("tool"),
    options: [...TOOLS, [OWN, "Another tool …"]],
    edits: (word) => [[path("tool"), word === OWN ? OWN_LIMIT : word]],
  });
  const limit = lengthField({ label: "Limit of error of the tool", path: () => path("tool"), name: "tool" });
  return {
    el: h("div.fields", what.el, tool.el, limit.el),
    update(reading) {
      what.update();
      tool.update();
      const own = parseLength(reading.tool ?? "") !== null;
      if (own) tool.input.value = OWN;
      limit.el.hidden = !own;
      if (own) limit.update();
    },
  };
}

export function readingCard(first) {
  let { index } = first;
  const path = (...keys) => ["reading", index, ...keys];
  const tool = toolFields(path);
  const values = valueList(() => index);
  const mid = h("p.soft");
  const take = () => commit("reading removed", [[path(), null]]);
  const remove = h("button", { type: "button", onclick: take }, sign("away"), "Remove");
  const el = h("li.card.reading", tool.el, values.el, h("div.row.ends", mid, remove));
  return {
    el,
    update({ reading, index: now }) {
      index = now;
      mark(el, "aria-label", `Reading ${now + 1}: ${reading.what}`);
      tool.update(reading);
      values.update(reading);
      const taken = lengthsOf(reading);
      say(mid, taken.length > 1 ? `Mean ${size(mean(taken))} of ${taken.length}` : "");
    },
  };
}
