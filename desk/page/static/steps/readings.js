// Readings: what was read where, with which tool; the part drawn with the places; what is still worth it.

import { state, value } from "../job.js";
import { h, keyed } from "../parts/dom.js";
import { angleField, choiceField, lengthField, textField } from "../parts/fields.js";
import { sign } from "../parts/marks.js";
import { add, draftCard, draftOf, readingCard, readings, WHAT } from "./reading_cards.js";
import { places } from "./reading_places.js";
import { stepTop } from "./top.js";
import { worth } from "./worth.js";

const SAYS =
  "What the photos cannot show: length by tape, width and thickness by caliper. " +
  "Type what the tool shows: 418 mm, 16.44 in, 16 7/16 in.";
const EDGES = [
  ["", "sharp"],
  ["edge_radius", "rounded"],
  ["edge_chamfer", "chamfered"],
];
const USUAL_EDGE = "0.5 mm";
const part = (key) => ["part", key];

/** The form of the top edge is told by which of its two keys there is. */
const edgeForm = () => EDGES.map(([key]) => key).find((key) => key && value(part(key)) !== undefined) ?? "";

function edgeFields() {
  const form = choiceField({
    label: "Top edge",
    path: () => part("edge"),
    options: EDGES,
    name: "top edge",
    edits: (word) => {
      const size = value(part(edgeForm() || "edge_radius")) ?? USUAL_EDGE;
      return ["edge_radius", "edge_chamfer"].map((key) => [part(key), word === key ? size : null]);
    },
  });
  const size = lengthField({ label: "Size of the edge", path: () => part(edgeForm() || "edge_radius") });
  return {
    els: [form.el, size.el],
    update() {
      form.update();
      form.input.value = edgeForm();
      size.el.hidden = !edgeForm();
      size.update();
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
  const edge = edgeFields();
  const draft = angleField({
    label: "Draft angle of the sides",
    optional,
    placeholder: "0.5 deg",
    hint: "when the top is smaller than the bottom",
    path: () => part("draft"),
  });
  const els = [...fields.map(({ el }) => el), ...edge.els, draft.el];
  return {
    el: h("section.card", { "aria-label": "The part" }, h("h3", "The part"), h("div.fields", els)),
    update: () => [...fields, edge, draft].forEach((field) => field.update()),
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
  const drawn = places();
  const gains = worth();
  const all = taken();
  const known = partCard();
  const where = h("section.card", { "aria-label": "Where each reading is taken" }, drawn.el);
  return {
    el: h("div", top.el, h("div.two", h("div.stack", where, gains.el), h("div.stack", all.el, known.el))),
    update: () => [top, drawn, gains, all, known].forEach((one) => one.update()),
  };
}
