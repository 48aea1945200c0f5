// One printed bar as measured: a first reading and, for more trust, a second one.

import { commit, value } from "../job.js";
import { lengthInput } from "./fields.js";
import { h, idle } from "./dom.js";

const readings = (bar) => (bar === undefined || bar === null ? [] : [bar].flat());

/** Both fields as `{ el, name(text), update() }`; one reading stands alone in the job, two as a list. */
export function barFields({ axis, path, step, check }) {
  const take = (place) => (text) => {
    const now = [...readings(value(path()))];
    now[place] = text;
    const left = now.filter((one) => one !== null && one !== undefined);
    commit(`bar ${axis}`, [[path(), left.length > 1 ? left : (left[0] ?? null)]]);
  };
  const first = lengthInput({ label: `Bar ${axis} as measured`, step, check, take: take(0) });
  const second = lengthInput({ label: `Bar ${axis}, once more`, optional: true, step, check, take: take(1) });
  return {
    el: h("div.fields", first.el, second.el),
    name(text) {
      first.name(`${text} as measured`);
      second.name(`${text}, once more`);
    },
    update() {
      const now = readings(value(path()));
      first.show(now[0] ?? "");
      second.show(now[1] ?? "");
      idle(second.el, !now.length);
    },
  };
}
