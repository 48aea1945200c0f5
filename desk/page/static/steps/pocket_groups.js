// The choices of the pocket in groups of one purpose, each with the remarks that it causes.

import { state, value } from "../job.js";
import { h, say } from "../parts/dom.js";
import { changingSign } from "../parts/marks.js";
import { byGravity, noticeList, signOf } from "../parts/notices.js";
import { counted } from "../parts/quantities.js";
import { choices, PART_WOOD } from "./pocket_choices.js";

function group({ title, keys, fields, open = false }) {
  const list = noticeList(`Remarks: ${title}`);
  const sign = changingSign("fine");
  const count = h("span.soft.count");
  const made = h(
    "div.fields",
    fields.map(({ el }) => el),
  );
  const summary = h("summary", h("h3", title), h("span.row", sign.el, count));
  return {
    el: h("details.card.group", { open }, summary, h("div.inside", made, h("div.notes", list.el))),
    keys: new Set(keys),
    update(notices) {
      fields.forEach((field) => field.update?.());
      const sorted = byGravity(notices);
      list.update(sorted);
      sign.el.hidden = !sorted.length;
      if (sorted.length) sign.set(signOf(sorted[0]));
      say(count, sorted.length ? counted(sorted.length, "remark") : "");
    },
  };
}

/** Faults of the job read as remarks, so that they are listed with those of the plan. */
const asNotice = (fault) => ({ ...fault, code: "fault", severity: "fault", where: "" });

/** What a remark is about, as the groups name it; null where it is not of the pocket. */
function ofPocket([table, key] = []) {
  if (table === "pocket") return key;
  return table === "part" && key === "wood" ? PART_WOOD : null;
}

export function groups() {
  const made = choices().map(group);
  let rest = [];
  const all = made.map(({ el }) => el);
  return {
    el: h("div.stack", all),
    update() {
      const faults = state.faults.filter(({ key }) => ofPocket(key) !== null && value(["pocket"])).map(asNotice);
      const notices = [...faults, ...(state.plan?.notices ?? [])];
      const placed = new Set();
      for (const one of made) {
        const mine = notices.filter(({ key }) => one.keys.has(ofPocket(key)));
        mine.forEach((notice) => placed.add(notice));
        one.update(mine);
      }
      rest = notices.filter((notice) => !placed.has(notice));
    },
    unplaced: () => rest,
  };
}
