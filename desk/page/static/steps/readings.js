// Readings: what was read where, with which tool; the part drawn with the places; what is still worth it.

import { commit, state, value } from "../job.js";
import { h, idle, keyed } from "../parts/dom.js";
import { angleField, lengthField, pictured, textField } from "../parts/fields.js";
import { parseAngle, parseLength } from "../parts/lengths.js";
import { sign } from "../parts/marks.js";
import { profile } from "../pictures.js";
import { add, draftCard, draftOf, readingCard, readings, WHAT } from "./reading_cards.js";
import { places } from "./reading_places.js";
import { stepTop } from "./top.js";
import { worth } from "./worth.js";

const SAYS =
  "What the photos cannot show: length by tape, width and thickness by caliper. " +
  "Type what the tool shows: 418 mm, 16.44 in, 16 7/16 in.";
const USUAL_EDGE = "0.5 mm";
const USUAL_DRAFT = "0.5 deg";
const part = (key) => ["part", key];
const given = (key) => value(part(key));

// An edge or a lean that is not stated is found by the fit, or carried as an uncertainty.
const UNKNOWN = "unknown";
const drawn = (options) => options.map(([word, text]) => [word, text, profile(word)]);
const EDGES = [
  [UNKNOWN, "Don't know"],
  ["sharp", "Sharp"],
  ["edge_radius", "Rounded"],
  ["edge_chamfer", "Chamfered"],
];
const SIDES = [
  [UNKNOWN, "Don't know"],
  ["straight", "Straight"],
  ["leaning", "Leaning"],
];

/** The form of the top edge, by which of its two keys there is and whether it is zero. */
function edgeForm() {
  const key = ["edge_radius", "edge_chamfer"].find((one) => given(one) !== undefined);
  if (!key) return UNKNOWN;
  return parseLength(given(key)) === 0 ? "sharp" : key;
}

function sideForm() {
  if (given("draft") === undefined) return UNKNOWN;
  return parseAngle(String(given("draft"))) === 0 ? "straight" : "leaning";
}

function takeEdge(word) {
  const key = word === "edge_chamfer" ? word : "edge_radius";
  const old = [given("edge_radius"), given("edge_chamfer")].find((text) => text && parseLength(text) > 0);
  const size = { [UNKNOWN]: null, sharp: "0 mm" }[word];
  const now = size === undefined ? (old ?? USUAL_EDGE) : size;
  const edits = ["edge_radius", "edge_chamfer"].map((one) => [part(one), one === key ? now : null]);
  commit("top edge", edits);
}

function takeSides(word) {
  const angle = { [UNKNOWN]: null, straight: "0 deg", leaning: USUAL_DRAFT }[word];
  commit("lean of the sides", [[part("draft"), angle]]);
}

/** What photos and readings rest on and cannot always show: the top edge and the lean of the sides. */
function sidesCard() {
  const edge = pictured({ label: "Top edge", options: drawn(EDGES), take: takeEdge });
  const edgeKey = () => (edgeForm() === "edge_chamfer" ? "edge_chamfer" : "edge_radius");
  const size = lengthField({ label: "Size of the edge", path: () => part(edgeKey()) });
  const sides = pictured({ label: "Sides", options: drawn(SIDES), take: takeSides });
  const draft = angleField({ label: "Draft angle of the sides", path: () => part("draft") });
  const title = "Edge and sides, seen from the end";
  return {
    el: h("section.card.stack", { "aria-label": title }, h("h3", title), edge.el, size.el, sides.el, draft.el),
    update() {
      edge.set(edgeForm());
      sides.set(sideForm());
      idle(size.el, !edgeForm().startsWith("edge_"));
      idle(draft.el, sideForm() !== "leaning");
      size.update();
      draft.update();
    },
  };
}

/** What is known about the part besides its readings. */
function partCard() {
  const optional = true;
  const fields = [
    textField({ label: "Name of the part", path: () => part("name") }),
    textField({
      label: "Size stated by the seller",
      optional,
      placeholder: "420 x 150 mm",
      path: () => part("listed"),
    }),
    lengthField({ label: "Thickness (single value)", optional, path: () => part("thickness") }),
  ];
  return {
    el: h(
      "section.card",
      { "aria-label": "The part" },
      h("h3", "The part"),
      h(
        "div.fields",
        fields.map(({ el }) => el),
      ),
    ),
    update: () => fields.forEach((field) => field.update()),
  };
}

/** All readings, the one being typed first, and buttons for one more. */
function taken() {
  const list = h("ol.stack.readings");
  // A reading has no name of its own; its place in the list serves.
  const cards = keyed(
    list,
    ({ index, draft }) => (draft ? `draft ${draft.what}` : index),
    (item) => (item.draft ? draftCard() : readingCard(item)),
  );
  const capital = (what) => what[0].toUpperCase() + what.slice(1);
  const button = (what) => h("button", { type: "button", onclick: () => add(what) }, sign("plus"), capital(what));
  const buttons = h("div.row", WHAT.slice(0, 3).map(button));
  return {
    el: h("section.stack", { "aria-label": "Readings taken" }, h("h3", "Readings taken"), list, buttons),
    update() {
      const shown = readings().map((reading, index) => ({ reading, index }));
      const draft = draftOf(state.id);
      cards(draft ? [{ draft }, ...shown] : shown);
    },
  };
}

export function readingsStep() {
  const top = stepTop("readings", "Readings", SAYS);
  const where = places();
  const gains = worth();
  const all = taken();
  const known = partCard();
  const sides = sidesCard();
  const card = h("section.card", { "aria-label": "Where each reading is taken" }, where.el);
  return {
    // What is worth reading next comes and goes: below all that is typed, or in a column beside it.
    el: h("div", top.el, h("div.two.typing", card, h("div.stack", all.el, sides.el, known.el), gains.el)),
    update: () => [top, where, gains, all, sides, known].forEach((one) => one.update()),
  };
}
