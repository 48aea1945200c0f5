// A name asked for in the place that it is for.

import { freshId, h } from "./dom.js";

/** A form with one name: `take(name)` when it is saved, `done()` when it is given up. */
export function nameForm(label, name, take, done) {
  const id = freshId("name");
  const input = h("input", { id, type: "text", value: name, required: true, maxlength: 80, autocomplete: "off" });
  const cancel = h("button", { type: "button", onclick: done }, "Cancel");
  const form = h(
    "form.stack",
    h("div.field", h("label", { for: id }, label), input),
    h("div.row", h("button.main", "Save"), cancel),
  );
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    take(input.value.trim());
  });
  queueMicrotask(() => input.select());
  return form;
}
