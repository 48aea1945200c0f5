// Readings: what was read where, with which tool; the part drawn with the places; what is still worth it.

import { commit, state, tell, value } from "../job.js";
import { freshId, h, keyed, mark, s, say } from "../parts/dom.js";
import { choiceField, lengthField, lengthInput, textField } from "../parts/fields.js";
import { length, parseLength } from "../parts/lengths.js";
import { sign } from "../parts/marks.js";
import { stepTop } from "./top.js";

const WHAT = ["length", "width", "thickness", "corner radius"];
const USUAL_TOOL = { length: "tape", width: "caliper", thickness: "caliper", "corner radius": "0.5 mm" };
const TOOLS = [
  ["tape", "Tape, hooked on"],
  ["tape from a mark", "Tape, from a mark"],
  ["us tape", "US tape"],
  ["tape class I", "Tape, class I"],
  ["rule", "Rule"],
  ["caliper", "Caliper"],
  ["vernier caliper", "Caliper with vernier"],
];
const OWN = "own";

const readings = () => state.job.reading ?? [];
const valuesOf = (reading) => reading.values ?? (reading.value !== undefined ? [reading.value] : []);

// A reading goes into the job with its first value; until then it is only on the page.
let draft = null;

function add(what) {
  draft = { job: state.id, what, tool: USUAL_TOOL[what] };
  tell();
  queueMicrotask(() => document.querySelector(".reading.draft input")?.focus());
}

function draftCard() {
  const title = h("h3");
  const field = lengthInput({
    label: "Reads",
    placeholder: "as the tool shows it",
    atRest: false,
    take: (text) => {
      if (text === null || !draft) return;
      const { what, tool } = draft;
      draft = null;
      commit(`reading of the ${what}`, [[["reading", readings().length], { what, values: [text], tool }]]);
    },
  });
  return {
    el: h(
      "li.card.reading.draft",
      {},
      title,
      field.el,
      h(
        "div.row",
        {},
        h(
          "button",
          {
            type: "button",
            onclick: () => {
              draft = null;
              tell();
            },
          },
          sign("away"),
          "Leave it",
        ),
      ),
    ),
    update({ draft: now }) {
      say(title, `${now.what[0].toUpperCase()}${now.what.slice(1)}, by ${now.tool}`);
    },
  };
}

/** Values of one reading, as typed; a single one stays under the key that the file has. */
function withValues(reading, values) {
  const { value: _, values: __, ...rest } = reading;
  return reading.value !== undefined && values.length === 1 ? { ...rest, value: values[0] } : { ...rest, values };
}

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
  return {
    el: row,
    update(reading) {
      const values = [...valuesOf(reading), ""];
      while (fields.length < values.length) {
        const i = fields.length;
        const field = lengthInput({
          label: i === 0 ? "Reads" : `and again`,
          optional: i > 0,
          placeholder: i === 0 ? "as the tool shows it" : "",
          take: take(i),
        });
        fields.push(field);
        row.append(field.el);
      }
      while (fields.length > values.length) fields.pop().el.remove();
      values.forEach((text, i) => fields[i].show(text));
    },
  };
}

function card(first) {
  let index = first.index;
  const path = (...keys) => ["reading", index, ...keys];
  const what = choiceField({ label: "What", path: () => path("what"), options: WHAT.map((word) => [word, word]) });
  const tool = choiceField({
    label: "With",
    path: () => path("tool"),
    options: [...TOOLS, [OWN, "Another tool …"]],
    edits: (word) => [[path("tool"), word === OWN ? "0.1 mm" : word]],
  });
  const limit = lengthField({ label: "The tool's limit of error", path: () => path("tool"), name: "tool" });
  const values = valueList(() => index);
  const mean = h("p.soft");
  const el = h(
    "li.card.reading",
    {},
    h("div.fields", {}, what.el, tool.el, limit.el),
    values.el,
    h(
      "div.row.ends",
      {},
      mean,
      h(
        "button",
        { type: "button", onclick: () => commit("reading taken away", [[path(), null]]) },
        sign("away"),
        "Take away",
      ),
    ),
  );
  return {
    el,
    update({ reading, index: now }) {
      index = now;
      mark(el, "aria-label", `Reading ${now + 1}: ${reading.what}`);
      what.update();
      tool.update();
      const own = parseLength(reading.tool ?? "") !== null;
      if (own) tool.input.value = OWN;
      limit.el.hidden = !own;
      if (own) limit.update();
      values.update(reading);
      const taken = valuesOf(reading)
        .map(parseLength)
        .filter((mm) => mm !== null);
      say(
        mean,
        taken.length > 1 ? `Mean ${length(taken.reduce((a, b) => a + b) / taken.length)} of ${taken.length}` : "",
      );
    },
  };
}

