// Which print of the sheet lies there: one measured before, or a new one; its name, and how it is forgotten.

import { commit, state, value } from "../job.js";
import { freshId, h, mark } from "../parts/dom.js";
import { sign } from "../parts/marks.js";
import { nameForm } from "../parts/name_form.js";
import { problems } from "../problems.js";
import { ask } from "../server.js";

let prints = null;
let revision = null;

/** The prints that the shop has measured; read again after each change of the job. */
function known(then) {
  if (revision !== state.revision) {
    revision = state.revision;
    ask("GET", "/api/prints")
      .then((found) => took(found, then))
      .catch(() => {});
  }
  return prints ?? [];
}

function took(found, then) {
  const before = JSON.stringify(prints);
  prints = found.prints;
  if (JSON.stringify(prints) !== before) then();
}

const readings = (bar) => (bar === undefined || bar === null ? [] : [bar].flat());
const alike = (one, other) => JSON.stringify(readings(one)) === JSON.stringify(readings(other));
/** One reading stands alone in the job, several as a list. */
const asBar = (texts) => (texts.length === 1 ? texts[0] : texts);
/** The name of a print where its sheet is known: a given one says the sheet first, which takes the room. */
const short = (name) => name.replace(/^.* sheet.*, printed in /, "Printed in ");
const at = ({ key }) => `/api/prints/${encodeURIComponent(key)}`;

/** Rename and forget the print that is chosen; what was forgotten can be had back. */
function care(now, again) {
  const asking = h("div");
  const done = () => asking.replaceChildren();
  const tell = (promise) =>
    promise
      .then((found) => {
        done();
        took(found, again);
      })
      .catch(problems.report);
  const rename = () => {
    const print = now();
    const take = (name) => tell(ask("PUT", at(print), { json: { name } }));
    asking.replaceChildren(nameForm("Name of this print", print.name, take, done));
  };
  const forget = async () => {
    const print = now();
    await tell(ask("DELETE", at(print)));
    const { name, sheet, bar_x, bar_y } = print;
    const back = () => tell(ask("POST", "/api/prints", { json: { name, sheet, bar_x, bar_y } }));
    const words = h("span.soft", `Forgot ${name}.`);
    asking.replaceChildren(h("div.row", words, h("button", { type: "button", onclick: back }, "Keep it after all")));
  };
  const button = (text, act) => h("button", { type: "button", onclick: act }, text);
  const test = h("a.button", "Test it on a card");
  const row = h("div.row", button("Rename", rename), button("Forget this print", forget), test);
  const none = h("p.soft", "It is kept once both bars are measured.");
  // Folded, and there from the start: nothing moves when the print is kept.
  const folded = h("details.printcare", h("summary", "This print"), h("div.stack", none, row, asking));
  return {
    el: folded,
    update(print) {
      row.hidden = !print;
      none.hidden = Boolean(print);
      if (print) test.href = `/?page=prove&print=${encodeURIComponent(print.key)}`;
    },
  };
}

/** `path(key)` leads into the sheet's table of the job. */
export function printChoice(path) {
  const id = freshId("print");
  const select = h("select", { id });
  const fresh = h("button", { type: "button" }, sign("plus"), "New print");
  const mine = () => known(update).filter(({ sheet }) => sheet === value(path("description")));
  const now = () =>
    mine().find((one) => alike(one.bar_x, value(path("bar_x"))) && alike(one.bar_y, value(path("bar_y"))));
  const cared = care(now, () => update());
  const el = h("div.row.prints", h("div.field", h("label", { for: id }, "Which print?"), select), fresh);
  const set = (label, x, y) =>
    commit(label, [
      [path("bar_x"), x],
      [path("bar_y"), y],
    ]);
  fresh.addEventListener("click", () => set("new print", null, null));
  select.addEventListener("change", () => {
    const print = prints.find(({ key }) => key === select.value);
    if (print) set("print chosen", asBar(print.bar_x), asBar(print.bar_y));
  });

  function update() {
    const typed = readings(value(path("bar_x"))).length + readings(value(path("bar_y"))).length > 0;
    const none = typed ? "The bars typed below" : "Not measured yet";
    const options = [["", none], ...mine().map(({ key, name }) => [key, short(name)])];
    const words = JSON.stringify(options);
    if (select.dataset.words !== words) {
      select.dataset.words = words;
      select.replaceChildren(...options.map(([key, name]) => h("option", { value: key }, name)));
    }
    const print = now();
    select.value = print?.key ?? "";
    cared.update(print);
    mark(fresh, "disabled", typed ? null : true);
  }
  return { el, care: cared.el, update };
}
