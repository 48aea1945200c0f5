// The print that the object lies on: one measured before, or a new one with its bars.

import { freshId, h, mark } from "../parts/dom.js";
import { lengthInput } from "../parts/fields.js";
import { nameOf, PAPERS } from "../steps/sheet_name.js";
import { ask } from "../server.js";

const NEW = "new";
const STEP = 0.05; // mm, for a press
const BARS = [
  ["bar_x", "Bar x as measured"],
  ["bar_x", "Bar x, once more"],
  ["bar_y", "Bar y as measured"],
  ["bar_y", "Bar y, once more"],
];

const choice = (label, options, changed) => {
  const id = freshId("sheet");
  const select = h(
    "select",
    { id, onchange: changed },
    options.map(([value, text]) => h("option", { value }, text)),
  );
  return { el: h("div.field", h("label", { for: id }, label), select), select };
};

/** `{ el, asked(), lacks(), update() }`; `wanted` is the key of the print to begin with. */
export function printedSheet(wanted, changed) {
  let prints = [];
  const which = choice("Which print?", [[NEW, "One not measured before"]], changed);
  const paper = choice("Paper", PAPERS, changed);
  const inside = choice("Inside of the sheet", [["", "white"], ["dark", "dark"]], changed); // prettier-ignore
  const texts = BARS.map(() => null);
  const fields = BARS.map(([, label], i) =>
    lengthInput({
      label,
      optional: i % 2 === 1,
      step: () => STEP,
      take(text) {
        texts[i] = text;
        changed();
      },
    }),
  );
  const fresh = h(
    "div.stack",
    h("div.fields", paper.el, inside.el),
    h(
      "div.fields",
      fields.map(({ el }) => el),
    ),
  );

  ask("GET", "/api/prints")
    .then((found) => {
      prints = found.prints;
      which.select.prepend(...prints.map(({ key, name }) => h("option", { value: key }, name)));
      which.select.value = prints.some(({ key }) => key === wanted) ? wanted : (prints[0]?.key ?? NEW);
      changed();
    })
    .catch(() => {});

  const known = () => prints.find(({ key }) => key === which.select.value);
  const bars = (axis) => texts.filter((text, i) => text && BARS[i][0] === axis);
  return {
    el: h("div.stack", which.el, fresh),
    asked() {
      const print = known();
      if (print) return { sheet: print.sheet, bar_x: print.bar_x, bar_y: print.bar_y };
      const sheet = nameOf({ paper: paper.select.value, sheet: 1, dark: inside.select.value === "dark" });
      return { sheet, bar_x: bars("bar_x"), bar_y: bars("bar_y") };
    },
    lacks: () => (known() || (bars("bar_x").length && bars("bar_y").length) ? [] : ["the two bars of the print"]),
    update() {
      mark(fresh, "hidden", known() ? true : null);
      fields.forEach((field, i) => field.show(texts[i] ?? ""));
    },
  };
}