/** What all readings of one dimension say together, in a few words. */
function summary(what) {
  const taken = readings()
    .filter((one) => one.what === what)
    .flatMap(valuesOf)
    .map(parseLength)
    .filter((mm) => mm !== null);
  if (taken.length) {
    return {
      size: length(taken.reduce((a, b) => a + b) / taken.length),
      note: taken.length === 1 ? "read once" : `read ${taken.length} times`,
    };
  }
  const plain = what === "thickness" ? parseLength(value(["part", "thickness"]) ?? "") : null;
  if (plain !== null) return { size: length(plain), note: "one plain value" };
  return { size: "not read", note: "add a reading" };
}

/** The part from above and from the side, each dimension with the button that adds a reading to it. */
function drawing() {
  const plan = s(
    "svg.drawing",
    { viewBox: "0 0 400 230", "aria-hidden": "true" },
    s("rect", { class: "line", x: 70, y: 30, width: 300, height: 120, rx: 34 }),
    s("path", { class: "thin", d: "M70 158v38M370 158v38M62 30h-40M62 150h-40" }),
    s("path", { class: "measure", d: "M72 190h296M78 185l-6 5l6 5M362 185l6 5l-6 5" }),
    s("path", { class: "measure", d: "M28 32v116M23 38l5-6l5 6M23 142l5 6l5-6" }),
    s("path", { class: "measure", d: "M336 64l24-24M359 48v-7h-7" }),
    s("circle", { class: "thin", cx: 336, cy: 64, r: 2 }),
  );
  const side = s(
    "svg.drawing",
    { viewBox: "0 0 400 60", "aria-hidden": "true" },
    s("rect", { class: "line", x: 215, y: 16, width: 155, height: 28, rx: 6 }),
    s("path", { class: "thin", d: "M207 16h-24M207 44h-24" }),
    s("path", { class: "measure", d: "M190 18v24M185 23l5-5l5 5M185 37l5 5l5-5" }),
  );
  const buttons = new Map(
    WHAT.map((what) => {
      const size = h("strong.figure");
      const note = h("span.soft");
      const button = h(
        "button.dimension",
        { type: "button", "data-what": what.replace(" ", "-"), onclick: () => add(what) },
        h("span", {}, what[0].toUpperCase() + what.slice(1)),
        size,
        note,
      );
      return [what, { button, size, note }];
    }),
  );
  const b = (what) => buttons.get(what).button;
  return {
    el: h(
      "div.places",
      {},
      h("div.plan", {}, plan, b("width"), b("length"), b("corner radius")),
      h("div.side", {}, side, b("thickness")),
    ),
    update() {
      for (const [what, { button, size, note }] of buttons) {
        const says = summary(what);
        say(size, says.size);
        say(note, says.note);
        mark(button, "aria-label", `${what}: ${says.size}, ${says.note}. Add a reading`);
      }
    },
  };
}

