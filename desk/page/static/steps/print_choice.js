// Which print of the sheet lies there: one measured before, or a new one.

import { commit, state, value } from "../job.js";
import { freshId, h, mark } from "../parts/dom.js";
import { sign } from "../parts/marks.js";
import { ask } from "../server.js";

let prints = null;
let revision = null;

/** The prints that the shop has measured; read again after each change of the job. */
function known(then) {
  if (revision !== state.revision) {
    revision = state.revision;
    ask("GET", "/api/prints")
      .then((found) => {
        const before = JSON.stringify(prints);
        prints = found.prints;
        if (JSON.stringify(prints) !== before) then();
      })
      .catch(() => {});
  }
  return prints ?? [];
}

const readings = (bar) => (bar === undefined || bar === null ? [] : [bar].flat());
const alike = (one, other) => JSON.stringify(readings(one)) === JSON.stringify(readings(other));
/** One reading stands alone in the job, several as a list. */
const asBar = (texts) => (texts.length === 1 ? texts[0] : texts);

/** `path(key)` leads into the sheet's table of the job. */
export function printChoice(path) {
  const id = freshId("print");
  const select = h("select", { id });
  const fresh = h("button", { type: "button" }, sign("plus"), "New print");
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

  function update(printed = true) {
    el.hidden = !printed;
    const mine = known(() => update(printed)).filter(({ sheet }) => sheet === value(path("description")));
    const now = mine.find((one) => alike(one.bar_x, value(path("bar_x"))) && alike(one.bar_y, value(path("bar_y"))));
    const options = [["", "Not measured yet"], ...mine.map(({ key, name }) => [key, name])];
    const words = JSON.stringify(options);
    if (select.dataset.words !== words) {
      select.dataset.words = words;
      select.replaceChildren(...options.map(([key, name]) => h("option", { value: key }, name)));
    }
    select.value = now?.key ?? "";
    mark(fresh, "disabled", now ? null : true);
  }
  return { el, update };
}
