// What lies on the sheet in the test: a card, a coin, a sheet of paper, or a block of one's own.

import { freshId, h, mark } from "../parts/dom.js";
import { few, lengthInput } from "../parts/fields.js";
import { size } from "../parts/lengths.js";

const CARD = "Use a loyalty card, a hotel key or a blank card of the common size, flat and without a bend. ";
const NEVER = "Never a payment or identity card: front and back carry numbers.";
const KINDS = {
  card: { title: "Card", says: CARD, warns: NEVER, has: (name) => name === "card" },
  coin: {
    title: "Coin",
    says: "Little worn; a smooth rim is better than a milled one.",
    has: (name) => /^(us|euro)-/.test(name),
  },
  paper: {
    title: "Paper",
    says: "A cut sheet, coloured or in the dark window. Its size is known to 1.5 or 2 mm: it shows gross errors only.",
    has: (name) => /^a\d$/.test(name),
  },
  block: { title: "Block", says: "A gauge block, or one measured with a caliper; type its sizes.", has: () => false },
};
const BLOCK = [
  ["length", "Length"],
  ["width", "Width"],
  ["thickness", "Thickness"],
];

const sizesOf = ({ sizes, thickness }) =>
  [...sizes.map(({ of, value }) => `${of} ${size(value)}`), `thickness ${size(thickness)}`].join(", ");

/** A length of the block, kept here and in no job. */
function ownLength(label, optional, changed, placeholder) {
  let text = null;
  const field = lengthInput({
    label,
    optional,
    placeholder,
    take(next) {
      text = next;
      changed();
    },
  });
  return { el: field.el, text: () => text, update: () => field.show(text ?? "") };
}

/** `{ el, show(objects), asked(), lacks(), update() }`; `changed()` is called with every choice. */
export function objectChoice(changed) {
  let objects = [];
  let kind = "card";
  const id = freshId("object");
  const select = h("select", { id, onchange: changed });
  const which = h("div.field", h("label", { for: id }, "Which one?"), select);
  const fields = BLOCK.map(([key, label]) => [key, ownLength(label, false, changed)]);
  const limit = ownLength("Limit of error of these sizes", true, changed, "0.1 mm");
  const block = h(
    "div.fields",
    fields.map(([, field]) => field.el),
    limit.el,
  );
  const says = h("p");
  const sizes = h("p.soft");
  const kinds = few({
    label: "What lies there",
    unseen: true,
    options: Object.entries(KINDS).map(([word, { title }]) => [word, title]),
    take(word) {
      kind = word;
      changed();
    },
  });
  const chosen = () => objects.find(({ name }) => name === (kind === "card" ? "card" : select.value));

  function fill() {
    const mine = objects.filter(({ name }) => KINDS[kind].has(name));
    if (select.dataset.kind === kind && select.options.length === mine.length) return;
    select.dataset.kind = kind;
    select.replaceChildren(...mine.map(({ name, words }) => h("option", { value: name }, words)));
  }
  return {
    el: h("div.stack", kinds.el, says, which, block, sizes),
    show(found) {
      objects = found;
      changed();
    },
    asked() {
      if (kind !== "block") return { object: chosen()?.name };
      const own = fields.map(([key, field]) => [key, field.text()]);
      return { object: "block", ...Object.fromEntries(own), limit: limit.text() };
    },
    lacks: () => (kind === "block" && fields.some(([, field]) => !field.text()) ? ["the block's sizes"] : []),
    update() {
      kinds.set(kind);
      fill();
      const { says: words, warns } = KINDS[kind];
      says.replaceChildren(words, ...(warns ? [h("strong", warns)] : []));
      mark(which, "hidden", kind === "coin" || kind === "paper" ? null : true);
      mark(block, "hidden", kind === "block" ? null : true);
      [...fields.map(([, field]) => field), limit].forEach((field) => field.update());
      const one = kind === "block" ? null : chosen();
      sizes.textContent = one ? `Its published sizes: ${sizesOf(one)} (${one.source}).` : "";
    },
  };
}