/** What one more observation would bring, the most first. */
function worth() {
  const rows = h("ul.stack");
  const none = h("p.soft");
  const list = keyed(
    rows,
    ({ of, by }) => `${of}|${by}`,
    () => {
      const by = h("strong");
      const brings = h("span.soft");
      return {
        el: h("li.gain", {}, by, brings),
        update(gain) {
          say(by, `${gain.by[0].toUpperCase()}${gain.by.slice(1)}`);
          say(brings, `${gain.of}: ± ${length(gain.u95)} now, ± ${length(gain.then)} then`);
        },
      };
    },
  );
  return {
    el: h(
      "section.card.worth",
      { "aria-label": "Readings worth taking" },
      h("h3", {}, "Still worth taking"),
      rows,
      none,
    ),
    update() {
      const gains = (state.outline?.gains ?? []).slice(0, 4);
      list(gains);
      none.hidden = gains.length > 0;
      say(
        none,
        state.outline
          ? "Nothing that is left to read would bring much."
          : "Once there is an outline, this says which reading or photo would make it surer, and by how much.",
      );
    },
  };
}

export function readingsStep() {
  const list = h("ol.stack.readings");
  // A reading has no name of its own; its place in the list serves.
  const cards = keyed(
    list,
    ({ index, draft: now }) => (now ? `draft ${now.what}` : index),
    (item) => (item.draft ? draftCard() : card(item)),
  );
  const places = drawing();
  const gains = worth();
  const edge = choiceField({
    label: "Top edge",
    path: () => ["part", "edge"],
    options: [
      ["", "sharp"],
      ["edge_radius", "rounded"],
      ["edge_chamfer", "chamfered"],
    ],
    name: "top edge",
    edits: (word) => {
      const size = value(["part", "edge_radius"]) ?? value(["part", "edge_chamfer"]) ?? "0.5 mm";
      return [
        [["part", "edge_radius"], word === "edge_radius" ? size : null],
        [["part", "edge_chamfer"], word === "edge_chamfer" ? size : null],
      ];
    },
  });
  const edgeKey = () => (value(["part", "edge_chamfer"]) !== undefined ? "edge_chamfer" : "edge_radius");
  const edgeSize = lengthField({ label: "Size of the edge", path: () => ["part", edgeKey()] });
  const leaning = textField({
    label: "Sides leaning inwards",
    optional: true,
    placeholder: "0.5 deg",
    path: () => ["part", "draft"],
  });
  const thickness = lengthField({ label: "Thickness, plain", optional: true, path: () => ["part", "thickness"] });
  const listed = textField({
    label: "Size its seller states",
    optional: true,
    placeholder: "420 x 150 mm",
    path: () => ["part", "listed"],
  });
  const name = textField({ label: "Name of the part", path: () => ["part", "name"] });
  const top = stepTop(
    "readings",
    "Readings",
    "What the photos cannot show: the length by tape, the width and the thickness by caliper. Type what the tool shows: 418 mm, 16.44 in, 16 7/16 in.",
  );
  const el = h(
    "div",
    {},
    top.el,
    h(
      "div.two",
      {},
      h("div.stack", {}, h("section.card", { "aria-label": "Where each reading is taken" }, places.el), gains.el),
      h(
        "div.stack",
        {},
        h(
          "section.stack",
          { "aria-label": "Readings taken" },
          h("h3", { id: freshId("taken") }, "Readings taken"),
          list,
          h(
            "div.row",
            {},
            WHAT.slice(0, 3).map((what) =>
              h(
                "button",
                { type: "button", onclick: () => add(what) },
                sign("plus"),
                what[0].toUpperCase() + what.slice(1),
              ),
            ),
          ),
        ),
        h(
          "section.card",
          { "aria-label": "The part" },
          h("h3", {}, "The part"),
          h("div.fields", {}, name.el, listed.el, thickness.el, edge.el, edgeSize.el, leaning.el),
        ),
      ),
    ),
  );
  return {
    el,
    update() {
      top.update();
      places.update();
      gains.update();
      const shown = readings().map((reading, index) => ({ reading, index }));
      cards(draft?.job === state.id ? [{ draft }, ...shown] : shown);
      [edge, leaning, listed, name, thickness].forEach((field) => field.update());
      const now =
        value(["part", "edge_radius"]) !== undefined
          ? "edge_radius"
          : value(["part", "edge_chamfer"]) !== undefined
            ? "edge_chamfer"
            : "";
      edge.input.value = now;
      edgeSize.el.hidden = now === "";
      edgeSize.update();
    },
  };
}
