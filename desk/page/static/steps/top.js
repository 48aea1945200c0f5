// The top of every step: its name, one sentence, and what is still missing or wrong in it.

import { state } from "../job.js";
import { h, keyed, say } from "../parts/dom.js";
import { sentences } from "../parts/notices.js";
import { sign } from "../parts/marks.js";

const STEP_OF = {
  frame: "frame",
  photo: "photos",
  reading: "readings",
  part: "readings",
  leave_out: "outline",
  pocket: "pocket",
  output: "files",
};

/** The step where a key of the job is typed; the wood of the part only matters to the pocket. */
const stepOf = ([table, key] = []) => (table === "part" && key === "wood" ? "pocket" : STEP_OF[table]);

const NOT_YET = "no thickness is given";

function fault() {
  const text = h("span");
  const mend = h("span.mend");
  return {
    el: h("li.notice", sign("usable"), h("p", h("strong", "Fix:"), " ", text, " ", mend)),
    update(given) {
      const [what, remedy] = sentences(given);
      say(text, what);
      say(mend, remedy);
    },
  };
}

export function stepTop(step, title, says) {
  const list = h("ul.notices");
  const faults = keyed(list, ({ what, where }) => `${what}|${where}`, fault);
  const el = h("div.steptop", h("h2", { tabindex: -1 }, title), h("p.soft", says), list);
  return {
    el,
    update() {
      const missing = new Set(state.steps.find((one) => one.step === step)?.missing ?? []);
      // What is not there yet leads, and is listed in the foot; here, what is wrong.
      const wrong = ({ key, what }) => stepOf(key) === step && key.length > 1 && !missing.has(what) && what !== NOT_YET;
      faults(state.faults.filter(wrong));
    },
  };
}
