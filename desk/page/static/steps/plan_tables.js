// Tables of the plan: the clearance through the seasons, and the time at the machine.

import { h, keyed, say } from "../parts/dom.js";
import { length } from "../parts/lengths.js";
import { timeRow } from "../parts/times.js";
import { view } from "../parts/view.js";

/** A table `{ el, update() }` with a heading for each column; hidden without rows. */
function table(headings, rowsNow, keyOf, cells) {
  const body = h("tbody");
  const list = keyed(body, keyOf, () => {
    const made = headings.map((_, i) => h(i ? "td.number" : "td"));
    return { el: h("tr", made), update: (row) => cells(row).forEach((text, i) => say(made[i], text)) };
  });
  const head = headings.map((text, i) => h(i ? "th.number" : "th", text));
  const el = h("table", h("thead", h("tr", head)), body);
  return {
    el,
    update() {
      const rows = rowsNow();
      el.hidden = !rows.length;
      list(rows);
    },
  };
}

/** Clearance per side on the driest and the dampest day, for the first pocket. */
export function seasonTable(plan) {
  const rows = () => {
    return (plan()?.seasons ?? []).filter(({ pocket }) => pocket === 0);
  };
  const cells = ({ season, along, gap }) => [`${season} day, along the ${along}`, length(gap)];
  return table(["Then", "clearance per side"], rows, ({ season, along }) => `${season}|${along}`, cells);
}

/** Passes and minutes for several step-downs; an estimate. */
export function timeTable(plan) {
  const cells = (row) => {
    const { stepDown, passes, time } = timeRow(view.unit, row);
    return [stepDown, passes, time];
  };
  const inner = table(
    ["Step-down", "passes", "time"],
    () => plan()?.times ?? [],
    (row) => row.step_down,
    cells,
  );
  const note = h("p.soft", "An estimate; the figure of the CAM program takes precedence.");
  return {
    el: h("div.wholerow.stack", inner.el, note),
    update() {
      inner.update();
      note.hidden = inner.el.hidden;
    },
  };
}
